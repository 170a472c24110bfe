//! The page on which a draw is entered.

use askama::Template;
use axum::response::Response;
use mendpost_core::powder::draw::Remedy;

use super::draw_form::{DrawForm, TRIAL};
use super::look::{Look, Want};
use super::queries::{Container, Open};
use super::waive;
use crate::error::AppError;
use crate::form::FieldErrors;
use crate::page::{Layout, Screen, field_time, grams_down, grams_exact, minutes, page_with, whole};
use crate::people::Visit;
use crate::powder::lot_path;
use crate::words::Words;
use crate::words::draw::doubt;
use crate::words::powder::lot_state;
use crate::words::work::sentence;

#[derive(Template)]
#[template(path = "feeder/draw.html")]
struct DrawPage {
    page: Layout,
    answer: String,
    reason: String,
    containers: Vec<(String, String)>,
    wants: Vec<(String, String)>,
    pairs: Vec<(&'static str, String)>,
    /// The address of the lot of the container that was chosen.
    lot: Option<String>,
    doubts: Vec<Told>,
    /// Where two people say that it is drawn all the same.
    waive: Option<String>,
    form: DrawForm,
    errors: FieldErrors,
}

impl DrawPage {
    fn yes_or_no(&self) -> [(&'static str, &'static str); 2] {
        [("yes", "closed again"), ("no", "still open")]
    }
}

/// A doubt, and what it takes to draw all the same.
struct Told {
    text: String,
    takes: &'static str,
}

pub(super) async fn draw_page(
    visit: &Visit,
    look: &Look,
    open: Open,
    mut form: DrawForm,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let words = Words::new(&look.situation);
    let wants = look.wants();
    let chosen = look.container(&form.container);
    if let Some(container) = chosen {
        form.container = container.code.to_string();
    }
    if form.division.is_empty() {
        form.division = crate::form::plain_decimal(look.allowance.division.0, 3);
    }
    if form.opened.is_empty() {
        let since = open.since_ms.unwrap_or(visit.now);
        form.opened = field_time(since, visit.site.zone);
    }
    if form.closed.is_empty() {
        "yes".clone_into(&mut form.closed);
    }
    let fits = |want: &&Want| chosen.is_none_or(|it| it.powder == want.purpose.powder);
    if form.for_.is_empty()
        && let Some(want) = wants.iter().find(fits)
    {
        form.for_ = want.request.to_string();
    }
    let want = wants.iter().find(|it| it.request.as_str() == form.for_);
    let mut shown = DrawPage {
        page: visit.layout(Screen::Powder, "Draw powder").await?,
        answer: String::new(),
        reason: String::new(),
        containers: containers(look, want),
        wants: wants
            .iter()
            .map(|it| (it.request.to_string(), wanted(&words, it)))
            .collect(),
        pairs: pairs(&words, look, chosen, want, open),
        lot: chosen.map(|it| lot_path(it.lot.as_str())),
        doubts: Vec::new(),
        waive: None,
        form,
        errors,
    };
    shown
        .wants
        .push((TRIAL.to_owned(), "a trial piece, of no request".to_owned()));
    (shown.answer, shown.reason) = answer(&words, chosen, want);
    if let Some(container) = chosen {
        let doubts = look.doubts(container, want, (open, visit.moment()?), 0);
        let two = |it: &&mendpost_core::powder::draw::Doubt| it.remedy() == Remedy::SecondPerson;
        let way = waive::path(container.code.as_str(), &shown.form.for_);
        let never = doubts.iter().any(|it| it.remedy() == Remedy::None);
        shown.waive = doubts.iter().find(two).filter(|_| !never).map(|_| way);
        shown.doubts = doubts
            .iter()
            .map(|it| Told {
                text: sentence(&doubt(&look.situation, it)),
                takes: takes(it.remedy()),
            })
            .collect();
    }
    page_with(shown.errors.status(), &shown)
}

fn takes(remedy: Remedy) -> &'static str {
    match remedy {
        Remedy::None => "nobody may draw it",
        Remedy::SecondPerson => "takes two people",
        Remedy::Reason => "takes a reason",
    }
}

fn answer(words: &Words<'_>, chosen: Option<&Container>, want: Option<&Want>) -> (String, String) {
    let grams = want.map(|it| whole(it.grams));
    match (chosen, want, grams) {
        (Some(container), Some(want), Some(grams)) => (
            format!("Pour {grams} g of {} for {}.", container.code, want.request),
            sentence(&words.request(want.request.as_str())) + ".",
        ),
        (Some(container), ..) => (
            format!("Weigh {}, pour, weigh again.", container.code),
            String::new(),
        ),
        (None, Some(want), Some(grams)) => (
            format!(
                "Choose the container for {}: it takes {grams} g.",
                want.request
            ),
            sentence(&words.request(want.request.as_str())) + ".",
        ),
        _ => (
            "Choose the container that you pour from.".to_owned(),
            String::new(),
        ),
    }
}

/// 'Place 2, R12: bearing sleeve of feed pump 1, 2 480 g of L0393'.
fn wanted(words: &Words<'_>, want: &Want) -> String {
    let place = want
        .place
        .map(|n| format!("place {n}, "))
        .unwrap_or_default();
    let lots: Vec<&str> = want.purpose.lots.iter().map(|it| it.as_str()).collect();
    let of = match lots.as_slice() {
        [] => words.powder_short(want.purpose.powder.as_str()),
        lots => lots.join(" and "),
    };
    format!("{}, {place}{} g of {of}", want.request, whole(want.grams))
}

/// Those of the wanted powder first; what may not be drawn says so.
fn containers(look: &Look, want: Option<&Want>) -> Vec<(String, String)> {
    let mut all: Vec<&Container> = look.containers.iter().filter(|it| it.held.0 > 0).collect();
    let other = |it: &&Container| want.is_some_and(|want| want.purpose.powder != it.powder);
    let planned = |it: &&Container| want.is_some_and(|want| want.purpose.lots.contains(&it.lot));
    let barred = |it: &&Container| it.state != mendpost_core::powder::LotState::Released;
    all.sort_by_key(|it| (other(it), barred(it), !planned(it)));
    all.into_iter()
        .map(|it| {
            let state = match it.state {
                mendpost_core::powder::LotState::Released => String::new(),
                state => format!(", {}", lot_state(state)),
            };
            let open = if it.opened_ms.is_some() {
                "open"
            } else {
                "sealed"
            };
            let words = format!(
                "{}, {}, {}, {open}{state}",
                it.code,
                it.powder_name,
                grams_down(it.held.0)
            );
            (it.code.to_string(), words)
        })
        .collect()
}

fn pairs(
    words: &Words<'_>,
    look: &Look,
    chosen: Option<&Container>,
    want: Option<&Want>,
    open: Open,
) -> Vec<(&'static str, String)> {
    let mut pairs = Vec::new();
    if let Some(want) = want {
        pairs.push(("For", words.request(want.request.as_str())));
        pairs.push(("Takes", format!("{} g", whole(want.grams))));
    }
    if let Some(container) = chosen {
        pairs.push((
            "Lot",
            format!("{}, {}", container.lot, sentence(&container.powder_name)),
        ));
        pairs.push(("In it, by the book", grams_exact(container.held.0)));
        if let Some(tare) = container.tare {
            pairs.push(("Weighs empty", grams_exact(tare.0)));
        }
        let limit = match container.open_limit_min {
            Some(limit) => format!("{} of {}", minutes(open.minutes), minutes(limit)),
            None => format!("{}; nobody told how long it may", minutes(open.minutes)),
        };
        pairs.push(("Stood open so far", limit));
    }
    let held: Vec<String> = look
        .feeder
        .iter()
        .map(|it| format!("{} of {}", grams_down(it.mass.0), it.lot))
        .collect();
    let held = match (held.as_slice(), &look.situation.cell.feeder) {
        ([], None) => "nothing, clean".to_owned(),
        ([], Some(powder)) => format!("not clean of {}", words.powder(powder.as_str())),
        (held, _) => held.join(" and "),
    };
    pairs.push(("In the feeder", held));
    pairs
}
