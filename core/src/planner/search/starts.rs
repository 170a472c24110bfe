use std::cmp::Reverse;

use super::dispatch::dispatch;
use super::prices::Demand;
use crate::planner::crew_order::{CrewOrder, crew_sequence};
use crate::planner::decode::Chunk;
use crate::planner::problem::Problem;
use crate::planner::rules::{JobRule, OperationRule, OptionRule, Rules, WorkRule};

/// Orders worth starting from: the crew's own, and assets by loss stopped for their work.
pub(super) fn starts(problem: &Problem, rules: &Rules) -> Vec<Vec<Chunk>> {
    let mut orders = Vec::new();
    for crew in [CrewOrder::OldestFirst, CrewOrder::LargestRateFirst] {
        orders.push(
            crew_sequence(problem, crew)
                .into_iter()
                .map(|job| (job, 0))
                .collect(),
        );
    }
    for rate in [rate_alone, rate_shared] {
        orders.push(by_asset(rules, rate, first_option));
        orders.push(by_asset(rules, rate, quickest_option));
    }
    let demand = Demand::new(rules);
    let prices = [1, 2, 4, 8].map(|sharpness| demand.prices(sharpness));
    for prices in prices.iter().chain([&demand.cells_alone()]) {
        orders.extend([50.0, 10.0, 3.0].map(|patience| dispatch(rules, prices, patience)));
    }
    let powders = 0..rules.lots_of.len();
    orders.extend(powders.map(|powder| by_need(rules, |it| it.grams_of(powder))));
    let stores = 0..rules.stores.len();
    orders.extend(stores.map(|store| by_need(rules, |it| it.drawn_from(store))));
    let planned = |order: Vec<(usize, usize)>| {
        let with_options = order
            .into_iter()
            .filter(|(job, _)| !rules.jobs[*job].options.is_empty());
        with_options
            .map(|(job, option)| whole(rules, job, option))
            .collect()
    };
    orders.into_iter().map(planned).collect()
}

/// A job as one chunk.
pub(super) fn whole(rules: &Rules, job: usize, option: usize) -> Chunk {
    let upto = rules.jobs[job].options[option].operations.len();
    Chunk::new(job, option, upto)
}

/// Smith's rule on whole machines: since only its last part brings a machine back, its parts go together,
/// and machines go by their loss rate over the cell minutes of all their parts (W. E. Smith, 'Various
/// optimizers for single-stage production', Naval Research Logistics Quarterly 3, 1956).
fn by_asset(
    rules: &Rules,
    rate: fn(&Rules, usize) -> i64,
    option: fn(&JobRule) -> usize,
) -> Vec<(usize, usize)> {
    let mut assets: Vec<usize> = (0..rules.assets.len()).collect();
    let score = |asset: &usize| {
        let jobs = rules.assets[*asset]
            .jobs
            .iter()
            .map(|job| &rules.jobs[*job]);
        let work: i64 = jobs
            .filter_map(|job| job.options.get(option(job)))
            .map(cell_minutes)
            .sum();
        rate(rules, *asset).saturating_mul(1000) / (work + 1)
    };
    assets.sort_by_key(|asset| Reverse(score(asset)));
    let jobs = assets.iter().flat_map(|asset| &rules.assets[*asset].jobs);
    jobs.map(|job| (*job, option(&rules.jobs[*job]))).collect()
}

/// Those that need least of a supply first: where all parts weigh the same and only that is short, this is the
/// best order (P. Gyorgyi and T. Kis, 'Minimizing total weighted completion time on a single machine subject
/// to non-renewable resource constraints', Journal of Scheduling 22, 2019, theorem 1).
fn by_need(rules: &Rules, needs: impl Fn(&OperationRule) -> i64) -> Vec<(usize, usize)> {
    let need = |job: &usize| {
        let option = rules.jobs[*job].options.first();
        let operations = option.iter().flat_map(|option| &option.operations);
        operations.map(&needs).sum::<i64>()
    };
    let mut jobs: Vec<usize> = (0..rules.jobs.len()).collect();
    jobs.sort_by_key(need);
    jobs.into_iter().map(|job| (job, 0)).collect()
}

/// What the loss rate falls by if the asset alone comes back.
fn rate_alone(rules: &Rules, asset: usize) -> i64 {
    let serving = rules.assets[asset]
        .capabilities
        .iter()
        .map(|c| &rules.capabilities[*c].loss_per_hour);
    serving
        .map(|table| table[table.len() - 1] - table[table.len() - 2])
        .sum()
}

/// The asset's share of what its capabilities lose.
fn rate_shared(rules: &Rules, asset: usize) -> i64 {
    let serving = rules.assets[asset]
        .capabilities
        .iter()
        .map(|c| &rules.capabilities[*c]);
    serving
        .map(|c| {
            c.loss_per_hour.last().copied().unwrap_or(0)
                / i64::try_from(c.assets.len()).unwrap_or(1)
        })
        .sum()
}

fn first_option(_: &JobRule) -> usize {
    0
}

fn quickest_option(job: &JobRule) -> usize {
    (0..job.options.len())
        .min_by_key(|n| (job.options[*n].ready, cell_minutes(&job.options[*n])))
        .unwrap_or(0)
}

fn cell_minutes(option: &OptionRule) -> i64 {
    let stages = option
        .operations
        .iter()
        .filter(|o| matches!(o.work, WorkRule::Stage { .. }));
    stages.map(|stage| stage.minutes).sum()
}
