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
pub(super) use state::{Placed, State, Trail};
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
        Some(Chunk {
            job: *job,
            option: *option,
            upto: operations.len(),
        })
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
        let ends = job
            .options
            .iter()
            .filter_map(|option| empty.alone(rules, &option.operations, option.ready));
        ends.min().unwrap_or(rules.horizon)
    };
    rules.jobs.iter().map(of_job).collect()
}

/// Decodes chunks from the beginning and writes the plan down.
pub(super) fn plan_of(
    problem: &Problem,
    rules: &Rules,
    empty: &State,
    chunks: impl Iterator<Item = Chunk>,
) -> Plan {
    let mut state = empty.clone();
    let mut trail = Trail::default();
    let mut open: Vec<Option<(i64, PlannedJob)>> = vec![None; rules.jobs.len()];
    let mut plan = Plan::default();
    let mut tried = vec![false; rules.jobs.len()];
    for chunk in chunks {
        let job = &problem.jobs[chunk.job];
        let option = &rules.jobs[chunk.job].options[chunk.option];
        let begun = open[chunk.job].take();
        if begun.is_none() && std::mem::replace(&mut tried[chunk.job], true) {
            continue;
        }
        let (ready, mut planned) = begun.unwrap_or_else(|| {
            let id = job.options[chunk.option].id.clone();
            (
                option.ready,
                PlannedJob {
                    id: job.id.clone(),
                    option: id,
                    operations: Vec::new(),
                },
            )
        });
        let from = planned.operations.len();
        if ready > rules.horizon {
            continue;
        }
        let Some(end) = state.place(
            rules,
            &option.operations[from..chunk.upto],
            ready,
            &mut trail,
        ) else {
            continue;
        };
        planned.operations.extend(spots(problem, &trail));
        if chunk.upto == option.operations.len() {
            state.toll.finish(rules, rules.jobs[chunk.job].asset, end);
            plan.jobs.push(planned);
        } else {
            open[chunk.job] = Some((end, planned));
        }
    }
    leave_out(problem, rules, &mut state, &mut plan);
    plan
}

fn leave_out(problem: &Problem, rules: &Rules, state: &mut State, plan: &mut Plan) {
    let planned: std::collections::BTreeSet<_> =
        plan.jobs.iter().map(|job| job.id.clone()).collect();
    for (job, rule) in problem.jobs.iter().zip(&rules.jobs) {
        if !planned.contains(&job.id) {
            state.toll.finish(rules, rule.asset, rules.horizon);
            plan.left_out.push(job.id.clone());
        }
    }
    plan.loss = state.toll.total();
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
                .map(|(lot, grams)| LotDraw {
                    lot: problem.lots[*lot].id.clone(),
                    grams: *grams,
                })
                .collect(),
        }
    })
}
