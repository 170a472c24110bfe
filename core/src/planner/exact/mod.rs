//! A proof that no plan of a small problem is better, or how much better one could be at most.
//!
//! Every plan puts its operations in the order in which they start. Here all such orders are gone through, each
//! operation as early as the rules allow behind those before it ([`relaxed`]). Rules under which an operation
//! that starts sooner could hinder a later one are left out or weakened: so whatever a plan does, the same
//! order of starts, laid out here, ends everything no later, and the least loss found is one that no plan goes
//! below.
//!
//! An order is given up as soon as it can be no better than the plan known: each part to come as if it were
//! alone ([`ends`]), or all of them at prices of everything scarce (`bound`); or as soon as another order of
//! the same operations has everything ready no later ([`memo`]). Where too many orders are left, the plans are
//! taken apart into cases of when machines are back, each with prices of its own.

mod ends;
mod memo;
mod relaxed;
#[cfg(test)]
mod tests;
mod tree;

use super::bound::{Case, Cases, Rests, Setting, View};
use super::plan::Plan;
use super::problem::Problem;
use super::rules::Rules;
use tree::Tree;

/// What is proven of a problem.
#[derive(Debug, Clone)]
pub struct Proof {
    /// No plan loses less, as rate x minutes.
    pub least: i64,
    /// A plan that is better than the one known, if one was found.
    pub better: Option<Plan>,
    /// Orders looked at.
    pub orders: u64,
}

/// Whether a problem is so small that a proof is worth trying, and its tables fit into memory.
#[must_use]
pub fn is_small(problem: &Problem) -> bool {
    let options = || problem.jobs.iter().flat_map(|job| &job.options);
    let operations: usize = options().map(|option| option.operations.len()).sum();
    let tables = operations + options().count();
    let minutes = usize::try_from(problem.horizon).unwrap_or(usize::MAX);
    problem.jobs.len() <= MOST_JOBS
        && operations <= MOST_OPERATIONS
        && tables.saturating_mul(minutes) <= MOST_ENTRIES
}

const MOST_JOBS: usize = 12;
const MOST_OPERATIONS: usize = 120;
/// By minute; a machine of several parts and others of its kind takes up to twenty times as many.
const MOST_ENTRIES: usize = 1_500_000;

/// Goes through the orders of a problem that could be better than a plan of it, until `stop`, which is told
/// how many were looked at, says so.
///
/// The problem is free of faults, and the plan keeps its rules. For the same answers of `stop` the proof is
/// always the same.
pub fn prove(problem: &Problem, known: &Plan, stop: &mut dyn FnMut(u64) -> bool) -> Proof {
    let rules = Rules::new(problem);
    let setting = Setting::new(&rules, View::ByStart);
    let rests = Rests::new(&rules, &setting);
    let mut tree = Tree::new(problem, &rules, known.loss);
    let least = setting.with_cases(&rules, |cases, _| walk(&mut tree, cases, &rests, stop));
    Proof {
        least,
        better: tree.better,
        orders: tree.orders,
    }
}

/// Walks through the cases, the lowest first; the loss that no plan goes below.
fn walk(
    tree: &mut Tree<'_>,
    cases: &mut Cases<'_>,
    rests: &Rests<'_>,
    stop: &mut dyn FnMut(u64) -> bool,
) -> i64 {
    loop {
        let proven = tree.best.min(tree.unresolved);
        let Some(case) = cases.take_lowest() else {
            return proven;
        };
        let value = rests.value(&case);
        if value >= proven {
            return proven;
        }
        let rest = rests.of(&case);
        if tree.walk(&rest, orders_in(&case), stop) {
            continue;
        }
        if tree.stopped {
            return value;
        }
        if cases.put_parts(case).is_err() && !tree.walk(&rest, u64::MAX, stop) {
            return value;
        }
    }
}

/// So many orders of all plans are looked at before they are taken apart, ...
const FIRST: u64 = 100_000;
/// ... and of a case, doubled each time that it is taken apart twice.
const NEXT: u64 = 2_000;

fn orders_in(case: &Case) -> u64 {
    match case.depth {
        0 => FIRST,
        depth => NEXT << (depth / 2).min(40),
    }
}
