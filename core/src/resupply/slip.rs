//! What it means if the trip comes late.

use super::load::Load;
use super::outlook::RunsOut;
use super::worth::{Setting, Truly, Yardstick};
use super::{NextTrip, Trip};
use crate::code::RequestCode;
use crate::lineup::Budget;
use crate::planner::{Plan, Problem, finish_times};
use chrono::TimeDelta;

/// So many days late are looked at.
pub const SLIP_DAYS: [i64; 3] = [1, 3, 7];

/// A machine back less than this later is not worth telling, in minutes.
const SAME_MIN: i64 = 60;

/// The trip with its load so many days late.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Slip {
    /// How many days.
    pub days: i64,
    /// What that costs, as rate x minutes; 0 where the searches do not tell.
    pub costs: i64,
    /// Requests that then have no place any more.
    pub out: Vec<RequestCode>,
    /// Requests whose part is done later, and by how many minutes; the most first.
    pub later: Vec<(RequestCode, i64)>,
    /// What lacks first when something fails meanwhile.
    pub runs_out: Vec<RunsOut>,
    /// Requests to take up now before others: they stand earlier in the order that is best if it is known now
    /// that the trip is late, by how many places.
    pub sooner: Vec<(RequestCode, usize)>,
    /// The first requests of that order.
    pub first: Vec<RequestCode>,
}

/// What it means if the trip comes late with this load; none if stopped.
///
/// For each slip the whole is planned anew, as if it were known now, and held against the same failures to
/// come.
#[must_use]
pub fn slips(
    yardstick: &Yardstick,
    load: &Load,
    in_time: &Truly,
    budget: Budget,
    stop: &mut dyn FnMut() -> bool,
) -> Option<Vec<Slip>> {
    let problem = yardstick.drafted(load);
    let before = order(&in_time.plan);
    let told = SLIP_DAYS.iter().map(|days| {
        let late = late(yardstick.setting(), *days);
        let late = Yardstick::new(late, budget, yardstick.courses().len(), stop)?;
        let truly = late.truly(load, stop)?;
        let noise = yardstick.measure().noise() + late.measure().noise();
        let more = truly.plan.loss + truly.outlook.loss - in_time.plan.loss - in_time.outlook.loss;
        let late_problem = late.drafted(load);
        let after = order(&truly.plan);
        let sooner = after.iter().enumerate().filter_map(|(place, code)| {
            let known = before.iter().position(|it| it == code)?;
            (known > place).then(|| (code.clone(), known - place))
        });
        let sooner: Vec<_> = sooner.collect();
        Some(Slip {
            days: *days,
            costs: if more > noise { more } else { 0 },
            out: before
                .iter()
                .filter(|it| !after.contains(it))
                .cloned()
                .collect(),
            later: later((&problem, &in_time.plan), (&late_problem, &truly.plan)),
            runs_out: truly.outlook.runs_out,
            sooner,
            first: after.into_iter().take(3).collect(),
        })
    });
    told.collect()
}

/// The same with the trip so many days later; the load must last until the same moment.
fn late(setting: &Setting, days: i64) -> Setting {
    let later = TimeDelta::days(days);
    let trip = Trip {
        usual: setting.trip.usual + later,
        latest: setting.trip.latest.max(setting.trip.usual + later),
        ..setting.trip.clone()
    };
    let next = setting.next.latest(&setting.trip);
    Setting {
        next: NextTrip::At(next),
        trip,
        ..setting.clone()
    }
}

/// Requests by when work on them begins.
fn order(plan: &Plan) -> Vec<RequestCode> {
    let begins = plan.jobs.iter().map(|job| {
        let first = job.operations.first();
        (
            first.map_or(0, |spot| spot.setup_from.unwrap_or(spot.start)),
            &job.id,
        )
    });
    let mut begins: Vec<_> = begins.collect();
    begins.sort();
    begins
        .into_iter()
        .filter_map(|(_, id)| id.parse().ok())
        .collect()
}

fn later(in_time: (&Problem, &Plan), late: (&Problem, &Plan)) -> Vec<(RequestCode, i64)> {
    let (before, after) = (
        finish_times(in_time.0, in_time.1),
        finish_times(late.0, late.1),
    );
    let told = before.iter().filter_map(|(id, minute)| {
        let more = after.get(id)? - minute;
        Some((id.parse().ok()?, (more >= SAME_MIN).then_some(more)?))
    });
    let mut told: Vec<(RequestCode, i64)> = told.collect();
    told.sort_by_key(|(_, minutes)| -minutes);
    told
}
