use std::collections::BTreeMap;

use askama::Template;
use mendpost_core::lineup::{Comparison, Kept, LineUp, Place, Waiting, changes};
use mendpost_core::people::{Act, may};
use mendpost_core::situation::Situation;

use super::planning::Planning;
use super::queries::Stored;
use super::sure::{self, Sure};
use super::timeline::{self, Shape, Timeline};
use crate::keep_back;
use crate::page::{Layout, loss, whole};
use crate::people::Who;
use crate::requests;
use crate::shape::Small;
use crate::words::{Words, tenths_of};

/// The page of the newest line-up.
#[derive(Template)]
#[template(path = "line-up/show.html")]
pub struct LineUpPage {
    page: Layout,
    answer: String,
    reason: String,
    /// What the loss is counted in.
    unit: String,
    order: Option<Order>,
    /// What is held for named machines.
    kept_back: Vec<keep_back::Row>,
    /// How far it is planned, and why so far.
    reach: String,
    planning: Option<Running>,
    failed: Option<String>,
    may_plan: bool,
    may_accept: bool,
}

/// A line-up as shown.
pub struct Order {
    number: i64,
    until: String,
    computed: String,
    took: String,
    rows: Vec<Row>,
    waits: Vec<Wait>,
    open: usize,
    bars: Vec<Bar>,
    proof: String,
    wide: Timeline,
    narrow: Timeline,
    accepted: Option<String>,
    /// Who laid it out, where it is the crew's own order.
    own_by: Option<String>,
    /// The accepted order, who accepted it and when, and what this one does otherwise.
    since: Option<Since>,
    /// Why it is the accepted order, where it is.
    kept: String,
    /// None for one that was stored before this was worked out.
    sure: Option<Sure>,
}

struct Since {
    number: i64,
    accepted: String,
    changes: Vec<(String, String)>,
}

struct Row {
    number: usize,
    mark: &'static str,
    waits: String,
    path: String,
    asset: String,
    part: String,
    request: String,
    picture: Option<Small>,
    stages: Vec<Stage>,
    back: String,
    /// By which day that is likely.
    likely: String,
    stops: String,
    averts: Option<String>,
}

struct Stage {
    powder: String,
    lots: Vec<(String, String)>,
    gas: String,
    start_day: String,
    start: String,
    end: String,
}

/// A request that waits, and why.
pub struct Wait {
    pub path: String,
    pub asset: String,
    pub part: String,
    pub gates: Vec<String>,
    pub opens: Vec<String>,
}

/// A loss as drawn.
pub struct Bar {
    pub name: &'static str,
    pub kind: &'static str,
    pub total: String,
    pub more: String,
    pub length: f64,
    pub ours: f64,
}

/// A search that runs.
pub struct Running {
    by: String,
    line: String,
}

impl LineUpPage {
    pub fn new(
        page: Layout,
        situation: &Situation,
        latest: Option<&Stored>,
        accepted: Option<&Stored>,
        planning: Planning,
        who: Option<&Who>,
        pictures: &BTreeMap<String, Small>,
    ) -> Self {
        let words = Words::new(situation);
        let mut order = latest.map(|stored| Order::new(situation, &words, stored, accepted));
        for row in order.iter_mut().flat_map(|order| &mut order.rows) {
            row.picture = pictures.get(&row.request).cloned();
        }
        let (answer, reason) = answer(situation, &words, latest);
        let (planning, failed) = match planning {
            Planning::Idle => (None, None),
            Planning::Running {
                since,
                by,
                progress,
            } => (Some(Running::new(since, by, progress)), None),
            Planning::Failed(why) => (None, Some(why)),
        };
        let allowed = |act| who.is_some_and(|w| may(w.role, act));
        LineUpPage {
            answer,
            reason,
            unit: situation.site.loss_word.clone(),
            order,
            kept_back: Vec::new(),
            reach: words.reach(),
            planning,
            failed,
            may_plan: allowed(Act::Plan),
            may_accept: allowed(Act::AcceptLineUp),
            page,
        }
    }

    /// With what is held for named machines.
    pub fn with_kept_back(self, kept_back: Vec<keep_back::Row>) -> Self {
        LineUpPage { kept_back, ..self }
    }
}

/// What to do first, and what else must be said at once.
fn answer(situation: &Situation, words: &Words<'_>, latest: Option<&Stored>) -> (String, String) {
    let Some(stored) = latest else {
        return (
            "Plan the first order: nothing has been planned here yet.".to_owned(),
            String::new(),
        );
    };
    let line_up = &stored.line_up;
    let reason = match stored.changes_since {
        0 => waiting(&line_up.waiting),
        1 => "One change since: plan again.".to_owned(),
        n => format!("{n} changes since: plan again."),
    };
    let Some(first) = line_up.first_spray() else {
        let why = if situation.requests.is_empty() {
            "no request is open"
        } else {
            "no request has a place"
        };
        return (format!("Spray nothing: {why}."), reason);
    };
    let Some((_, stage)) = first.stages().next() else {
        return ("Spray nothing.".to_owned(), reason);
    };
    let lots: Vec<String> = stage.lots.iter().map(|l| l.lot.clone()).collect();
    let word = if lots.len() == 1 { "lot" } else { "lots" };
    let what = words.asset_part(first.asset.as_str(), &first.part_name);
    let late = if stage.start < situation.now {
        "was due"
    } else {
        "at"
    };
    (
        format!(
            "Spray the {what} first, {late} {}, from {word} {}.",
            words.clock(stage.start),
            lots.join(" and ")
        ),
        reason,
    )
}

/// So many gates stand beside the order; the rest goes below it.
const BESIDE: usize = 6;

impl Order {
    fn first_waits(&self) -> &[Wait] {
        self.waits.get(..BESIDE).unwrap_or(&self.waits)
    }

    fn more_waits(&self) -> &[Wait] {
        self.waits.get(BESIDE..).unwrap_or_default()
    }

    fn new(
        situation: &Situation,
        words: &Words<'_>,
        stored: &Stored,
        accepted: Option<&Stored>,
    ) -> Self {
        let line_up = &stored.line_up;
        let data = timeline::gather(situation, line_up, words);
        Order {
            number: stored.number,
            until: words.moment(line_up.until),
            computed: words.clock_ms(stored.computed_ms),
            took: format!(
                "{} ms, {} tries",
                whole(stored.search_ms),
                whole(stored.iterations)
            ),
            rows: line_up
                .places
                .iter()
                .map(|p| row(words, line_up, p))
                .collect(),
            waits: line_up.waiting.iter().map(|w| wait(words, w)).collect(),
            open: line_up.places.len() + line_up.waiting.len(),
            bars: bars(&line_up.losses),
            proof: proof(&line_up.losses),
            wide: timeline::draw(&data, 824),
            narrow: timeline::draw(&data, 752),
            accepted: stored
                .accepted
                .as_ref()
                .map(|(by, at)| format!("{}, {by}", words.clock_ms(*at))),
            own_by: stored.own_by.clone(),
            since: accepted
                .filter(|a| a.number != stored.number)
                .map(|a| since(words, a, line_up)),
            kept: line_up
                .kept
                .map_or_else(String::new, |it| kept(it, line_up.losses.ours)),
            sure: line_up
                .expected
                .as_ref()
                .map(|expected| Sure::new(situation, words, line_up, expected)),
        }
    }
}

/// What a better order would spare, where the accepted one stays.
fn kept(kept: Kept, ours: i64) -> String {
    let order = kept.order;
    if kept.least_loss >= ours {
        return format!("No better order was found than order {order}: it stays, placed anew.");
    }
    format!(
        "Order {order} stays, placed anew. A better order would lose {} % less, {} instead of {}: too little to change what the crew works to.",
        tenths_of(kept.gain_permille(ours), 10),
        loss(kept.least_loss),
        loss(ours)
    )
}

fn since(words: &Words<'_>, accepted: &Stored, line_up: &LineUp) -> Since {
    let by = accepted
        .accepted
        .as_ref()
        .map(|(by, at)| format!("{}, {by}", words.clock_ms(*at)));
    Since {
        number: accepted.number,
        accepted: by.unwrap_or_default(),
        changes: changes(&accepted.line_up, line_up)
            .iter()
            .map(|c| words.change(c))
            .collect(),
    }
}

/// How many requests have no place, and whether that is the crew's own doing.
fn waiting(waiting: &[Waiting]) -> String {
    let left_out = waiting.iter().filter(|waits| waits.is_left_out()).count();
    let waits = match waiting.len() - left_out {
        0 => None,
        1 => Some("1 request waits at a gate".to_owned()),
        n => Some(format!("{n} requests wait at a gate")),
    };
    let left_out = match left_out {
        0 => None,
        1 => Some("1 is left out by the crew".to_owned()),
        n => Some(format!("{n} are left out by the crew")),
    };
    match (waits, left_out) {
        (None, None) => "Every request has its place.".to_owned(),
        (Some(waits), Some(left_out)) => format!("{waits}, {left_out}."),
        (Some(only), None) | (None, Some(only)) => format!("{only}."),
    }
}

fn row(words: &Words<'_>, line_up: &LineUp, place: &Place) -> Row {
    let (mark, waits) = words.readiness(&place.readiness);
    Row {
        number: place.number,
        mark,
        waits,
        path: requests::path(&place.request),
        asset: words.asset(place.asset.as_str()),
        part: place.part_name.clone(),
        picture: None,
        request: place.request.to_string(),
        stages: place
            .stages()
            .map(|(_, s)| Stage {
                powder: words.powder(&s.powder),
                lots: s
                    .lots
                    .iter()
                    .map(|l| (l.lot.clone(), whole(l.grams)))
                    .collect(),
                gas: words.gas(&s.need),
                start_day: words.weekday(s.start),
                start: words.hour(s.start),
                end: words.hour(s.end),
            })
            .collect(),
        back: place
            .back
            .map_or_else(|| "not back".to_owned(), |at| words.clock(at)),
        likely: match place.back {
            Some(_) => sure::likely(words, line_up, place.asset.as_str()),
            None => "waits for another part".to_owned(),
        },
        stops: whole(place.stops_per_hour),
        averts: place.averts_per_cell_hour.map(whole),
    }
}

pub fn wait(words: &Words<'_>, waiting: &Waiting) -> Wait {
    let gates = waiting
        .ways
        .first()
        .map(|way| way.shut.as_slice())
        .unwrap_or_default();
    Wait {
        path: requests::path(&waiting.request),
        asset: words.asset(waiting.asset.as_str()),
        part: waiting.part_name.clone(),
        gates: gates.iter().map(|s| words.gate(&s.gate)).collect(),
        opens: distinct(gates.iter().map(|s| words.opens(&s.opens))),
    }
}

/// Each text once, where it first stood.
fn distinct(texts: impl Iterator<Item = String>) -> Vec<String> {
    let mut kept: Vec<String> = Vec::new();
    for text in texts {
        if !kept.contains(&text) {
            kept.push(text);
        }
    }
    kept
}

fn bars(losses: &Comparison) -> Vec<Bar> {
    let mut all = vec![
        ("Ours", "ours", losses.ours),
        ("Largest rate first", "crew", losses.largest_rate_first),
        ("Oldest first", "crew", losses.oldest_first),
        ("Do nothing", "nothing", losses.nothing),
    ];
    if let Some(planners) = losses.planners {
        all.insert(1, ("The planner's best", "crew", planners));
    }
    losses_as_bars(&all)
}

/// Losses by name and kind, each set against the one whose kind is 'ours'.
pub fn losses_as_bars(all: &[(&'static str, &'static str, i64)]) -> Vec<Bar> {
    let longest = all.iter().map(|(_, _, value)| *value).max().unwrap_or(0);
    let ours = all.iter().find(|(_, kind, _)| *kind == "ours");
    let ours = ours.map_or(0, |(_, _, value)| *value);
    all.iter()
        .map(|(name, kind, value)| Bar {
            name,
            kind,
            total: loss(*value),
            more: match value - ours {
                _ if *kind == "ours" => String::new(),
                by @ 0.. => format!("+{}", loss(by)),
                by => format!("\u{2212}{}", loss(-by)),
            },
            length: share(*value, longest),
            ours: share(ours, longest),
        })
        .collect()
}

#[expect(clippy::cast_precision_loss, reason = "a length on a page")]
fn share(value: i64, of: i64) -> f64 {
    if of <= 0 {
        0.0
    } else {
        (value as f64 / of as f64 * 10_000.0).round() / 100.0
    }
}

fn proof(losses: &Comparison) -> String {
    match losses.gap_permille() {
        _ if losses.proven => "Ours is proven best.".to_owned(),
        Some(permille) if permille < 1000 => {
            format!(
                "Ours is at most {}.{} % above the best possible.",
                permille / 10,
                permille % 10
            )
        }
        _ => "How far ours is from the best possible is not known.".to_owned(),
    }
}

impl Running {
    fn new(
        since: std::time::Instant,
        by: String,
        progress: Option<crate::solve::Progress>,
    ) -> Self {
        let seconds = since.elapsed().as_secs();
        let line = progress.map_or_else(
            || format!("{seconds} s, no order yet"),
            |p| {
                format!(
                    "{seconds} s, best so far loses {}, cannot lose less than {}",
                    loss(p.loss),
                    loss(p.bound)
                )
            },
        );
        Running { by, line }
    }
}
