use super::decode::decode;
use super::plan::Plan;
use super::problem::Problem;

/// An order that a crew would work to without a planner.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CrewOrder {
    /// As the requests came in: the order of the file.
    OldestFirst,
    /// By what the loss rate would fall by, were the job's asset alone back now; ties as they came in.
    LargestRateFirst,
}

/// The plan of a crew that works to its own order: each job by its first option, as early as it can be.
#[must_use]
pub fn crew_plan(problem: &Problem, order: CrewOrder) -> Plan {
    let jobs = crew_sequence(problem, order)
        .into_iter()
        .map(|job| (job, 0));
    decode(problem, &jobs.collect::<Vec<_>>())
}

/// Positions of the jobs in a crew's own order.
pub(super) fn crew_sequence(problem: &Problem, order: CrewOrder) -> Vec<usize> {
    let mut jobs: Vec<usize> = (0..problem.jobs.len()).collect();
    if order == CrewOrder::LargestRateFirst {
        jobs.sort_by_key(|job| {
            std::cmp::Reverse(rate_of_asset(problem, &problem.jobs[*job].asset))
        });
    }
    jobs
}

/// By how much the loss rate of now would fall if this asset alone came back.
fn rate_of_asset(problem: &Problem, asset: &str) -> i64 {
    if !down_now(problem, asset) {
        return 0;
    }
    let serving = problem
        .capabilities
        .iter()
        .filter(|c| c.assets.iter().any(|a| a == asset));
    serving
        .map(|capability| {
            let down = capability
                .assets
                .iter()
                .filter(|a| down_now(problem, a))
                .count();
            capability.loss_per_hour[down] - capability.loss_per_hour[down - 1]
        })
        .sum()
}

fn down_now(problem: &Problem, asset: &str) -> bool {
    let known = problem.assets.get(asset);
    let has_job = problem.jobs.iter().any(|job| job.asset == asset);
    let back_already = !has_job && known.and_then(|a| a.back).is_some_and(|back| back <= 0);
    !back_already
        && known
            .and_then(|a| a.down_from)
            .is_none_or(|minute| minute <= 0)
}
