//! From an order of jobs to a plan: each is placed as early as the rules allow behind those before it.

mod balance;
mod batches;
mod keep;
mod powder;
mod room;
mod state;
#[cfg(test)]
mod tests;
mod toll;

pub(super) use balance::{Balance, DrawSize};
pub(super) use batches::BatchRule;
pub use keep::add;
pub(super) use room::Room;
pub(super) use state::{Fact, Lack, Outcome, State, Stays, Trail, Which};
pub(super) use toll::Toll;

use super::loss::loss;
use super::plan::{LotDraw, Plan, PlannedJob, Spot};
use super::problem::Problem;
use super::rules::{OperationRule, Rules};
use batches::{Batches, Entry};

/// Places jobs by the given `(job, option)` positions in this order, each operation as early as the rules
/// allow given the jobs before it; stages go behind those already in the cell.
///
/// Where a draw has a choice of stores, the operation starts as early as any of them allows, and takes of
/// those the one that is left with the least above its floor; ties go by the order of the file. So no order
/// of jobs gives a plan that takes from a fuller store, or that waits for one, while another holds enough.
///
/// What does not fit, and what is not named, is left out. A job named again, or a position that the problem
/// does not have, is passed over. The plan keeps every rule.
#[must_use]
pub fn decode(problem: &Problem, order: &[(usize, usize)]) -> Plan {
    let rules = Rules::new(problem);
    let mut named = vec![false; rules.jobs.len()];
    let chunks = order.iter().filter_map(|(job, option)| {
        if std::mem::replace(named.get_mut(*job)?, true) {
            return None;
        }
        let operations = &rules.jobs.get(*job)?.options.get(*option)?.operations;
        Some(Chunk::new(*job, *option, operations.len()))
    });
    plan_of(problem, &rules, chunks)
}

/// Places the operations of a job up to a position, from where an earlier chunk of it ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Chunk {
    pub job: usize,
    pub option: usize,
    pub upto: usize,
    /// A step of a batch station joins the first batch that there is for it, and begins one only if there is
    /// none; else it does what lets it start first.
    pub join: bool,
    /// Where there is a choice, it takes from the store that is left with the most, not with the least.
    pub fuller: bool,
}

impl Chunk {
    /// The operations of a job up to a position, each started as early as the rules allow.
    pub fn new(job: usize, option: usize, upto: usize) -> Self {
        Self {
            job,
            option,
            upto,
            join: false,
            fuller: false,
        }
    }

    /// The asset that waits for its job.
    pub fn asset(self, rules: &Rules) -> usize {
        rules.jobs[self.job].asset
    }

    /// What its option costs later.
    pub fn debt(self, rules: &Rules) -> i64 {
        rules.jobs[self.job].options[self.option].debt
    }
}

/// By job: no plan finishes it sooner, by whichever option.
pub(super) fn earliest_finishes(rules: &Rules) -> Vec<i64> {
    let empty = State::new(rules);
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
    chunks: impl Iterator<Item = Chunk>,
) -> Plan {
    let mut state = State::new(rules);
    let mut trail = Trail::default();
    let mut planned: Vec<Option<PlannedJob>> = vec![None; rules.jobs.len()];
    let mut finished = Vec::new();
    for chunk in chunks {
        let outcome = state.place_chunk(rules, chunk, &mut trail);
        let job = &problem.jobs[chunk.job];
        let entry = planned[chunk.job].get_or_insert_with(|| {
            let option = job.options[chunk.option].id.clone();
            PlannedJob {
                id: job.id.clone(),
                option,
                operations: Vec::new(),
            }
        });
        let operations = &rules.jobs[chunk.job].options[chunk.option].operations;
        let of_chunk = &operations[entry.operations.len()..];
        entry.operations.extend(spots(problem, of_chunk, &trail));
        if let Outcome::Finished(_) = outcome {
            finished.push(chunk.job);
        }
    }
    let mut plan = Plan::default();
    plan.left_out = (0..rules.jobs.len())
        .filter(|n| !finished.contains(n))
        .map(|n| problem.jobs[n].id.clone())
        .collect();
    plan.jobs = finished
        .into_iter()
        .filter_map(|job| planned[job].take())
        .collect();
    plan.loss = loss(problem, &plan);
    plan
}

fn spots<'a>(
    problem: &'a Problem,
    operations: &'a [OperationRule],
    trail: &'a Trail,
) -> impl Iterator<Item = Spot> {
    let store = |store: usize| problem.stores[store].id.clone();
    let mut used = 0;
    trail
        .placed
        .iter()
        .zip(operations)
        .map(move |(placed, operation)| {
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
                from: operation.ways[placed.way]
                    .chosen
                    .iter()
                    .map(|chosen| chosen.map(store))
                    .collect(),
            }
        })
}
