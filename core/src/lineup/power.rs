//! Electrical power: what works at one time, against what the set may give.

use super::line_up::LineUp;
use super::places::Work;
use crate::planner::{Limit, Load};
use crate::situation::Situation;
use chrono::{DateTime, Utc};
use std::collections::BTreeMap;

/// The limit of what the set gives beyond the camp, in watts.
pub const POWER: &str = "power";

/// What the set gives beyond the camp.
pub(super) fn limit(situation: &Situation) -> Limit {
    Limit {
        id: POWER.to_owned(),
        capacity: (situation.fuel.rated_w - situation.fuel.camp_w).max(0),
        windows: Vec::new(),
    }
}

/// What an operation takes of it.
pub(super) fn load(watts: i64) -> Vec<Load> {
    if watts <= 0 {
        return Vec::new();
    }
    vec![Load {
        limit: POWER.to_owned(),
        amount: watts,
        through: None,
    }]
}

/// The electrical load of a line-up, the camp's included: the moments at which it changes, each with
/// the watts from then on; the first is the line-up's own start.
///
/// A stage counts from its set-up on, a step with all that its station takes.
#[must_use]
pub fn power_by_time(situation: &Situation, line_up: &LineUp) -> Vec<(DateTime<Utc>, i64)> {
    let mut changes = BTreeMap::from([(line_up.now, situation.fuel.camp_w)]);
    let work = line_up.places.iter().flat_map(|place| &place.work);
    for (work, watts) in work.map(|work| (work, watts(situation, work))) {
        *changes.entry(work.starts()).or_insert(0) += watts;
        *changes.entry(work.ends()).or_insert(0) -= watts;
    }
    let mut level = 0;
    let mut levels: Vec<(DateTime<Utc>, i64)> = Vec::new();
    for (at, change) in changes {
        level += change;
        if levels.last().is_none_or(|(_, before)| *before != level) {
            levels.push((at, level));
        }
    }
    levels
}

fn watts(situation: &Situation, work: &Work) -> i64 {
    match work {
        Work::Stage(stage) => stage.need.power_w,
        Work::Step(step) => {
            let station = step
                .station
                .as_ref()
                .and_then(|code| situation.station(code));
            station.map_or(0, |station| station.power_w)
        }
    }
}
