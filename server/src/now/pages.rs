use askama::Template;
use mendpost_core::lineup::{CapabilityLoss, LineUp, loss_now};
use mendpost_core::powder::LotState;
use mendpost_core::situation::Situation;

use super::acts::{Next, to_do, under_way};
use super::safety::Safety;
use super::stacks::{Stack, stacks};
use crate::build::Running;
use crate::clock_check::InDoubt;
use crate::handover::Late;
use crate::interim::Alarm;
use crate::lineup::Stored;
use crate::need::capability_path;
use crate::page::{Layout, Notice, whole};
use crate::receive::Due;
use crate::receive::queries::Delivery;
use crate::requests::path;
use crate::requests::standing::{Orders, Standing};
use crate::signature::{Waits, second};
use crate::words::Words;
use crate::words::work;

/// What is running, what is stuck, what to do next.
#[derive(Template)]
#[template(path = "now/show.html")]
pub struct NowPage {
    page: Layout,
    answer: String,
    reason: String,
    stale: Option<Stale>,
    may_plan: bool,
    /// No order is there: the first act is to plan one.
    plan_first: bool,
    order: String,
    first: Option<First>,
    next: Vec<NextRow>,
    unit: String,
    total: String,
    said: String,
    losses: Vec<LossRow>,
    /// The ones that lose less, folded, with what they lose together.
    more_losses: Vec<LossRow>,
    more_total: String,
    /// On base lines of at most six, as evenly as they go.
    lines: Vec<Vec<Stack>>,
    stuck: Vec<StuckRow>,
    more_stuck: usize,
    /// What waits for a second signature.
    signings: Vec<SigningRow>,
    /// Interim parts that must come off.
    interim: Option<Alarm>,
    /// The build under way.
    build: Option<Running>,
    /// Deliveries that are due.
    due: Vec<Due>,
    /// Promises and lines of a handover whose time is over.
    late: Vec<Late>,
    /// What threatens the data.
    notices: Vec<Notice>,
    doubt: Option<InDoubt>,
    /// How the copies stand.
    copies: String,
}

/// Why the order should be planned again.
struct Stale {
    head: String,
    text: String,
}

/// The act to press.
struct First {
    verb: String,
    path: String,
    when: String,
    what: String,
}

struct NextRow {
    clock: String,
    location: String,
    line: String,
    path: String,
}

struct LossRow {
    name: String,
    path: String,
    total: usize,
    running: usize,
    must_run: usize,
    standing: String,
    loss: String,
}

struct SigningRow {
    act: String,
    since: String,
    path: String,
}

struct StuckRow {
    name: String,
    path: Option<String>,
    gate: String,
    opens: String,
    since: String,
}

/// Rows of the next acts, below the first.
const NEXT_ROWS: usize = 6;

/// Capabilities shown unfolded, the dearest.
const LOSS_ROWS: usize = 8;

/// Requests that are stuck, before the page sends the reader to the list.
const STUCK_ROWS: usize = 4;

/// Stacks on one base line.
const LINE: usize = 6;

impl NowPage {
    pub fn new(
        page: Layout,
        situation: &Situation,
        orders: &Orders,
        may_plan: bool,
        safety: Safety,
    ) -> Self {
        let words = Words::new(situation);
        let stored = orders.current.as_ref();
        let line_up = stored.map(|stored| &stored.line_up);
        let acts = line_up.map(|l| to_do(l, situation.now)).unwrap_or_default();
        let mut losses = loss_now(situation);
        losses.sort_by_key(|loss| -loss.loss_per_hour);
        let (dear, cheap) = losses.split_at(losses.len().min(LOSS_ROWS));
        let (stuck, more_stuck) = stuck(&page, &words, situation, orders);
        let (answer, reason) = answer(&words, situation, stored, &acts);
        NowPage {
            answer,
            reason,
            stale: stored.and_then(|stored| stale(&page, situation, orders, stored)),
            may_plan,
            plan_first: stored.is_none() && !situation.requests.is_empty(),
            order: stored.map_or_else(String::new, |s| by_order(&page, s)),
            first: acts.first().map(|next| first(&words, next)),
            next: acts
                .iter()
                .skip(1)
                .take(NEXT_ROWS)
                .map(|n| next_row(&words, n))
                .collect(),
            unit: situation.site.loss_word.clone(),
            total: whole(rate(&losses)),
            said: said(&page, situation),
            losses: dear.iter().map(|l| loss_row(&words, l)).collect(),
            more_losses: cheap.iter().map(|l| loss_row(&words, l)).collect(),
            more_total: whole(rate(cheap)),
            lines: lines(&stacks(&page, &words, situation, line_up)),
            stuck,
            more_stuck,
            signings: Vec::new(),
            due: Vec::new(),
            late: Vec::new(),
            interim: None,
            build: None,
            notices: safety.notices,
            doubt: safety.doubt,
            copies: safety.copies,
            page,
        }
    }
}

impl NowPage {
    /// The same with what waits for a second signature.
    pub fn with_signings(mut self, waiting: Vec<Waits>) -> Self {
        self.signings = waiting
            .into_iter()
            .map(|waits| SigningRow {
                act: second::act(waits.meaning, &waits.subject_id),
                since: format!(
                    "{} signed first, {}",
                    waits.by,
                    self.page.age(&waits.since_ms)
                ),
                path: second::path(waits.number),
            })
            .collect();
        self
    }

    /// The same with the build that is under way.
    pub fn with_build(mut self, build: Option<Running>) -> Self {
        self.build = build;
        self
    }

    /// The same with interim parts that must come off.
    pub fn with_interim(mut self, alarm: Option<Alarm>) -> Self {
        self.interim = alarm;
        self
    }

    /// The same with what was carried over and is overdue.
    pub fn with_late(mut self, late: Vec<Late>) -> Self {
        self.late = late;
        self
    }

    /// The same with deliveries that are due.
    pub fn with_deliveries(mut self, deliveries: Vec<Delivery>) -> Self {
        self.due = Due::of(&self.page, deliveries);
        self
    }
}

fn lines(stacks: &[Stack]) -> Vec<Vec<Stack>> {
    let count = stacks.len().div_ceil(LINE).max(1);
    let even = stacks.len().div_ceil(count).max(1);
    stacks.chunks(even).map(<[Stack]>::to_vec).collect()
}

fn answer(
    words: &Words<'_>,
    situation: &Situation,
    stored: Option<&Stored>,
    acts: &[Next<'_>],
) -> (String, String) {
    let open = situation.requests.len();
    let Some(stored) = stored else {
        return if open == 0 {
            (
                "Report what is broken: no request is open.".to_owned(),
                String::new(),
            )
        } else {
            let asked = if open == 1 {
                "1 part is".to_owned()
            } else {
                format!("{open} parts are")
            };
            (
                format!("Plan the order: {asked} asked for, and nothing is planned."),
                String::new(),
            )
        };
    };
    let running = running(words, situation, &stored.line_up);
    if let Some(next) = acts.first() {
        return (next.answer(words, situation.now), running);
    }
    if !running.is_empty() {
        return (
            "Watch what runs; nothing else is to be begun.".to_owned(),
            running,
        );
    }
    let line_up = &stored.line_up;
    let answer = match (line_up.places.is_empty(), line_up.waiting.len()) {
        (true, 0) => "Report what is broken: no request is open.".to_owned(),
        (true, 1) => "Open a gate: the one part asked for waits.".to_owned(),
        (true, all) => format!("Open a gate: all {all} parts asked for wait."),
        (false, _) => format!(
            "Plan again: order {} has nothing left to do.",
            stored.number
        ),
    };
    (answer, String::new())
}

/// What sprays at this moment, if anything.
fn running(words: &Words<'_>, situation: &Situation, line_up: &LineUp) -> String {
    let begun = under_way(line_up, situation.now);
    let stages = begun.iter().find_map(|(place, work)| match work {
        mendpost_core::lineup::Work::Stage(stage) if stage.start <= situation.now => {
            Some((place, stage))
        }
        _ => None,
    });
    stages.map_or_else(String::new, |(place, stage)| {
        let name = words.asset_part(place.asset.as_str(), &place.part_name);
        format!(
            "The cell sprays the {name} until {}.",
            words.when(stage.end)
        )
    })
}

/// Minutes after which an order is told to be old.
const OLD_MIN: i64 = 60;

fn stale(page: &Layout, situation: &Situation, orders: &Orders, stored: &Stored) -> Option<Stale> {
    let number = stored.number;
    if let Some(newer) = &orders.newer {
        return Some(Stale {
            head: format!("Order {} is newer and not accepted.", newer.number),
            text: format!("This page goes by order {number}, which the crew works to."),
        });
    }
    let age = page.age(&stored.line_up.now.timestamp_millis());
    let text = "What is asked for, on hand or down may differ from what it was planned with.";
    match stored.changes_since {
        0 if (situation.now - stored.line_up.now).num_minutes() < OLD_MIN => None,
        0 => Some(Stale {
            head: format!("Order {number} was planned {age}."),
            text: "What was to be done since then is taken as done.".to_owned(),
        }),
        1 => Some(Stale {
            head: format!("One change since order {number} was planned, {age}."),
            text: text.to_owned(),
        }),
        many => Some(Stale {
            head: format!("{many} changes since order {number} was planned, {age}."),
            text: text.to_owned(),
        }),
    }
}

fn by_order(page: &Layout, stored: &Stored) -> String {
    match &stored.accepted {
        Some((by, at)) => format!(
            "order {}, accepted {} by {by}",
            stored.number,
            page.clock(at)
        ),
        None => format!("order {}, not accepted yet", stored.number),
    }
}

fn first(words: &Words<'_>, next: &Next<'_>) -> First {
    let name = words.asset_part(next.place.asset.as_str(), &next.place.part_name);
    First {
        verb: next.verb(),
        path: path(&next.place.request),
        when: format!("{}, {}", sentence_when(words, next), next.people()),
        what: format!("place {}, {name}", next.place.number),
    }
}

fn sentence_when(words: &Words<'_>, next: &Next<'_>) -> String {
    let by = if matches!(next.what, super::acts::What::Draw(_)) {
        "By"
    } else {
        "At"
    };
    format!("{by} {}", words.when(next.at))
}

fn next_row(words: &Words<'_>, next: &Next<'_>) -> NextRow {
    NextRow {
        clock: words.when(next.at),
        location: next.location(words),
        line: next.line(words),
        path: path(&next.place.request),
    }
}

fn rate(losses: &[CapabilityLoss]) -> i64 {
    losses.iter().map(|loss| loss.loss_per_hour).sum()
}

fn loss_row(words: &Words<'_>, loss: &CapabilityLoss) -> LossRow {
    LossRow {
        name: work::sentence(&words.capability(loss.capability.as_str())),
        path: capability_path(loss.capability.as_str()),
        total: loss.total,
        running: loss.running,
        must_run: loss.must_run,
        standing: work::standing(loss),
        loss: whole(loss.loss_per_hour),
    }
}

/// Who said the rates, and when the oldest was said.
fn said(page: &Layout, situation: &Situation) -> String {
    let capabilities = &situation.capabilities;
    let Some(oldest) = capabilities.iter().min_by_key(|c| c.said_at) else {
        return "nobody has said what the site needs".to_owned();
    };
    let day = page.day(&oldest.said_at.timestamp_millis());
    if capabilities.iter().all(|c| c.said_by == oldest.said_by) {
        format!("rates by {}, {day}", oldest.said_by)
    } else {
        format!("oldest rate of {day}")
    }
}

/// The dearest requests at a gate, then lots on hold; and how many more requests there are.
fn stuck(
    page: &Layout,
    words: &Words<'_>,
    situation: &Situation,
    orders: &Orders,
) -> (Vec<StuckRow>, usize) {
    let mut gated: Vec<(i64, StuckRow)> = situation
        .requests
        .iter()
        .filter_map(|request| {
            let Standing::Gate(_, waiting) = orders.standing(&request.code) else {
                return None;
            };
            let told = orders.told(words, &request.code, situation.now);
            let age = page.age(&request.reported_at.timestamp_millis());
            let row = StuckRow {
                name: format!(
                    "{} {}",
                    words.asset(request.asset.as_str()),
                    request.part_name
                ),
                path: Some(path(&request.code)),
                gate: told.act,
                opens: told.detail,
                since: age.trim_end_matches(" ago").to_owned(),
            };
            Some((waiting.stops_per_hour, row))
        })
        .collect();
    gated.retain(|(.., row)| row.path.as_ref().is_none_or(|to| !on_hold(situation, to)));
    gated.sort_by_key(|(stops, _)| -stops);
    let more = gated.len().saturating_sub(STUCK_ROWS);
    let mut rows = parts_held(words, situation);
    rows.extend(gated.into_iter().take(STUCK_ROWS).map(|(_, row)| row));
    rows.extend(held(words, situation));
    (rows, more)
}

fn on_hold(situation: &Situation, to: &str) -> bool {
    let held = situation
        .requests
        .iter()
        .filter(|request| !request.on_hold.is_empty());
    held.map(|request| path(&request.code))
        .any(|held| held == to)
}

/// Parts that somebody has to judge, whatever an order says of them.
fn parts_held(words: &Words<'_>, situation: &Situation) -> Vec<StuckRow> {
    let requests = situation.requests.iter();
    let held = requests.flat_map(|request| request.on_hold.iter().map(move |hold| (request, hold)));
    held.map(|(request, hold)| StuckRow {
        name: format!(
            "{} {}",
            words.asset(request.asset.as_str()),
            request.part_name
        ),
        path: Some(path(&request.code)),
        gate: format!("hold {}, {}", hold.number, hold.what),
        opens: format!("opens: judge hold {}", hold.number),
        since: String::new(),
    })
    .collect()
}

fn held(words: &Words<'_>, situation: &Situation) -> Vec<StuckRow> {
    let held = situation
        .lots
        .iter()
        .filter(|lot| lot.state == LotState::Hold);
    held.map(|lot| StuckRow {
        name: format!(
            "Lot {}, {}, {} g",
            lot.code,
            words.powder(lot.powder.as_str()),
            whole(lot.on_hand.grams_on_hand())
        ),
        path: None,
        gate: match lot.state_note.as_str() {
            "" => "hold".to_owned(),
            note => format!("hold, {note}"),
        },
        opens: "opens: release it, or reject it".to_owned(),
        since: String::new(),
    })
    .collect()
}
