//! An independent verifier: holds a plan against every rule, from the problem alone.
//!
//! It shares no code with the search but the types of problem and plan, so that a mistake in one is
//! found by the other.

mod broken;
mod cells;
mod shared;
mod supplies;
#[cfg(test)]
mod tests;

use std::collections::{BTreeMap, BTreeSet};

pub use broken::{Broken, Place};

use super::loss::loss;
use super::plan::{Plan, PlannedJob, Spot};
use super::problem::{Job, JobOption, Operation, Problem};

/// Every rule that a plan breaks; empty if the plan can be worked to.
///
/// The problem is taken to be free of faults (see [`Problem::faults`]).
#[must_use]
pub fn check(problem: &Problem, plan: &Plan) -> Vec<Broken> {
    let mut broken = Vec::new();
    let placed = placed_operations(problem, plan, &mut broken);
    left_out(problem, plan, &mut broken);
    for operation in &placed {
        alone(problem, operation, &mut broken);
        supplies::lots_of_stage(problem, operation, &mut broken);
        supplies::stores_taken(operation, &mut broken);
    }
    shared::crew(problem, &placed, &mut broken);
    shared::stations(problem, &placed, &mut broken);
    shared::batches(problem, &placed, &mut broken);
    shared::limits(problem, &placed, &mut broken);
    cells::cells(problem, &placed, &mut broken);
    supplies::lots(problem, &placed, &mut broken);
    supplies::stores(problem, &placed, &mut broken);
    figures(problem, plan, &mut broken);
    broken
}

/// A planned operation: what is to be done, and the stretch of time the plan gives it.
struct Placed<'a> {
    place: Place,
    operation: &'a Operation,
    spot: &'a Spot,
    /// Earliest allowed start: the end of the one before, or the job's readiness, plus `after`.
    earliest: i64,
    /// Latest allowed start, if there is one.
    latest: Option<i64>,
    /// From when it holds its crew: set-up included.
    begin: i64,
    start: i64,
    end: i64,
}

fn placed_operations<'a>(
    problem: &'a Problem,
    plan: &'a Plan,
    broken: &mut Vec<Broken>,
) -> Vec<Placed<'a>> {
    let jobs: BTreeMap<_, _> = problem.jobs.iter().map(|j| (j.id.as_str(), j)).collect();
    let mut seen = BTreeSet::new();
    let mut placed = Vec::new();
    for planned in &plan.jobs {
        let Some(job) = jobs.get(planned.id.as_str()) else {
            broken.push(Broken::UnknownJob {
                job: planned.id.clone(),
            });
            continue;
        };
        if !seen.insert(planned.id.as_str()) {
            broken.push(Broken::PlannedTwice {
                job: planned.id.clone(),
            });
            continue;
        }
        let Some(option) = job.options.iter().find(|o| o.id == planned.option) else {
            broken.push(Broken::UnknownOption {
                job: planned.id.clone(),
                option: planned.option.clone(),
            });
            continue;
        };
        place_job(problem, job, option, planned, &mut placed, broken);
    }
    placed
}

fn place_job<'a>(
    problem: &Problem,
    job: &Job,
    option: &'a JobOption,
    planned: &'a PlannedJob,
    placed: &mut Vec<Placed<'a>>,
    broken: &mut Vec<Broken>,
) {
    let (wanted, given) = (option.operations.len(), planned.operations.len());
    if wanted != given {
        broken.push(Broken::OperationCount {
            job: job.id.clone(),
            wanted,
            given,
        });
        return;
    }
    let mut ready = job.release.max(option.earliest);
    if ready > problem.horizon {
        broken.push(Broken::NeverReady {
            job: job.id.clone(),
            ready,
            horizon: problem.horizon,
        });
    }
    for (n, (operation, spot)) in option
        .operations
        .iter()
        .zip(&planned.operations)
        .enumerate()
    {
        let place = Place {
            job: job.id.clone(),
            operation: n + 1,
        };
        let begin = if operation.is_stage() {
            spot.setup_from.unwrap_or(spot.start)
        } else {
            spot.start
        };
        let within = 0..=problem.horizon;
        if !within.contains(&spot.start) || !within.contains(&begin) {
            broken.push(Broken::OutsideHorizon {
                place,
                from: begin.min(spot.start),
                horizon: problem.horizon,
            });
            return;
        }
        let end = spot.start + operation.minutes;
        let earliest = ready + operation.after;
        placed.push(Placed {
            place,
            operation,
            spot,
            earliest,
            latest: operation.within.map(|within| ready + within),
            begin,
            start: spot.start,
            end,
        });
        ready = end;
    }
}

fn left_out(problem: &Problem, plan: &Plan, broken: &mut Vec<Broken>) {
    let planned: BTreeSet<_> = plan.jobs.iter().map(|j| j.id.as_str()).collect();
    let mut out = BTreeSet::new();
    for id in &plan.left_out {
        if !problem.jobs.iter().any(|j| j.id == *id) {
            broken.push(Broken::UnknownJob { job: id.clone() });
        }
        if planned.contains(id.as_str()) {
            broken.push(Broken::LeftOutButPlanned { job: id.clone() });
        }
        if !out.insert(id.as_str()) {
            broken.push(Broken::LeftOutTwice { job: id.clone() });
        }
    }
    for job in &problem.jobs {
        if !planned.contains(job.id.as_str()) && !out.contains(job.id.as_str()) {
            broken.push(Broken::Forgotten {
                job: job.id.clone(),
            });
        }
    }
}

/// The rules that an operation keeps or breaks by itself.
fn alone(problem: &Problem, it: &Placed<'_>, broken: &mut Vec<Broken>) {
    let place = || it.place.clone();
    if it.start < it.earliest {
        broken.push(Broken::TooEarly {
            place: place(),
            start: it.start,
            earliest: it.earliest,
        });
    }
    if let Some(latest) = it.latest.filter(|latest| it.start > *latest) {
        broken.push(Broken::TooLate {
            place: place(),
            start: it.start,
            latest,
        });
    }
    if it.end > problem.horizon {
        broken.push(Broken::OutsideHorizon {
            place: place(),
            from: it.end,
            horizon: problem.horizon,
        });
    }
    if !problem
        .windows
        .iter()
        .any(|w| w.from <= it.start && it.start < w.to)
    {
        broken.push(Broken::OffDuty {
            place: place(),
            start: it.start,
        });
    }
    if it.operation.is_stage() {
        if it.begin > it.start {
            broken.push(Broken::SetupAfterStart {
                place: place(),
                setup_from: it.begin,
                start: it.start,
            });
        }
        if it.spot.setup_from.is_none() {
            broken.push(Broken::NoSetup { place: place() });
        }
    } else if it.spot.cell.is_some() || it.spot.setup_from.is_some() || !it.spot.lots.is_empty() {
        broken.push(Broken::StepSprays { place: place() });
    }
}

/// What the plan says of itself.
fn figures(problem: &Problem, plan: &Plan, broken: &mut Vec<Broken>) {
    let actual = loss(problem, plan);
    if plan.loss != actual {
        broken.push(Broken::Loss {
            stated: plan.loss,
            actual,
        });
    }
    if let Some(bound) = plan.bound.filter(|bound| *bound > actual) {
        broken.push(Broken::Bound { bound, actual });
    }
    if plan.proven == Some(true) && plan.bound != Some(actual) {
        broken.push(Broken::Proven {
            bound: plan.bound,
            actual,
        });
    }
}
