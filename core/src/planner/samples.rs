//! Small problems for tests: one cell without set-up, attended throughout, which each test then changes.

use std::collections::BTreeMap;

use super::problem::{
    Capability, Cell, Draw, Job, JobOption, Limit, Load, Lot, Operation, Problem, ProblemSchema,
    Station, Store, StoreDraw, Window, Work,
};

/// One cell, clean and without set-up times, and two people on duty from 0 to the horizon.
pub(super) fn quiet_site(horizon: i64) -> Problem {
    Problem {
        schema: ProblemSchema::V1,
        name: None,
        known: None,
        horizon,
        windows: vec![Window {
            from: 0,
            to: horizon,
            crew: 2,
        }],
        cells: vec![Cell {
            id: "cell".into(),
            free_from: 0,
            powder: None,
            warm_up: 0,
            same_powder: 0,
            default_changeover: 0,
            changeover: BTreeMap::new(),
            closed: Vec::new(),
        }],
        stations: Vec::new(),
        stores: Vec::new(),
        limits: Vec::new(),
        lots: vec![lot("al-1", "al", 100_000)],
        capabilities: Vec::new(),
        assets: BTreeMap::new(),
        jobs: Vec::new(),
    }
}

pub(super) fn lot(id: &str, powder: &str, grams: i64) -> Lot {
    Lot {
        id: id.into(),
        powder: powder.into(),
        grams,
        from: 0,
        until: 1_000_000,
    }
}

pub(super) fn station(id: &str, slots: i64) -> Station {
    Station {
        id: id.into(),
        slots,
        batch: false,
        closed: Vec::new(),
    }
}

/// A station that holds one batch at a time, of so many steps.
pub(super) fn batch_station(id: &str, slots: i64) -> Station {
    Station {
        batch: true,
        ..station(id, slots)
    }
}

pub(super) fn store(id: &str, level: i64, arrivals: &[(i64, i64)]) -> Store {
    Store {
        id: id.into(),
        level,
        arrivals: arrivals.to_vec(),
    }
}

/// A stage in 'cell' by one person, from one lot.
pub(super) fn stage(powder: &str, grams: i64, minutes: i64) -> Operation {
    let work = Work::Stage {
        cells: vec!["cell".into()],
        powder: powder.into(),
        grams,
        one_lot: true,
    };
    Operation {
        work,
        minutes,
        crew: 1,
        after: 0,
        within: None,
        draws: Vec::new(),
        loads: Vec::new(),
    }
}

pub(super) fn step(station: &str, minutes: i64, crew: i64) -> Operation {
    Operation {
        work: Work::Step {
            station: Some(station.into()),
            cycle: None,
        },
        minutes,
        crew,
        after: 0,
        within: None,
        draws: Vec::new(),
        loads: Vec::new(),
    }
}

/// The step in this cycle of a batch station.
pub(super) fn in_cycle(mut operation: Operation, name: &str) -> Operation {
    if let Work::Step { cycle, .. } = &mut operation.work {
        *cycle = Some(name.into());
    }
    operation
}

/// The operation started at most so many minutes after the end of the one before.
pub(super) fn within(operation: Operation, minutes: i64) -> Operation {
    Operation {
        within: Some(minutes),
        ..operation
    }
}

pub(super) fn drawing(mut operation: Operation, store: &str, amount: i64, floor: i64) -> Operation {
    operation.draws.push(Draw::of(store, amount, floor));
    operation
}

/// The operation with a draw more, of the same amount and floor from any of these stores.
pub(super) fn drawing_any(
    mut operation: Operation,
    stores: &[&str],
    amount: i64,
    floor: i64,
) -> Operation {
    let of = |store: &&str| StoreDraw {
        store: (*store).into(),
        amount,
        floor,
    };
    let choices = stores.iter().map(of).collect();
    operation.draws.push(Draw::AnyOf(choices));
    operation
}

pub(super) fn limit(id: &str, capacity: i64) -> Limit {
    Limit {
        id: id.into(),
        capacity,
        windows: Vec::new(),
    }
}

/// The operation with a load more, through to the end of a later one or to its own.
pub(super) fn loading(
    mut operation: Operation,
    limit: &str,
    amount: i64,
    through: Option<usize>,
) -> Operation {
    operation.loads.push(Load {
        limit: limit.into(),
        amount,
        through,
    });
    operation
}

/// A job of one option, 'way', for the asset of the same number: 'a1' for 'j1'.
pub(super) fn job(number: usize, operations: Vec<Operation>) -> Job {
    let option = JobOption {
        id: "way".into(),
        earliest: 0,
        debt: 0,
        operations,
    };
    Job {
        id: format!("j{number}"),
        asset: format!("a{number}"),
        release: 0,
        options: vec![option],
    }
}

/// Two parts sprayed for 10 min each, the second one not before 10. The first waits for 20 and is milled for
/// 50, the second for 5; the second stops 9 an hour, the first 1.
pub(super) fn milled_by_turns() -> Problem {
    let mut problem = quiet_site(100);
    problem.stations = vec![station("mill", 1)];
    let mut mill = step("mill", 50, 1);
    mill.after = 20;
    problem.jobs = vec![
        job(1, vec![stage("al", 1, 10), mill]),
        job(2, vec![stage("al", 1, 10), step("mill", 5, 1)]),
    ];
    problem.jobs[1].release = 10;
    problem.capabilities = vec![capability(&["a1"], &[0, 1]), capability(&["a2"], &[0, 9])];
    problem
}

/// A capability of these assets with its loss by number down.
pub(super) fn capability(assets: &[&str], loss_per_hour: &[i64]) -> Capability {
    Capability {
        id: format!("needs {}", assets.join(" ")),
        from: 0,
        assets: assets.iter().map(|asset| (*asset).to_owned()).collect(),
        loss_per_hour: loss_per_hour.to_vec(),
    }
}

/// Jobs of one stage each, every one with its own asset and its loss per hour from its due minute on.
pub(super) fn one_machine(minutes: &[i64], weights: &[i64], due: &[i64]) -> Problem {
    let mut problem = quiet_site(minutes.iter().sum());
    for (n, ((minutes, weight), due)) in minutes.iter().zip(weights).zip(due).enumerate() {
        problem
            .jobs
            .push(job(n + 1, vec![stage("al", 1, *minutes)]));
        let asset = format!("a{}", n + 1);
        problem.capabilities.push(Capability {
            from: *due,
            ..capability(&[&asset], &[0, *weight])
        });
    }
    problem
}
