use proptest::prelude::*;

use super::sites::{any_site, doubts};
use crate::planner::plan::Plan;
use crate::planner::problem::{Lot, Operation, Problem, Window};
use crate::planner::samples::{
    capability, drawing, job, lot, quiet_site, stage, station, step, store,
};
use crate::planner::simulate::{
    ArrivalDoubt, BackBy, Check, Coming, Doubts, OperationDoubt, OptionDoubt, Outlook, Share,
    SprayDoubt, simulate, survivor,
};
use crate::planner::{Search, decode};

const RUNS: usize = 4000;

fn by(minute: i64) -> BackBy {
    let by = Some(minute);
    BackBy {
        half: by,
        likely: by,
        almost_sure: by,
    }
}

/// The whole of `way` of a job with these doubts.
fn on(job: &str, option: OptionDoubt) -> ((String, String), OptionDoubt) {
    ((job.to_owned(), "way".to_owned()), option)
}

fn certain_check(operations: &[Operation], at: usize) -> Check {
    Check {
        at,
        chance: 0,
        again: operations.to_vec(),
        again_doubts: Vec::new(),
        again_at: at,
    }
}

/// A part of one asset whose build of 60 min fails or passes: `ones` and `zeros` say how often.
fn one_build(ones: f64, zeros: f64) -> (Problem, Doubts) {
    let mut problem = quiet_site(10_000);
    problem.jobs = vec![job(1, vec![stage("al", 10, 60)])];
    problem.capabilities = vec![capability(&["a1"], &[0, 1])];
    let check = certain_check(&problem.jobs[0].options[0].operations, 0);
    let option = OptionDoubt {
        operations: Vec::new(),
        check: Some(check),
    };
    let doubts = Doubts {
        chances: vec![Share::after(ones, zeros)],
        options: [on("j1", option)].into(),
        ..Doubts::default()
    };
    (problem, doubts)
}

fn outlook(problem: &Problem, doubts: &Doubts) -> Outlook {
    let order: Vec<_> = (0..problem.jobs.len()).map(|job| (job, 0)).collect();
    simulate(problem, &decode(problem, &order), doubts, 1, RUNS)
}

/// A build of 60 min passes with chance p = 0.7 and is built anew else. It is back by 60 with p, by 120 with
/// 1 - 0.3^2 = 0.91, by 180 with 1 - 0.3^3 = 0.973: so in 50 of 100 by 60, in 80 by 120, in 95 by 180. The loss
/// is 1 a minute until then: 60 / p = 85.7 on the average.
#[test]
fn a_build_is_back_at_once_with_the_chance_that_it_passes() {
    let (problem, doubts) = one_build(7e8, 3e8);
    let outlook = outlook(&problem, &doubts);
    let expected = BackBy {
        half: Some(60),
        likely: Some(120),
        almost_sure: Some(180),
    };
    assert_eq!(outlook.assets["a1"], expected);
    // Deviation of one run: 60 x sqrt(0.3) / 0.7 = 47; of the mean of 4000: 0.74.
    assert!(
        (83..=88).contains(&outlook.mean_loss),
        "{}",
        outlook.mean_loss
    );
    assert_eq!(outlook.loss_80, 120);
}

/// The chance itself is not certain: after 1 pass and 1 failure any is as likely as any other. The first
/// build passes with 1/2, as with a certain chance of 1/2; but of two in a row both fail with
/// the integral of (1 - p)^2 = 1/3, not 1/4, since runs with a bad recipe stay bad.
#[test]
fn what_is_not_known_of_a_recipe_stays_so_from_build_to_build() {
    let back_by_second = |ones, zeros| {
        let (mut problem, doubts) = one_build(ones, zeros);
        // Two builds end by 120; what ends later is not back.
        problem.horizon = 150;
        problem.windows[0].to = 150;
        let outlook = outlook(&problem, &doubts);
        // 1 a minute: 60 after one build, 120 after two, 150 if both failed.
        outlook.mean_loss
    };
    // 60 / 2 + 120 / 4 + 150 / 4 = 97.5 against 60 / 2 + 120 / 6 + 150 / 3 = 100.
    let (sure, open) = (back_by_second(1e9, 1e9), back_by_second(1.0, 1.0));
    assert!((96..=99).contains(&sure), "{sure}");
    assert!((99..=102).contains(&open), "{open}");
    assert!(open > sure);
}

/// A step takes 100 min at the median, and in five of six at most 100 x e^0.3 = 135 (its logarithm is
/// normal: 80 in 100 by 100 x e^(0.3 x 0.8416) = 129, 95 by 100 x e^(0.3 x 1.6449) = 164).
#[test]
fn a_duration_has_the_quantiles_of_its_spread() {
    let mut problem = quiet_site(10_000);
    problem.stations = vec![station("bench", 1)];
    problem.jobs = vec![job(1, vec![step("bench", 100, 1)])];
    let operations = vec![OperationDoubt {
        spread: 0.3,
        spray: None,
    }];
    let option = OptionDoubt {
        operations,
        check: None,
    };
    let doubts = Doubts {
        options: [on("j1", option)].into(),
        ..Doubts::default()
    };
    let back = outlook(&problem, &doubts).assets["a1"];
    let near = |found: Option<i64>, told: i64| found.is_some_and(|it| (it - told).abs() <= 2);
    assert!(near(back.half, 100), "{back:?}");
    assert!(near(back.likely, 129), "{back:?}");
    assert!(near(back.almost_sure, 164), "{back:?}");
}

/// A delivery of powder is in one run of two there at 100, else at any minute up to 300; the part is sprayed
/// from then on in 50 min. So it is back by 150 in 50 of 100; in 80, three fifths of the way to 300, by
/// 150 + 0.6 x 200 = 270, and in 95 by 150 + 0.9 x 200 = 330. While the fuel that comes with it is late, 144
/// a day are used of what was kept for a second part at 400, 20 at most.
#[test]
fn what_waits_for_a_delivery_is_late_with_it() {
    let mut problem = quiet_site(2000);
    problem.lots = vec![Lot {
        from: 100,
        ..lot("boat", "al", 500)
    }];
    problem.stores = vec![store("fuel", 20, &[(100, 30)])];
    problem.stations = vec![station("bench", 1)];
    problem.jobs = vec![
        job(1, vec![stage("al", 500, 50)]),
        job(2, vec![drawing(step("bench", 10, 1), "fuel", 10, 0)]),
    ];
    problem.jobs[1].release = 400;
    let coming = Coming {
        latest: 200,
        on_time: 0.5,
        lots: vec!["boat".to_owned()],
        arrivals: vec![ArrivalDoubt {
            store: "fuel".to_owned(),
            at: 100,
            steady_per_day: 144,
        }],
        ..Coming::default()
    };
    let mut doubts = Doubts {
        comings: vec![coming],
        ..Doubts::default()
    };
    let found = outlook(&problem, &doubts);
    let back = found.assets["a1"];
    assert_eq!(back.half, Some(150));
    let near = |found: Option<i64>, told: i64| found.is_some_and(|it| (it - told).abs() <= 8);
    assert!(near(back.likely, 270), "{back:?}");
    assert!(near(back.almost_sure, 330), "{back:?}");
    assert_eq!((found.assets["a2"], found.stores["fuel"]), (by(410), 1000));
    // Ten a minute would leave nothing: 20 + 30 and what came with the delivery is all used.
    doubts.comings[0].latest = 2000;
    let later = outlook(&problem, &doubts).assets["a2"];
    assert!(
        later.almost_sure.is_none_or(|minute| minute > 410),
        "{later:?}"
    );
}

/// 600 g must stick and are fed at 80 %, 750 g of a lot of 1000, or at 40 %, 1500 g; either in one run of two
/// (a share that is 0.4 or 0.8 is drawn here by builds of two recipes). Where 1000 g are not enough the
/// build is broken off, and there is no powder to build it anew.
#[test]
fn a_build_that_takes_more_than_its_lot_holds_is_lost() {
    let mut problem = quiet_site(2000);
    problem.lots = vec![lot("one", "al", 1000)];
    problem.jobs = vec![job(1, vec![stage("al", 800, 80)])];
    let outlook_at = |mean| {
        let operations = vec![OperationDoubt {
            spread: 0.0,
            spray: Some(SprayDoubt {
                deposited_g: 600,
                sticks: Share::about(mean, 0.0),
                beside_g: 0,
                heel_g: 0,
                handling_min: 20,
                by_grams: std::collections::BTreeMap::new(),
            }),
        }];
        let check = certain_check(&problem.jobs[0].options[0].operations, 0);
        let option = OptionDoubt {
            operations: operations.clone(),
            check: Some(Check {
                again_doubts: operations,
                ..check
            }),
        };
        let doubts = Doubts {
            chances: vec![Share::after(1e9, 0.0)],
            options: [on("j1", option)].into(),
            ..Doubts::default()
        };
        outlook(&problem, &doubts)
    };
    // 20 min of handling, and 60 min for 750 of 800 g: 56.25.
    let enough = outlook_at(0.8);
    assert!(
        enough.assets["a1"]
            .likely
            .is_some_and(|it| (76..=77).contains(&it))
    );
    assert_eq!(enough.powders["al"], 1000);
    let short = outlook_at(0.4);
    assert_eq!(short.assets["a1"], BackBy::default());
    assert_eq!(short.powders["al"], 0);
}

/// The first of two parts takes gas by what it sprays: planned 40 of 60, 10 of them whatever is sprayed. At
/// twice the grams it takes 10 + 2 x 30 = 70, more than there is; at half of them 25, so that the second
/// part has its 30.
#[test]
fn gas_goes_by_what_is_sprayed() {
    let mut problem = quiet_site(2000);
    problem.stores = vec![store("gas", 60, &[])];
    let spraying = |grams, gas| vec![drawing(stage("al", grams, 40), "gas", gas, 0)];
    problem.jobs = vec![job(1, spraying(100, 40)), job(2, spraying(100, 20))];
    let outlook_at = |deposited_g| {
        let spray = SprayDoubt {
            deposited_g,
            sticks: Share::about(0.5, 0.0),
            beside_g: 0,
            heel_g: 0,
            handling_min: 0,
            by_grams: [("gas".to_owned(), 30)].into(),
        };
        let operation = OperationDoubt {
            spread: 0.0,
            spray: Some(spray),
        };
        let option = OptionDoubt {
            operations: vec![operation],
            check: None,
        };
        let doubts = Doubts {
            options: [on("j1", option)].into(),
            ..Doubts::default()
        };
        outlook(&problem, &doubts)
    };
    assert_eq!(outlook_at(25).stores["gas"], 1000);
    assert_eq!(outlook_at(100).stores["gas"], 0);
}

/// j1 waits for powder until 100 and is first in the cell for 30 min; its boat is up to 200 min late, any minute
/// as likely as any other. j2 behind it is planned from 130 to 170. From 70 min late on, in 65 of 100 runs, j2
/// goes before j1 and is done at 170; else it is done as late as the boat: 170 + 30 in 80 of 100, 170 + 60 in 95.
#[test]
fn what_is_late_keeps_nothing_else_waiting() {
    let mut problem = quiet_site(2000);
    problem.lots.push(Lot {
        from: 100,
        ..lot("boat", "cu", 500)
    });
    problem.jobs = vec![
        job(1, vec![stage("cu", 10, 30)]),
        job(2, vec![stage("al", 10, 40)]),
    ];
    let coming = Coming {
        latest: 200,
        on_time: 0.0,
        lots: vec!["boat".to_owned()],
        ..Coming::default()
    };
    let doubts = Doubts {
        comings: vec![coming],
        ..Doubts::default()
    };
    let found = outlook(&problem, &doubts);
    let (first, second) = (found.assets["a1"], found.assets["a2"]);
    let near = |found: Option<i64>, told: i64| found.is_some_and(|it| (it - told).abs() <= 5);
    assert!(
        near(first.half, 230) && near(first.almost_sure, 320),
        "{first:?}"
    );
    assert_eq!(second.half, Some(170));
    assert!(
        near(second.likely, 200) && near(second.almost_sure, 230),
        "{second:?}"
    );
}

/// On duty from 0 to 150 and from 1000 on. j1 (100 min at the median, 100 a minute) and j2 (50 min for certain,
/// 51 a minute) just fit in; whichever is second goes to 1000 if j1 takes any longer, in one of two runs.
/// j2 first: 50 x 51 + 150 x 100 = 17 550 as planned; j1 first: 100 x 100 + 150 x 51 = 17 650, 0.6 % more. But j2
/// late costs 900 x 51 = 45 900, and j1 late some 950 x 100 = 95 000: j1 first survives more. With a margin of
/// 0.5 % there is no choice.
#[test]
fn of_plans_within_the_margin_the_one_that_survives_more_is_taken() {
    let mut problem = quiet_site(2000);
    let on_duty = |from, to| Window { from, to, crew: 2 };
    problem.windows = vec![on_duty(0, 150), on_duty(1000, 2000)];
    problem.jobs = vec![
        job(1, vec![stage("al", 10, 100)]),
        job(2, vec![stage("al", 10, 50)]),
    ];
    problem.capabilities = vec![
        capability(&["a1"], &[0, 100]),
        capability(&["a2"], &[0, 51]),
    ];
    let operations = vec![OperationDoubt {
        spread: 0.2,
        spray: None,
    }];
    let option = OptionDoubt {
        operations,
        check: None,
    };
    let doubts = Doubts {
        options: [on("j1", option)].into(),
        ..Doubts::default()
    };
    let plans = [[(1, 0), (0, 0)], [(0, 0), (1, 0)]].map(|order| decode(&problem, &order));
    assert_eq!(plans.each_ref().map(|plan| plan.loss), [17_550, 17_650]);
    let taken = |margin| survivor(&problem, &plans, margin, &doubts, 1, RUNS).expect("a plan");
    let more = taken(10);
    assert_eq!((more.at, more.compared), (1, 2));
    let only = taken(5);
    assert_eq!((only.at, only.compared), (0, 1));
    let mean = |at: usize| simulate(&problem, &plans[at], &doubts, 1, RUNS).mean_loss;
    assert!(mean(1) < mean(0));
    assert_eq!(survivor(&problem, &[], 10, &doubts, 1, RUNS), None);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(60))]

    /// Nothing in doubt: every run loses what the plan loses.
    #[test]
    fn without_doubts_a_run_is_the_plan(problem in any_site(), seed in 0_u64..9) {
        let mut search = Search::new(&problem, seed);
        search.run(200, 0.0..1.0, &mut || false);
        let plan = search.best().clone();
        let found = simulate(&problem, &plan, &Doubts::default(), 1, 2);
        // What may wait only so long is placed together, and nobody knows of what is kept until when; so these
        // may come sooner or later than planned.
        let options = problem.jobs.iter().flat_map(|job| &job.options);
        let mut operations = options.flat_map(|option| &option.operations);
        let keeps = |it: &Operation| it.loads.iter().any(|load| load.through.is_some());
        if !operations.any(|operation| operation.within.is_some() || keeps(operation)) {
            prop_assert_eq!(found.mean_loss, plan.loss);
        }
    }

    /// The same for a seed; another seed makes another outlook, and no chance is out of bounds.
    #[test]
    fn an_outlook_repeats_for_a_seed(problem in any_site(), odd in 0_u64..20) {
        let order: Vec<_> = (0..problem.jobs.len()).map(|job| (job, 0)).collect();
        let plan: Plan = decode(&problem, &order);
        let doubts = doubts(&problem, odd);
        let found = simulate(&problem, &plan, &doubts, odd, 20);
        prop_assert_eq!(&found, &simulate(&problem, &plan, &doubts, odd, 20));
        for permille in found.powders.values().chain(found.stores.values()) {
            prop_assert!((0..=1000).contains(permille));
        }
        for back in found.assets.values() {
            let [half, likely, sure] = [back.half, back.likely, back.almost_sure].map(|it| it.unwrap_or(i64::MAX));
            prop_assert!(half <= likely && likely <= sure);
        }
    }
}
