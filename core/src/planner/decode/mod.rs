//! From an order of jobs to a plan: each is placed as early as the rules allow behind those before it.

mod balance;
mod powder;
mod room;
mod state;
#[cfg(test)]
mod tests;
mod toll;

pub(super) use balance::Balance;
pub(super) use room::Room;
pub(super) use state::{Outcome, State, Trail};
pub(super) use toll::Toll;

use super::plan::{LotDraw, Plan, PlannedJob, Spot};
use super::problem::Problem;
use super::rules::Rules;

/// Places jobs by the given `(job, option)` positions in this order, each operation as early as the rules
/// allow given the jobs before it; stages go behind those already in the cell.
///
/// What does not fit, and what is not named, is left out. A job named again, or a position that the problem
/// does not have, is passed over. The plan keeps every rule.
#[must_use]
pub fn decode(problem: &Problem, order: &[(usize, usize)]) -> Plan {
    let rules = Rules::new(problem);
    let earliest = earliest_finishes(&rules);
    let chunks = order.iter().filter_map(|(job, option)| {
        let operations = &rules.jobs.get(*job)?.options.get(*option)?.operations;
        Some(Chunk { job: *job, option: *option, upto: operations.len() })
    });
    plan_of(problem, &rules, &State::new(&rules, &earliest), chunks)
}

/// Places the operations of a job up to a position, from where an earlier chunk of it ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Chunk {
    pub job: usize,
    pub option: usize,
    pub upto: usize,
}

/// By job: no plan finishes it sooner, by whichever option.
pub(super) fn earliest_finishes(rules: &Rules) -> Vec<i64> {
    let empty = State::new(rules, &vec![0; rules.jobs.len()]);
    let of_job = |job: &super::rules::JobRule| {
        let ends = job.options.iter().filter_map(|option| empty.alone(rules, &option.operations, option.ready));
        ends.min().unwrap_or(rules.horizon)
    };
    rules.jobs.iter().map(of_job).collect()
}

/// Decodes chunks from the beginning and writes the plan down; a job named again is passed over.
pub(super) fn plan_of(problem: &Problem, rules: &Rules, empty: &State, chunks: impl Iterator<Item = Chunk>) -> Plan {
    let mut state = empty.clone();
    let mut trail = Trail::default();
    let mut plan = Plan::default();
    let mut upto = vec![0; rules.jobs.len()];
    let mut place_in_plan: Vec<Option<usize>> = vec![None; rules.jobs.len()];
    for chunk in chunks {
        let named = upto[chunk.job] > 0 || place_in_plan[chunk.job].is_some();
        if named && upto[chunk.job] >= chunk.upto {
            continue;
        }
        upto[chunk.job] = chunk.upto.max(1);
        if state.place_chunk(rules, chunk, &mut trail) != Outcome::Placed {
            continue;
        }
        let job = &problem.jobs[chunk.job];
        let at = *place_in_plan[chunk.job].get_or_insert_with(|| {
            let option = job.options[chunk.option].id.clone();
            plan.jobs.push(PlannedJob { id: job.id.clone(), option, operations: Vec::new() });
            plan.jobs.len() - 1
        });
        plan.jobs[at].operations.extend(spots(problem, &trail));
    }
    for (n, job) in problem.jobs.iter().enumerate() {
        if place_in_plan[n].is_none() {
            state.toll.finish(rules, rules.jobs[n].asset, rules.horizon);
            plan.left_out.push(job.id.clone());
        }
    }
    plan.loss = state.toll.total();
    plan
}

fn spots<'a>(problem: &'a Problem, trail: &'a Trail) -> impl Iterator<Item = Spot> + 'a {
    let mut used = 0;
    trail.placed.iter().map(move |placed| {
        let lots = &trail.lots[used..used + placed.lots];
        used += placed.lots;
        Spot {
            cell: placed.cell.map(|(cell, _)| problem.cells[cell].id.clone()),
            setup_from: placed.cell.map(|_| placed.begin),
            start: placed.start,
            lots: lots
                .iter()
                .map(|(lot, grams)| LotDraw { lot: problem.lots[*lot].id.clone(), grams: *grams })
                .collect(),
        }
    })
}
