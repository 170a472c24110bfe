//! The page of what one more of each thing is worth.

use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Redirect, Response};
use mendpost_core::code::RequestCode;
use mendpost_core::lineup::{Averted, More, Place, Swing, Tip, Worth};
use mendpost_core::people::{Act, may};
use mendpost_core::situation::{KeepBack, Situation};

use super::queries::{self, Stored};
use super::worth::{self, BUDGET, Found};
use crate::AppState;
use crate::background::{Running, Shown};
use crate::error::AppError;
use crate::page::{Layout, Screen, loss, minutes, page, whole};
use crate::people::{Visit, Who};
use crate::requests;
use crate::situation;
use crate::words::work::{count, sentence};
use crate::words::{Words, litres};

const PATH: &str = "/line-up/worth";

#[derive(Template)]
#[template(path = "line-up/worth.html")]
struct WorthPage {
    page: Layout,
    answer: String,
    reason: String,
    unit: String,
    /// The newest line-up.
    newest: Option<i64>,
    running: Option<RunningRow>,
    failed: bool,
    found: Option<FoundRow>,
    places: Vec<PlaceRow>,
    may_start: bool,
}

struct RunningRow {
    by: String,
    line: String,
    share: usize,
}

struct FoundRow {
    /// Why it may no longer hold; none if it does.
    stale: Option<String>,
    /// The moment that all is counted from.
    from: String,
    worths: Vec<WorthRow>,
    /// What holding each keep-back costs.
    holding: Vec<WorthRow>,
    /// Loss figures that would change the first places.
    figures: Vec<FigureRow>,
    /// Of those that would not.
    steady: String,
    how: String,
    better: Option<String>,
}

struct WorthRow {
    name: String,
    averts: String,
    /// It averts a loss that could be measured.
    counts: bool,
    names: Vec<String>,
}

struct FigureRow {
    name: String,
    tips: Vec<String>,
}

struct PlaceRow {
    number: usize,
    path: String,
    name: String,
    why: String,
}

pub(super) async fn show(
    State(state): State<AppState>,
    visit: Visit,
) -> Result<Response, AppError> {
    let situation = situation::now(&state).await?;
    let newest = queries::latest(&state.db.read).await?;
    let shown = state.worths.shown();
    let layout = visit
        .layout(Screen::LineUp, "What one more is worth")
        .await?;
    let words = Words::new(&situation);
    let told = Told {
        words,
        situation: &situation,
        newest: newest.as_ref(),
    };
    let (answer, reason) = told.answer(&shown);
    let places = newest.iter().flat_map(|stored| &stored.line_up.places);
    page(&WorthPage {
        answer,
        reason,
        unit: situation.site.loss_word.clone(),
        newest: newest.as_ref().map(|stored| stored.number),
        running: shown.running.as_ref().map(running),
        failed: shown.failed,
        found: shown
            .found
            .as_deref()
            .map(|found| told.found(&layout, found)),
        places: places.filter_map(|place| told.place(place)).collect(),
        may_start: visit.who.as_ref().is_some_and(|w| may(w.role, Act::Plan)),
        page: layout,
    })
}

pub(super) async fn start(State(state): State<AppState>, who: Who) -> Result<Response, AppError> {
    worth::start(&state, who.name.clone()).await?;
    Ok(Redirect::to(PATH).into_response())
}

pub(super) async fn stop(State(state): State<AppState>) -> Response {
    state.worths.stop();
    state.worths.finished().await;
    Redirect::to(PATH).into_response()
}

fn running(running: &Running<i64>) -> RunningRow {
    let seconds = running.since.elapsed().as_secs();
    let Running {
        about: number,
        done,
        of,
        ..
    } = running;
    RunningRow {
        by: running.by.clone(),
        line: format!("Order {number}: {done} of {of} worked out after {seconds} s."),
        share: done * 100 / of.max(&1),
    }
}

/// What holds for the figures that change nothing.
fn steady(turning: usize, all: usize) -> String {
    let who = match (turning, all - turning) {
        (_, 0) => return String::new(),
        (0, _) => "No figure would".to_owned(),
        (_, 1) => "The other one would not".to_owned(),
        (_, rest) => format!("The other {} would not", count(rest)),
    };
    format!("{who}: from half to double of what was said the same three go first.")
}

struct Told<'a> {
    words: Words<'a>,
    situation: &'a Situation,
    newest: Option<&'a Stored>,
}

impl Told<'_> {
    fn answer(&self, shown: &Shown<i64, Found>) -> (String, String) {
        let unit = &self.situation.site.loss_word;
        if self.newest.is_none() {
            return (
                "Plan first: worth is measured from an order.".to_owned(),
                "Nothing has been planned here yet.".to_owned(),
            );
        }
        let Some(found) = &shown.found else {
            let answer = match shown.running {
                Some(_) => "Look again in a moment: the searches are running.",
                None => "Work out what one more of each would avert.",
            };
            return (answer.to_owned(), "It changes nothing.".to_owned());
        };
        let best = found
            .measured
            .worths
            .first()
            .map(|(more, worth)| (more, worth.averted));
        match best {
            Some((more, Averted::Loss(averted))) => (
                format!(
                    "Get {} first: it averts {} {unit}.",
                    self.more(found, more),
                    loss(averted)
                ),
                format!("Counted from {}.", self.words.clock(found.from)),
            ),
            _ => (
                "Ask for none of these alone: no one more averts a loss that can be measured."
                    .to_owned(),
                String::new(),
            ),
        }
    }

    fn found(&self, layout: &Layout, found: &Found) -> FoundRow {
        let unit = &self.situation.site.loss_word;
        let measured = &found.measured;
        let figures = measured
            .swings
            .iter()
            .filter_map(|swing| self.figure(swing));
        let figures: Vec<FigureRow> = figures.collect();
        let tried = i64::try_from(BUDGET.iterations).unwrap_or(i64::MAX);
        let worths = measured.worths.iter();
        FoundRow {
            stale: self.stale(found.number),
            from: self.words.clock(found.from),
            worths: worths
                .map(|(more, worth)| self.worth(sentence(&self.more(found, more)), worth))
                .collect(),
            holding: measured
                .holding
                .iter()
                .map(|(keep_back, worth)| self.worth(self.keep_back(keep_back), worth))
                .collect(),
            steady: steady(figures.len(), measured.swings.len()),
            figures,
            how: format!(
                "Order {}, placed anew on things as they stood {}, worked out {} in {} s: each plan the best of {} changes tried. Searches of the same plan with other seeds differ by {} {unit}; what is not more than that is not measurable.",
                found.number,
                self.words.clock(found.from),
                layout.clock(&found.computed_ms),
                found.took.as_secs(),
                whole(tried),
                loss(measured.noise)
            ),
            better: (loss(measured.better) != loss(0)).then(|| {
                format!(
                    "These searches found an order that loses {} {unit} less than order {}: plan again.",
                    loss(measured.better),
                    found.number
                )
            }),
        }
    }

    /// Why what was found for an order may no longer hold.
    fn stale(&self, number: i64) -> Option<String> {
        let newest = self.newest?;
        if newest.number != number {
            return Some(format!(
                "Out of date: worked out for order {number}, and order {} is newer.",
                newest.number
            ));
        }
        match newest.changes_since {
            0 => None,
            1 => Some(format!(
                "One change since order {number}: plan again first."
            )),
            n => Some(format!(
                "{n} changes since order {number}: plan again first."
            )),
        }
    }

    /// As it was when its cost was worked out, and what became of it.
    fn keep_back(&self, measured: &KeepBack) -> String {
        let mut live = self.situation.keep_backs.iter();
        let kept = self.words.kept(measured);
        match live.find(|it| it.number == measured.number) {
            None => format!("{kept}; given up since"),
            Some(now) if now.grams < measured.grams => format!("{kept}; some given up since"),
            Some(_) => kept,
        }
    }

    fn worth(&self, name: String, worth: &Worth) -> WorthRow {
        let freed = worth
            .freed
            .iter()
            .map(|request| format!("{} gets a place", self.words.request(request.as_str())));
        let sooner = worth.sooner.iter().map(|(request, min)| {
            let request = self.words.request(request.as_str());
            format!("{request} back {} sooner", minutes(*min))
        });
        let (averts, counts) = match worth.averted {
            Averted::Loss(averted) => (loss(averted), true),
            Averted::NotMeasurable => ("not measurable".to_owned(), false),
            Averted::Nothing => ("nothing".to_owned(), false),
        };
        WorthRow {
            name,
            averts,
            counts,
            names: freed.chain(sooner).collect(),
        }
    }

    /// 'one more container of 316L stainless, 3 000 g'.
    fn more(&self, found: &Found, more: &More) -> String {
        match more {
            More::Powder { powder, grams } => format!(
                "one more container of {}, {} g",
                self.words.powder(powder.as_str()),
                whole(*grams)
            ),
            More::Gas { bank, .. } => {
                format!("one more full bottle for {}", self.words.bank(bank))
            }
            More::Fuel { ml } => format!("{} more of fuel", litres(*ml)),
            More::Duty { minutes: longer } => {
                let ends = found.duty_ends.map(|ends| self.words.clock(ends));
                let when = ends.map_or_else(String::new, |ends| format!(" when it ends {ends}"));
                format!("{} more of duty{when}", minutes(*longer))
            }
        }
    }

    /// None for a figure that changes nothing.
    fn figure(&self, swing: &Swing) -> Option<FigureRow> {
        let lower = swing.lower.as_ref().map(|tip| self.tip(tip, "or less"));
        let higher = swing.higher.as_ref().map(|tip| self.tip(tip, "or more"));
        let tips: Vec<String> = lower.into_iter().chain(higher).collect();
        (!tips.is_empty()).then(|| FigureRow {
            name: sentence(&self.words.capability(swing.capability.as_str())),
            tips,
        })
    }

    fn tip(&self, tip: &Tip, further: &str) -> String {
        let name = |request: &RequestCode| self.words.request(request.as_str());
        let first: Vec<String> = tip.first.iter().map(name).collect();
        format!(
            "At {} % of what was said {further}: {}.",
            tip.percent,
            first.join(", then ")
        )
    }

    fn place(&self, place: &Place) -> Option<PlaceRow> {
        Some(PlaceRow {
            number: place.number,
            path: requests::path(&place.request),
            name: self.words.request(place.request.as_str()),
            why: self.words.earlier(place)?,
        })
    }
}
