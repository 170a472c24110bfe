//! Two orders beside each other: what each loses, what is done when, and which machine is back when.

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};
use mendpost_core::code::RequestCode;
use mendpost_core::lineup::{
    Accepted, Change, LineUp, Place, Return, Verified, anew, changes, complete, line_up, returns,
};
use mendpost_core::planner::{Plan, Problem};
use mendpost_core::situation::Situation;

use super::pages::{Bar, Wait, losses_as_bars, wait};
use super::timeline::{self, Timeline};
use crate::page::{loss, minutes};
use crate::requests;
use crate::words::Words;

/// A verified plan in the site's own terms, with what it was planned for.
pub struct Laid {
    pub situation: Situation,
    pub problem: Problem,
    pub plan: Plan,
    pub line_up: LineUp,
}

impl Laid {
    /// Verifies a plan of a situation and says what it means there.
    ///
    /// # Errors
    /// In words, when the verifier refuses it.
    pub fn new(situation: &Situation, problem: Problem, plan: Plan) -> Result<Laid, String> {
        let verified = Verified::new(problem, plan).map_err(|broken| {
            let first = broken.first().map(ToString::to_string).unwrap_or_default();
            format!("the verifier refuses the plan: {first}")
        })?;
        Ok(Laid {
            line_up: line_up(situation, &verified),
            situation: situation.clone(),
            problem: verified.problem().clone(),
            plan: verified.plan().clone(),
        })
    }

    /// The order of a plan as it runs from now on.
    pub fn from_now(
        situation: &Situation,
        problem: Problem,
        shown: &Accepted,
    ) -> Result<Laid, String> {
        let plan = from_now(situation, &problem, shown);
        Laid::new(situation, problem, plan)
    }
}

/// An order placed anew on a problem; where nothing of it is left, what can be done.
pub fn from_now(situation: &Situation, problem: &Problem, shown: &Accepted) -> Plan {
    anew(situation, problem, shown).unwrap_or_else(|| {
        let left_out = problem.jobs.iter().map(|job| job.id.clone());
        let nothing = Plan {
            left_out: left_out.collect(),
            ..Plan::default()
        };
        complete(problem, &nothing)
    })
}

/// Two orders as shown.
pub struct Beside {
    /// What the second order is called.
    pub called: &'static str,
    pub bars: Vec<Bar>,
    pub rows: Vec<Row>,
    pub returns: Vec<(String, String)>,
    /// What has a place by the first order and none by the second, and why.
    pub fallen: Vec<Wait>,
    pub wide: Timeline,
    pub narrow: Timeline,
}

/// A request in both.
pub struct Row {
    pub name: String,
    pub path: String,
    pub asset: String,
    pub part: String,
    pub planned: String,
    pub other: String,
    pub back: String,
    pub what: String,
}

/// Sets another order beside the one that is planned. `bars` are losses by name, the one that the others are set against
/// first.
pub fn beside(
    words: &Words<'_>,
    planned: &Laid,
    other: &Laid,
    called: &'static str,
    bars: &[(&'static str, &'static str, i64)],
) -> Beside {
    let names = names(&planned.line_up, &other.line_up);
    let name = |place: &Place| names.get(&place.request).cloned().unwrap_or_default();
    let orders = [planned, other].map(|laid| (&laid.situation, &laid.line_up));
    let data = timeline::gather_pair(orders, words, &name);
    let fallen = |code: &RequestCode| place_of(&planned.line_up, code).is_some();
    let waiting = other.line_up.waiting.iter();
    Beside {
        called,
        bars: losses_as_bars(bars),
        rows: rows(words, &planned.line_up, &other.line_up, &names),
        returns: returns(&planned.line_up, &other.line_up)
            .iter()
            .map(|told| back(words, told, other.line_up.until))
            .collect(),
        fallen: waiting
            .filter(|waits| fallen(&waits.request))
            .map(|waits| wait(words, waits))
            .collect(),
        wide: timeline::draw(&data, 1232),
        narrow: timeline::draw(&data, 752),
    }
}

/// The places of the first order are numbered; what only the second has, gets letters.
fn names(planned: &LineUp, other: &LineUp) -> BTreeMap<RequestCode, String> {
    let numbered = planned.places.iter();
    let mut names: BTreeMap<RequestCode, String> = numbered
        .map(|place| (place.request.clone(), place.number.to_string()))
        .collect();
    let letters = ('a'..='z').map(String::from);
    let mut letters = letters.chain((1..).map(|n| format!("z{n}")));
    for place in &other.places {
        if !names.contains_key(&place.request) {
            names.extend(Some(place.request.clone()).zip(letters.next()));
        }
    }
    names
}

fn place_of<'a>(line_up: &'a LineUp, code: &RequestCode) -> Option<&'a Place> {
    line_up.places.iter().find(|place| place.request == *code)
}

/// In the order of the other, what has fallen out last.
fn rows(
    words: &Words<'_>,
    planned: &LineUp,
    other: &LineUp,
    names: &BTreeMap<RequestCode, String>,
) -> Vec<Row> {
    let mut told: BTreeMap<RequestCode, Vec<String>> = BTreeMap::new();
    for change in changes(planned, other) {
        let what = match &change {
            Change::Moved { from, to, .. } => moved(*from, *to),
            _ => words.change(&change).1,
        };
        told.entry(change.request().clone()).or_default().push(what);
    }
    let stays = |place: &&Place| place_of(other, &place.request).is_none();
    let all = other
        .places
        .iter()
        .chain(planned.places.iter().filter(stays));
    let starts = |line_up: &LineUp, code: &RequestCode| {
        place_of(line_up, code).map_or_else(
            || "no place".to_owned(),
            |place| words.clock(place.starts()),
        )
    };
    all.map(|place| {
        let code = &place.request;
        let back = place_of(other, code).and_then(|place| place.back);
        Row {
            name: names.get(code).cloned().unwrap_or_default(),
            path: requests::path(code),
            asset: words.asset(place.asset.as_str()),
            part: place.part_name.clone(),
            planned: starts(planned, code),
            other: starts(other, code),
            back: back.map_or_else(|| "not back".to_owned(), |at| words.clock(at)),
            what: told
                .get(code)
                .map_or_else(String::new, |all| all.join("; ")),
        }
    })
    .collect()
}

/// '2 h 10 min later'.
fn moved(from: DateTime<Utc>, to: DateTime<Utc>) -> String {
    let by = (to - from).num_minutes();
    let word = if by < 0 { "earlier" } else { "later" };
    format!("{} {word}", minutes(by.abs()))
}

/// Which machine, and by how much its return moves.
fn back(words: &Words<'_>, told: &Return, until: DateTime<Utc>) -> (String, String) {
    let what = match (told.was, told.is) {
        (Some(was), Some(is)) => {
            let (by, is, was) = (moved(was, is), words.clock(is), words.clock(was));
            format!("back {by}: {is}, was {was}")
        }
        (None, Some(is)) => format!("back {}, and was not", words.clock(is)),
        (Some(was), None) => format!(
            "not back until {}, and was {}",
            words.clock(until),
            words.clock(was)
        ),
        (None, None) => String::new(),
    };
    (words.asset(told.asset.as_str()), what)
}

/// No difference that a page shows.
pub const AS_MUCH: &str = "just as much";

/// '1 234 points more', '20 points less' or 'just as much'.
pub fn difference(by: i64, unit: &str) -> String {
    let shown = loss(by.abs());
    match by {
        _ if shown == "0" => AS_MUCH.to_owned(),
        1.. => format!("{shown} {unit} more"),
        _ => format!("{shown} {unit} less"),
    }
}
