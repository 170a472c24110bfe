//! The rules once more, minute by minute and without a thought for speed: what the verifier calls sound is
//! sound, and the other way round.

use std::collections::{BTreeMap, BTreeSet};

use crate::planner::loss;
use crate::planner::plan::{Plan, PlannedJob, Spot};
use crate::planner::problem::{Capability, Cell, Draw, Job, JobOption, Operation, Problem, Work};

/// An operation as planned.
struct Done<'a> {
    job: &'a str,
    position: usize,
    operation: &'a Operation,
    spot: &'a Spot,
    /// With set-up.
    begin: i64,
    end: i64,
}

impl Done<'_> {
    fn holds(&self, minute: i64) -> bool {
        self.begin <= minute && minute < self.end
    }
}

/// Whether a plan keeps every rule and states its own loss.
pub(super) fn is_sound(problem: &Problem, plan: &Plan) -> bool {
    let Some(done) = each_job_once(problem, plan).then(|| lay_out(problem, plan)) else {
        return false;
    };
    done.is_some_and(|done| {
        let mut minutes = 0..problem.horizon;
        minutes.all(|minute| fits(problem, &done, minute))
            && problem
                .cells
                .iter()
                .all(|cell| set_up(problem, cell, &done))
            && done
                .iter()
                .all(|it| lots(problem, it) && stores(problem, &done, it))
            && no_lot_overdrawn(problem, &done)
            && figures(problem, plan)
    })
}

fn each_job_once(problem: &Problem, plan: &Plan) -> bool {
    let planned = plan.jobs.iter().map(|job| &job.id);
    let mut named: Vec<&String> = planned.chain(&plan.left_out).collect();
    let mut wanted: Vec<&String> = problem.jobs.iter().map(|job| &job.id).collect();
    named.sort();
    wanted.sort();
    named == wanted
}

/// The operations with when they begin and end; none if one of them comes at a wrong time of its own job.
fn lay_out<'a>(problem: &'a Problem, plan: &'a Plan) -> Option<Vec<Done<'a>>> {
    let mut done = Vec::new();
    for planned in &plan.jobs {
        let job = problem.jobs.iter().find(|job| job.id == planned.id)?;
        let option = job.options.iter().find(|it| it.id == planned.option)?;
        done.extend(lay_out_job(problem.horizon, job, option, planned)?);
    }
    Some(done)
}

fn lay_out_job<'a>(
    horizon: i64,
    job: &'a Job,
    option: &'a JobOption,
    planned: &'a PlannedJob,
) -> Option<Vec<Done<'a>>> {
    let mut ready = job.release.max(option.earliest);
    if ready > horizon || option.operations.len() != planned.operations.len() {
        return None;
    }
    let mut done = Vec::new();
    for (position, (operation, spot)) in option
        .operations
        .iter()
        .zip(&planned.operations)
        .enumerate()
    {
        let sprays = matches!(operation.work, Work::Stage { .. });
        if sprays != spot.setup_from.is_some() || sprays != spot.cell.is_some() {
            return None;
        }
        if !sprays && !spot.lots.is_empty() {
            return None;
        }
        let begin = spot.setup_from.unwrap_or(spot.start);
        let latest = operation.within.map_or(i64::MAX, |wait| ready + wait);
        let in_time = ready + operation.after <= spot.start && spot.start <= latest;
        if !in_time || begin < 0 || begin > spot.start || spot.start > horizon - operation.minutes {
            return None;
        }
        ready = spot.start + operation.minutes;
        done.push(Done {
            job: &job.id,
            position,
            operation,
            spot,
            begin,
            end: ready,
        });
    }
    Some(done)
}

fn on_duty(problem: &Problem, minute: i64) -> i64 {
    let windows = problem.windows.iter();
    let now = windows.filter(|window| window.from <= minute && minute < window.to);
    now.map(|window| window.crew).sum()
}

/// People, cells, stations and limits at one minute.
fn fits(problem: &Problem, done: &[Done], minute: i64) -> bool {
    let now: Vec<&Done> = done.iter().filter(|it| it.holds(minute)).collect();
    let crew: i64 = now.iter().map(|it| it.operation.crew).sum();
    let starts_unseen = |it: &&Done| it.spot.start == minute && on_duty(problem, minute) == 0;
    crew <= on_duty(problem, minute)
        && !done.iter().any(|it| starts_unseen(&it))
        && cells_at(problem, &now, minute)
        && stations_at(problem, &now, minute)
        && limits_at(problem, done, minute)
}

/// Of stages, one in each cell, where it may be, in a cell that is open and with somebody on duty.
fn cells_at(problem: &Problem, now: &[&Done], minute: i64) -> bool {
    let mut taken = BTreeSet::new();
    now.iter().all(|it| {
        let (Work::Stage { cells, .. }, Some(id)) = (&it.operation.work, &it.spot.cell) else {
            return true;
        };
        let cell = problem.cells.iter().find(|cell| cell.id == *id);
        cells.contains(id)
            && taken.insert(id)
            && on_duty(problem, minute) > 0
            && cell.is_some_and(|cell| {
                let mut closed = cell.closed.iter();
                cell.free_from <= minute && !closed.any(|(from, to)| (*from..*to).contains(&minute))
            })
    })
}

fn stations_at(problem: &Problem, now: &[&Done], minute: i64) -> bool {
    problem.stations.iter().all(|it| {
        let mut slots = it.slots;
        for (from, to, fewer) in &it.closed {
            if (*from..*to).contains(&minute) {
                slots -= fewer;
            }
        }
        let mut held = 0;
        let mut batches = BTreeSet::new();
        for done in now {
            if let Work::Step { station, cycle } = &done.operation.work
                && station.as_ref() == Some(&it.id)
            {
                held += 1;
                batches.insert((done.begin, done.operation.minutes, cycle));
            }
        }
        held == 0 || held <= slots && (!it.batch || batches.len() == 1)
    })
}

fn limits_at(problem: &Problem, done: &[Done], minute: i64) -> bool {
    problem.limits.iter().all(|limit| {
        let mut capacity = limit.capacity;
        for (from, to, other) in &limit.windows {
            if (*from..*to).contains(&minute) {
                capacity = *other;
            }
        }
        let mut held = 0;
        for it in done {
            for load in it
                .operation
                .loads
                .iter()
                .filter(|load| load.limit == limit.id)
            {
                let last = load.through.unwrap_or(it.position);
                let of_job = done.iter().filter(|other| other.job == it.job);
                let end = of_job
                    .filter(|other| other.position <= last)
                    .map(|other| other.end);
                if it.begin <= minute && Some(minute) < end.max() {
                    held += load.amount;
                }
            }
        }
        held <= capacity
    })
}

/// Every stage in a cell has the set-up that it needs, by what was sprayed there before, and whether the cell
/// stood idle through a minute without people since.
fn set_up(problem: &Problem, cell: &Cell, done: &[Done]) -> bool {
    let here = || {
        done.iter()
            .filter(|it| it.spot.cell.as_ref() == Some(&cell.id))
    };
    here().all(|it| {
        let before = here()
            .filter(|other| other.end <= it.begin)
            .max_by_key(|other| other.end);
        let Some(sprayed) = powder(it) else {
            return false;
        };
        let last = before.map_or(cell.powder.as_deref(), |other| powder(other));
        let mut needed = match last {
            Some(last) if last != sprayed => {
                let row = cell.changeover.get(last);
                *row.and_then(|row| row.get(sprayed))
                    .unwrap_or(&cell.default_changeover)
            }
            _ => cell.same_powder,
        };
        let warm = before.is_some_and(|other| {
            (other.spot.start..it.spot.start).all(|minute| on_duty(problem, minute) > 0)
        });
        if !warm {
            needed += cell.warm_up;
        }
        it.spot.start - it.begin >= needed
    })
}

fn powder<'a>(it: &Done<'a>) -> Option<&'a str> {
    match &it.operation.work {
        Work::Stage { powder, .. } => Some(powder),
        Work::Step { .. } => None,
    }
}

/// The lots of a stage: its powder, usable for all of it, enough and no more of them than it allows.
fn lots(problem: &Problem, it: &Done) -> bool {
    let Work::Stage {
        powder,
        grams,
        one_lot,
        ..
    } = &it.operation.work
    else {
        return true;
    };
    let mut left = *grams;
    for draw in &it.spot.lots {
        let lot = problem.lots.iter().find(|lot| lot.id == draw.lot);
        let usable = lot.is_some_and(|lot| {
            lot.powder == *powder && lot.from <= it.spot.start && it.end <= lot.until
        });
        if draw.grams <= 0 || !usable {
            return false;
        }
        left -= draw.grams;
    }
    left == 0 && (!one_lot || it.spot.lots.len() <= 1)
}

fn no_lot_overdrawn(problem: &Problem, done: &[Done]) -> bool {
    let mut left: BTreeMap<&str, i64> = BTreeMap::new();
    for lot in &problem.lots {
        left.insert(&lot.id, lot.grams);
    }
    for draw in done.iter().flat_map(|it| &it.spot.lots) {
        if let Some(grams) = left.get_mut(draw.lot.as_str()) {
            *grams -= draw.grams;
        }
    }
    left.values().all(|grams| *grams >= 0)
}

/// What an operation takes of a store, and what must be left: none for a choice that the plan may not make.
fn taken(it: &Done) -> Option<Vec<(String, i64, i64)>> {
    let choice = it
        .operation
        .draws
        .iter()
        .any(|draw| matches!(draw, Draw::AnyOf(_)));
    let wanted = if choice { it.operation.draws.len() } else { 0 };
    if it.spot.from.len() != wanted {
        return None;
    }
    let mut all = Vec::new();
    for (n, draw) in it.operation.draws.iter().enumerate() {
        let named = it.spot.from.get(n).and_then(Option::as_ref);
        let of = match (draw, named) {
            (Draw::Of(of), None) => of,
            (Draw::AnyOf(choices), Some(store)) => choices.iter().find(|of| of.store == *store)?,
            _ => return None,
        };
        all.push((of.store.clone(), of.amount, of.floor));
    }
    Some(all)
}

/// Enough is left of every store that an operation draws on, at the minute of the draw.
fn stores(problem: &Problem, done: &[Done], it: &Done) -> bool {
    let Some(drawn) = taken(it) else {
        return false;
    };
    drawn.iter().all(|(id, _, floor)| {
        let store = problem.stores.iter().find(|store| store.id == *id);
        let Some(store) = store else {
            return false;
        };
        let mut left = store.level;
        for (minute, amount) in &store.arrivals {
            if *minute <= it.spot.start {
                left += amount;
            }
        }
        for other in done
            .iter()
            .filter(|other| other.spot.start <= it.spot.start)
        {
            let of_store = taken(other).unwrap_or_default();
            left -= of_store
                .iter()
                .filter(|of| of.0 == *id)
                .map(|of| of.1)
                .sum::<i64>();
        }
        left >= *floor
    })
}

fn figures(problem: &Problem, plan: &Plan) -> bool {
    let actual = loss_by_the_minute(problem, plan);
    assert_eq!(actual, loss(problem, plan), "the loss of a sound plan");
    plan.loss == actual
        && plan.bound.is_none_or(|bound| bound <= actual)
        && (plan.proven != Some(true) || plan.bound == Some(actual))
}

/// The loss, one minute after the other.
fn loss_by_the_minute(problem: &Problem, plan: &Plan) -> i64 {
    let mut back: BTreeMap<&str, i64> = BTreeMap::new();
    let mut debts = 0;
    for job in &problem.jobs {
        let mut finish = problem.horizon;
        for planned in plan.jobs.iter().filter(|planned| planned.id == job.id) {
            for option in job.options.iter().filter(|it| it.id == planned.option) {
                debts += option.debt;
                finish = job.release.max(option.earliest);
                for (operation, spot) in option.operations.iter().zip(&planned.operations) {
                    finish = spot.start + operation.minutes;
                }
            }
        }
        let last = back.entry(&job.asset).or_insert(finish);
        *last = finish.max(*last);
    }
    let losses = problem.capabilities.iter().map(|capability| {
        let minutes = capability.from.max(0)..problem.horizon;
        let rates = minutes.map(|minute| rate(problem, capability, &back, minute));
        rates.sum::<i64>()
    });
    losses.sum::<i64>() + debts
}

fn rate(
    problem: &Problem,
    capability: &Capability,
    back: &BTreeMap<&str, i64>,
    minute: i64,
) -> i64 {
    let down = capability.assets.iter().filter(|asset| {
        let known = problem.assets.get(*asset);
        let from = known.and_then(|it| it.down_from).unwrap_or(0);
        let comes = known.and_then(|it| it.back).unwrap_or(problem.horizon);
        from <= minute && minute < back.get(asset.as_str()).copied().unwrap_or(comes)
    });
    capability.loss_per_hour[down.count()]
}
