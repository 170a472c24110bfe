use std::collections::BTreeMap;

use super::plan::Plan;
use super::problem::{Capability, Problem};

/// What a plan costs, as rate x minutes: divide by 60 for the loss itself.
///
/// The sum over capabilities of the integral of `loss_per_hour[assets down]` from `max(0, from)` to the
/// horizon, and the debts of the options used. A job or option that the problem does not know counts as left out.
#[must_use]
pub fn loss(problem: &Problem, plan: &Plan) -> i64 {
    let down = down_times(problem, plan);
    let capabilities = problem.capabilities.iter();
    let of_capabilities: i64 = capabilities
        .map(|capability| loss_of(capability, &down, problem.horizon))
        .sum();
    of_capabilities + debts(problem, plan)
}

/// What the options used cost later.
fn debts(problem: &Problem, plan: &Plan) -> i64 {
    let jobs = problem.jobs.iter();
    let used = jobs.filter_map(|job| {
        let planned = plan.jobs.iter().find(|planned| planned.id == job.id)?;
        job.options
            .iter()
            .find(|option| option.id == planned.option)
    });
    used.map(|option| option.debt).sum()
}

/// When each asset of a capability, or of a job, goes down and is back under a plan: `(from, back)` in
/// minutes; one whose `back` is not after its `from` is never down.
#[must_use]
pub fn down_times<'a>(problem: &'a Problem, plan: &Plan) -> BTreeMap<&'a str, (i64, i64)> {
    let horizon = problem.horizon;
    let finish = finish_times(problem, plan);
    let mut times = BTreeMap::new();
    let of_capabilities = problem.capabilities.iter().flat_map(|c| &c.assets);
    for asset in of_capabilities.chain(problem.jobs.iter().map(|j| &j.asset)) {
        let known = problem.assets.get(asset);
        let down_from = known.and_then(|a| a.down_from).unwrap_or(0);
        let back = known.and_then(|a| a.back).unwrap_or(horizon).min(horizon);
        times.insert(asset.as_str(), (down_from, back));
    }
    let mut of_jobs: BTreeMap<&str, i64> = BTreeMap::new();
    for job in &problem.jobs {
        let end = finish.get(job.id.as_str()).copied().unwrap_or(horizon);
        of_jobs
            .entry(job.asset.as_str())
            .and_modify(|last| *last = end.max(*last))
            .or_insert(end);
    }
    for (asset, back) in of_jobs {
        times.entry(asset).and_modify(|span| span.1 = back);
    }
    times
}

/// When each planned job is finished, by id; at the horizon at the latest.
#[must_use]
pub fn finish_times<'a>(problem: &'a Problem, plan: &Plan) -> BTreeMap<&'a str, i64> {
    let jobs: BTreeMap<_, _> = problem.jobs.iter().map(|j| (j.id.as_str(), j)).collect();
    let mut finish = BTreeMap::new();
    for planned in &plan.jobs {
        let Some(job) = jobs.get(planned.id.as_str()) else {
            continue;
        };
        let Some(option) = job.options.iter().find(|o| o.id == planned.option) else {
            continue;
        };
        let end = match (option.operations.last(), planned.operations.last()) {
            (Some(operation), Some(spot)) => spot.start.saturating_add(operation.minutes),
            (Some(_), None) => problem.horizon,
            (None, _) => job.release.max(option.earliest),
        };
        finish.insert(job.id.as_str(), end.min(problem.horizon));
    }
    finish
}

fn loss_of(capability: &Capability, down: &BTreeMap<&str, (i64, i64)>, horizon: i64) -> i64 {
    let first = capability.from.max(0);
    let spans: Vec<_> = capability
        .assets
        .iter()
        .filter_map(|a| down.get(a.as_str()))
        .collect();
    let mut cuts = vec![first, horizon];
    cuts.extend(
        spans
            .iter()
            .flat_map(|s| [s.0, s.1])
            .filter(|t| (first..horizon).contains(t)),
    );
    cuts.sort_unstable();
    let pieces = cuts
        .windows(2)
        .filter(|piece| first <= piece[0] && piece[1] <= horizon);
    pieces
        .map(|piece| {
            let number = spans
                .iter()
                .filter(|s| s.0 <= piece[0] && piece[0] < s.1)
                .count();
            capability.loss_per_hour[number] * (piece[1] - piece[0])
        })
        .sum()
}
