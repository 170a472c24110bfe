//! Problems that nobody would pose: each is planned without a word, and no plan is worse than a crew's own.

use std::collections::BTreeMap;

use proptest::prelude::*;
use proptest::test_runner::RngSeed;

use super::{a_problem, a_problem_of_batches, a_problem_of_plates, searched};
use crate::planner::*;

/// What is absurd, and how it is made.
type Absurd = (&'static str, fn(&mut Problem));

const ABSURD: [Absurd; 15] = [
    ("no duty", |it| it.windows.clear()),
    ("one minute of duty", |it| {
        it.windows.truncate(1);
        it.windows.iter_mut().for_each(|it| it.to = it.from + 1);
    }),
    ("no lots", |it| it.lots.clear()),
    ("lots that expire before they come", |it| {
        for lot in &mut it.lots {
            (lot.from, lot.until) = (400, 300);
        }
    }),
    ("lots that come after the horizon", |it| {
        it.lots.iter_mut().for_each(|lot| lot.from = it.horizon + 1);
    }),
    ("nothing in stores before the horizon", |it| {
        for store in &mut it.stores {
            store.level = 0;
            store.arrivals = vec![(it.horizon + 1, MAX_AMOUNT)];
        }
    }),
    ("limits of nothing", |it| {
        for limit in &mut it.limits {
            limit.capacity = 0;
            limit.windows.clear();
        }
    }),
    ("no slots", |it| {
        it.stations.iter_mut().for_each(|it| it.slots = 0)
    }),
    ("more slots closed than there are", |it| {
        let all = (0, it.horizon, MAX_COUNT);
        it.stations
            .iter_mut()
            .for_each(|it| it.closed = vec![all, all]);
    }),
    ("capabilities without assets", |it| {
        for capability in &mut it.capabilities {
            capability.assets.clear();
            capability.loss_per_hour.truncate(1);
        }
    }),
    ("nothing lost by anything", |it| {
        let rates = it
            .capabilities
            .iter_mut()
            .flat_map(|it| &mut it.loss_per_hour);
        rates.for_each(|rate| *rate = 0);
    }),
    ("no capabilities", |it| it.capabilities.clear()),
    ("a horizon of a minute", |it| {
        it.horizon = 1;
        it.windows.truncate(1);
        it.windows
            .iter_mut()
            .for_each(|it| (it.from, it.to) = (0, 1));
    }),
    ("as much as can be said of everything", |it| {
        it.lots.iter_mut().for_each(|lot| lot.grams = MAX_AMOUNT);
        it.stores
            .iter_mut()
            .for_each(|store| store.level = MAX_AMOUNT);
        it.limits
            .iter_mut()
            .for_each(|limit| limit.capacity = MAX_COUNT);
        it.stations.iter_mut().for_each(|it| it.slots = MAX_COUNT);
        it.windows.iter_mut().for_each(|it| it.crew = MAX_COUNT);
        let rates = it
            .capabilities
            .iter_mut()
            .flat_map(|it| &mut it.loss_per_hour);
        rates.for_each(|rate| *rate = MAX_COUNT);
    }),
    ("operations that take all there can be", |it| {
        let options = it.jobs.iter_mut().flat_map(|it| &mut it.options);
        for (n, operation) in options.flat_map(|it| &mut it.operations).enumerate() {
            match n % 4 {
                0 => operation.minutes = MAX_MINUTES,
                1 => operation.crew = MAX_COUNT,
                2 => operation.after = MAX_MINUTES,
                _ => operation
                    .loads
                    .iter_mut()
                    .for_each(|it| it.amount = MAX_COUNT),
            }
            operation.within = None;
        }
    }),
];

/// A problem with one to three things absurd in it.
fn an_absurd_problem() -> impl Strategy<Value = (Vec<&'static str>, Problem)> {
    let any = prop_oneof![a_problem(), a_problem_of_plates(), a_problem_of_batches()];
    let few = prop::collection::vec(0..ABSURD.len(), 1..4);
    (any, few).prop_map(|(mut problem, few)| {
        let chosen: BTreeMap<usize, _> = few.into_iter().map(|n| (n, ABSURD[n])).collect();
        chosen.values().for_each(|(_, make)| make(&mut problem));
        (chosen.values().map(|(what, _)| *what).collect(), problem)
    })
}

fn is_planned(what: &[&str], problem: &Problem) -> Result<(), TestCaseError> {
    prop_assert_eq!(problem.faults(), [], "{:?}", what);
    let plan = searched(problem, 1, 40);
    prop_assert_eq!(check(problem, &plan), [], "{:?}", what);
    for order in [CrewOrder::OldestFirst, CrewOrder::LargestRateFirst] {
        let own = crew_plan(problem, order);
        prop_assert_eq!(check(problem, &own), [], "{:?}", what);
        prop_assert!(plan.loss <= own.loss, "{:?}", what);
    }
    prop_assert!(bound(problem) <= plan.loss, "{:?}", what);
    Ok(())
}

/// The same cases each time: they are many.
fn always(cases: u32) -> ProptestConfig {
    ProptestConfig {
        rng_seed: RngSeed::Fixed(2026),
        ..ProptestConfig::with_cases(cases)
    }
}

proptest! {
    #![proptest_config(always(4000))]

    #[test]
    fn absurd_problems_are_planned((what, problem) in an_absurd_problem()) {
        is_planned(&what, &problem)?;
    }
}

proptest! {
    #![proptest_config(always(20))]

    /// Nineteen years take memory and time, so that there are fewer of them.
    #[test]
    fn the_longest_horizon_is_planned((what, mut problem) in an_absurd_problem()) {
        problem.horizon = MAX_MINUTES;
        is_planned(&what, &problem)?;
    }
}
