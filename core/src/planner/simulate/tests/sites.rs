//! Invented sites with doubts on everything.

use std::collections::BTreeMap;

use proptest::prelude::*;

use crate::planner::problem::{Capability, Lot, Operation, Problem, Window, Work};
use crate::planner::samples::{
    capability, drawing, job, lot, quiet_site, stage, station, step, store,
};
use crate::planner::simulate::{
    ArrivalDoubt, Check, Coming, Doubts, OperationDoubt, OptionDoubt, Share, SprayDoubt,
};

/// Doubts on every operation, lot, arrival and build of a problem, of a size that goes by `odd`.
pub(super) fn doubts(problem: &Problem, odd: u64) -> Doubts {
    let part = |n: u64| ((odd * 7 + n * 3) % 10) as f64 / 10.0;
    let operation = |it: &Operation| OperationDoubt {
        spread: 0.1 + 0.3 * part(0),
        spray: match &it.work {
            Work::Stage { grams, .. } if *grams > 0 => Some(SprayDoubt {
                deposited_g: (*grams * 6 / 10).max(1),
                sticks: Share::about(0.7, 0.03 + 0.05 * part(1)),
                beside_g: 0,
                heel_g: 0,
                handling_min: it.minutes / 4,
                by_grams: draws_of(it),
            }),
            _ => None,
        },
    };
    let options = problem.jobs.iter().flat_map(|job| {
        job.options.iter().map(move |option| {
            let operations: Vec<_> = option.operations.iter().map(operation).collect();
            let checked = option.operations.iter().rposition(Operation::is_stage);
            let check = checked.map(|at| Check {
                at,
                chance: 0,
                again: option.operations.clone(),
                again_doubts: operations.clone(),
                again_at: at,
            });
            let key = (job.id.clone(), option.id.clone());
            (key, OptionDoubt { operations, check })
        })
    });
    let arrivals = problem.stores.iter().flat_map(|store| {
        let id = &store.id;
        store.arrivals.iter().map(move |(at, _)| ArrivalDoubt {
            store: id.clone(),
            at: *at,
            steady_per_day: 5,
        })
    });
    let coming = Coming {
        latest: 200,
        on_time: 0.5,
        lots: problem
            .lots
            .iter()
            .filter(|lot| lot.from > 0)
            .map(|lot| lot.id.clone())
            .collect(),
        arrivals: arrivals.collect(),
        options: Vec::new(),
        assets: problem.assets.keys().cloned().collect(),
    };
    Doubts {
        comings: vec![coming],
        chances: vec![Share::after(6.0 + 4.0 * part(2), 1.0)],
        options: options.collect(),
    }
}

fn draws_of(operation: &Operation) -> BTreeMap<String, i64> {
    let draws = operation
        .draws
        .iter()
        .filter_map(|draw| match draw.choices() {
            [one] => Some((one.store.clone(), one.amount / 2)),
            _ => None,
        });
    draws.collect()
}

/// Any of the invented sites of the planner.
pub(super) fn any_site() -> impl Strategy<Value = Problem> {
    use crate::planner::tests::{a_problem, a_problem_of_batches, a_problem_of_plates};
    prop_oneof![a_problem(), a_problem_of_plates(), a_problem_of_batches()]
}

/// An invented fortnight of twelve parts, two of them of one machine: sprayed from four powders' lots, of which
/// one comes by boat, put into a furnace, and fitted at the bench.
pub(super) fn fortnight(number: u64) -> Problem {
    let mut rng = fastrand::Rng::with_seed(number);
    let day = |n: i64| Window {
        from: n * 1440 + 420,
        to: n * 1440 + 1140,
        crew: 3,
    };
    let mut problem = quiet_site(14 * 1440);
    problem.windows = (0..14).map(day).collect();
    problem.cells[0].warm_up = 15;
    problem.cells[0].same_powder = 10;
    problem.cells[0].default_changeover = 45;
    problem.stations = vec![station("furnace", 2), station("bench", 1)];
    problem.lots = ["al", "cu", "al", "cu"]
        .iter()
        .enumerate()
        .map(|(n, powder)| Lot {
            from: if n == 3 { 4000 } else { 0 },
            ..lot(&format!("lot-{n}"), powder, rng.i64(6_000..12_000))
        })
        .collect();
    problem.stores = vec![store("gas", rng.i64(1_500..2_500), &[(4000, 1_500)])];
    problem.jobs = (0..12)
        .map(|n| {
            let (powder, minutes) = (["al", "cu"][rng.usize(0..2)], rng.i64(60..240));
            let grams = minutes * 10;
            let gas = minutes;
            let spray = drawing(stage(powder, grams, minutes), "gas", gas, 50);
            let bake = step("furnace", rng.i64(60..400), 0);
            let fit = step("bench", rng.i64(30..200), 1);
            let mut job = job(n, vec![spray, bake, fit]);
            job.asset = format!("a{}", n % 11);
            job.release = rng.i64(0..3) * 700;
            job
        })
        .collect();
    let rate = |n: usize| Capability {
        id: format!("k{n}"),
        ..capability(
            &[&format!("a{n}")],
            &[0, i64::try_from(n * 7 % 10 + 1).unwrap_or(1)],
        )
    };
    problem.capabilities = (0..11).map(rate).collect();
    problem
}
