//! How fast the planner tries changes: decoding an order of forty parts, and a thousand search iterations.

use std::collections::BTreeMap;

use criterion::{Criterion, criterion_group, criterion_main};
use mendpost_core::planner::{
    Capability, Cell, Check, Doubts, Draw, Job, JobOption, Lot, Operation, OperationDoubt,
    OptionDoubt, Problem, ProblemSchema, Search, Share, Station, Store, Window, Work, decode,
    simulate,
};

const POWDERS: [&str; 3] = ["al", "cu", "bronze"];

/// An invented fortnight: forty parts of three powders, each sprayed, heat treated and milled.
fn fortnight() -> Problem {
    let day = |n: i64| Window {
        from: n * 1440 + 420,
        to: n * 1440 + 1140,
        crew: 2,
    };
    Problem {
        schema: ProblemSchema::V1,
        name: None,
        known: None,
        horizon: 14 * 1440,
        windows: (0..14).map(day).collect(),
        cells: vec![Cell {
            id: "cell".into(),
            free_from: 0,
            powder: None,
            warm_up: 15,
            same_powder: 5,
            default_changeover: 60,
            changeover: BTreeMap::new(),
            closed: Vec::new(),
        }],
        stations: ["furnace", "mill"]
            .map(|id| Station {
                id: id.into(),
                slots: 1,
                batch: false,
                closed: Vec::new(),
            })
            .to_vec(),
        stores: vec![Store {
            id: "gas".into(),
            level: 2_000,
            arrivals: vec![(8_000, 1_500)],
        }],
        limits: Vec::new(),
        lots: (0..9)
            .map(|n: usize| Lot {
                id: format!("lot-{n}"),
                powder: POWDERS[n % 3].into(),
                grams: 20_000,
                from: 0,
                until: 20_160,
            })
            .collect(),
        capabilities: (0..20)
            .map(|n: i64| Capability {
                id: format!("capability-{n}"),
                from: 0,
                assets: vec![format!("asset-{n}")],
                loss_per_hour: vec![0, 10 + n * 37 % 90],
            })
            .collect(),
        assets: BTreeMap::new(),
        jobs: (0..40).map(part).collect(),
    }
}

fn part(n: usize) -> Job {
    let minutes = 20 + i64::try_from(n).expect("forty parts") * 13 % 50;
    let stage = Work::Stage {
        cells: vec!["cell".into()],
        powder: POWDERS[n % 3].into(),
        grams: minutes * 60,
        one_lot: n.is_multiple_of(2),
    };
    let at = |station: &str| Work::Step {
        station: Some(station.into()),
        cycle: None,
    };
    let gas = Draw::of("gas", minutes, 200);
    let operation = |work, minutes, crew, draws| Operation {
        work,
        minutes,
        crew,
        after: 0,
        within: None,
        draws,
        loads: Vec::new(),
    };
    let operations = vec![
        operation(stage, minutes, 1, vec![gas]),
        operation(at("furnace"), 180, 0, Vec::new()),
        operation(at("mill"), minutes * 2, 1, Vec::new()),
    ];
    Job {
        id: format!("job-{n}"),
        asset: format!("asset-{}", n / 2),
        release: 0,
        options: vec![JobOption {
            debt: 0,
            id: "spray".into(),
            earliest: 0,
            operations,
        }],
    }
}

fn bench(c: &mut Criterion) {
    let problem = fortnight();
    assert_eq!(problem.faults(), []);
    let order: Vec<_> = (0..problem.jobs.len()).map(|job| (job, 0)).collect();
    c.bench_function("decode forty parts", |b| {
        b.iter(|| decode(&problem, &order))
    });
    c.bench_function("a thousand search iterations on forty parts", |b| {
        b.iter(|| {
            let mut search = Search::new(&problem, 1);
            search.run(1000, 0.0..1.0, &mut || false);
            search.best_loss()
        });
    });
}

/// Every duration in doubt by a fifth, and every build by one in ten.
fn doubts(problem: &Problem) -> Doubts {
    let of_job = |job: &Job| {
        let option = &job.options[0];
        let operations = vec![
            OperationDoubt {
                spread: 0.2,
                spray: None,
            };
            option.operations.len()
        ];
        let check = Check {
            at: 2,
            chance: 0,
            again: option.operations.clone(),
            again_doubts: operations.clone(),
            again_at: 2,
        };
        let doubt = OptionDoubt {
            operations,
            check: Some(check),
        };
        ((job.id.clone(), option.id.clone()), doubt)
    };
    Doubts {
        comings: Vec::new(),
        chances: vec![Share::after(9.0, 1.0)],
        options: problem.jobs.iter().map(of_job).collect(),
    }
}

fn runs(c: &mut Criterion) {
    let problem = fortnight();
    let order: Vec<_> = (0..30).map(|job| (job, 0)).collect();
    let plan = decode(&problem, &order);
    let doubts = doubts(&problem);
    c.bench_function("two thousand runs of a plan of thirty parts", |b| {
        b.iter(|| simulate(&problem, &plan, &doubts, 1, 2000));
    });
}

criterion_group!(benches, bench, runs);
criterion_main!(benches);
