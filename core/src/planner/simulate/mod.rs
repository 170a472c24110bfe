//! What is to be expected of a plan, by running it many times, each time with other durations, efficiencies,
//! delays and failures.
//!
//! In each run the plan's operations are done in the order in which it starts them, each as early as people,
//! stations, limits, stores, lots and duty allow. A stage that would wait behind a late one goes before it
//! where that moves nothing. What does not fit goes to the next attended period, and what does not fit before
//! the horizon is not done. A build that fails its check, or for which there is not enough in the end, is
//! built anew in what the plan leaves. Nobody plans anew meanwhile, so that a crew that does will do better.

mod doubts;
mod draw;
mod late;
mod model;
mod outlook;
mod run;
#[cfg(test)]
mod tests;
mod way;

use std::collections::BTreeMap;

use super::decode::Toll;
use super::plan::Plan;
use super::problem::{Problem, Work};
use super::rules::{Rules, WorkRule};
use model::Model;
use outlook::Runs;
use run::Run;

pub use doubts::{
    ArrivalDoubt, Check, Coming, Doubts, OperationDoubt, OptionDoubt, Share, SprayDoubt,
};
pub use outlook::{BackBy, Outlook};

/// What is to be expected of a plan: it is run so many times, at least once.
///
/// The same for a seed. What happens to a thing in a run does not depend on the plan, so that plans of one
/// problem can be compared. The plan keeps the rules of the problem.
#[must_use]
pub fn simulate(
    problem: &Problem,
    plan: &Plan,
    doubts: &Doubts,
    seed: u64,
    runs: usize,
) -> Outlook {
    each_run(problem, plan, doubts, seed, runs.max(1)).outlook()
}

/// The plan that survives more.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Survivor {
    /// Its position among those given.
    pub at: usize,
    /// How many were within the margin, itself included.
    pub compared: usize,
}

/// Of plans of one problem within so many thousandths of the least loss, the one that survives more.
///
/// A plan survives more than another if it loses less on the average of its runs. Of equals the one whose own
/// loss is less is taken, then the first. None if there is no plan; one alone is not run.
#[must_use]
pub fn survivor(
    problem: &Problem,
    plans: &[Plan],
    within_permille: i64,
    doubts: &Doubts,
    seed: u64,
    runs: usize,
) -> Option<Survivor> {
    let least = plans.iter().map(|plan| plan.loss).min()?;
    let within = |at: &usize| within_margin(plans[*at].loss, least, within_permille);
    let near: Vec<usize> = (0..plans.len()).filter(within).collect();
    let compared = near.len();
    let at = match near[..] {
        [one] => one,
        _ => near.into_iter().min_by_key(|at| {
            let outlook = simulate(problem, &plans[*at], doubts, seed, runs);
            (outlook.mean_loss, plans[*at].loss, *at)
        })?,
    };
    Some(Survivor { at, compared })
}

/// Whether a loss is no more than so many thousandths above the least one.
#[must_use]
pub fn within_margin(loss: i64, least: i64, permille: i64) -> bool {
    let most = i128::from(least) * i128::from(1000 + permille.max(0)) / 1000;
    i128::from(loss) <= most.max(i128::from(least))
}

fn each_run(problem: &Problem, plan: &Plan, doubts: &Doubts, seed: u64, runs: usize) -> Runs {
    let mut model = Model::new(problem, plan, doubts);
    let mut run = Run::new(&model.rules);
    let used = Used::of(problem, &model);
    let assets = assets(problem, &model.rules);
    let none = |ids: &[(String, usize)]| -> BTreeMap<String, usize> {
        ids.iter().map(|(id, _)| (id.clone(), 0)).collect()
    };
    let mut ended = Runs {
        horizon: problem.horizon,
        back: BTreeMap::new(),
        losses: Vec::with_capacity(runs),
        short_of_powder: none(&used.powders),
        short_of_store: none(&used.stores),
    };
    let mut back: Vec<Vec<i64>> = vec![Vec::with_capacity(runs); assets.len()];
    for number in 0..runs {
        run.go(&mut model, seed, number as u64);
        let rules = &model.rules;
        for ((_, asset), back) in assets.iter().zip(&mut back) {
            let rule = &rules.assets[*asset];
            let last = rule.jobs.iter().map(|job| run.ends[*job]).max();
            back.push(last.unwrap_or(rule.back).min(rules.horizon));
        }
        let debts = model
            .parts
            .iter()
            .map(|part| rules.jobs[part.job].options[part.free].debt);
        let loss = Toll::new(rules, &run.ends).total() + debts.sum::<i64>();
        ended.losses.push(loss);
        count(
            &mut ended.short_of_powder,
            &used.powders,
            &run.short_of_powder,
        );
        count(&mut ended.short_of_store, &used.stores, &run.short_of_store);
    }
    ended.back = assets.into_iter().map(|(id, _)| id).zip(back).collect();
    ended
}

/// By asset: when it is back in each of so many runs.
#[cfg(test)]
fn single_runs(
    problem: &Problem,
    plan: &Plan,
    doubts: &Doubts,
    seed: u64,
    runs: usize,
) -> BTreeMap<String, Vec<i64>> {
    each_run(problem, plan, doubts, seed, runs).back
}

fn count(counts: &mut BTreeMap<String, usize>, used: &[(String, usize)], short: &[bool]) {
    for (id, _) in used.iter().filter(|(_, at)| short[*at]) {
        *counts.entry(id.clone()).or_default() += 1;
    }
}

/// Assets by id and position.
fn assets(problem: &Problem, rules: &Rules) -> Vec<(String, usize)> {
    let told = problem.capabilities.iter().zip(&rules.capabilities);
    let needed = told.flat_map(|(told, rule)| told.assets.iter().zip(&rule.assets));
    let needed = needed.map(|(id, at)| (id.clone(), *at));
    let jobs = problem.jobs.iter().zip(&rules.jobs);
    let asked = jobs.map(|(told, rule)| (told.asset.clone(), rule.asset));
    let all: BTreeMap<String, usize> = needed.chain(asked).collect();
    all.into_iter().collect()
}

/// What a plan sprays and draws on, by id and position.
struct Used {
    powders: Vec<(String, usize)>,
    stores: Vec<(String, usize)>,
}

impl Used {
    fn of(problem: &Problem, model: &Model) -> Self {
        let (mut powders, mut stores) = (BTreeMap::new(), BTreeMap::new());
        for (told, rule) in model.operations(problem) {
            if let (Work::Stage { powder, .. }, WorkRule::Stage { powder: at, .. }) =
                (&told.work, &rule.work)
            {
                powders.insert(powder.clone(), *at);
            }
            let draws = rule.ways.iter().flat_map(|way| &way.draws);
            stores.extend(draws.map(|draw| (problem.stores[draw.store].id.clone(), draw.store)));
        }
        Self {
            powders: powders.into_iter().collect(),
            stores: stores.into_iter().collect(),
        }
    }
}
