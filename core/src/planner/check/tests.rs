mod altered;
mod planted;
mod slow;

use super::*;
use crate::planner::decode;
use crate::planner::plan::LotDraw;
use crate::planner::problem::{Draw, StoreDraw, Work};
use crate::planner::samples::{
    capability, drawing, job, limit, loading, lot, quiet_site, stage, station, step, store,
};

/// Two jobs: each is sprayed for 30 min behind 10 min of set-up, and milled for 20 min. Both draw gas.
fn site() -> Problem {
    let mut problem = quiet_site(400);
    problem.windows = vec![
        crate::planner::Window {
            from: 0,
            to: 200,
            crew: 2,
        },
        crate::planner::Window {
            from: 300,
            to: 400,
            crew: 2,
        },
    ];
    problem.cells[0].same_powder = 10;
    problem.cells[0].free_from = 5;
    problem.cells[0].closed = vec![(150, 160)];
    problem.stations = vec![station("mill", 1)];
    problem.stations[0].closed = vec![(120, 150, 1)];
    problem.stores = vec![store("gas", 100, &[(90, 100)])];
    problem.lots = vec![
        lot("al-1", "al", 50),
        lot("al-2", "al", 50),
        lot("cu-1", "cu", 50),
    ];
    problem.lots[0].until = 100;
    problem.capabilities = vec![capability(&["a1", "a2"], &[0, 1, 3])];
    let way = || {
        vec![
            drawing(stage("al", 40, 30), "gas", 40, 10),
            step("mill", 20, 1),
        ]
    };
    problem.jobs = vec![job(1, way()), job(2, way())];
    problem
}

/// A sound plan of it: j1 sprays 15 to 45 and mills 45 to 65, j2 sprays 55 to 85 and mills 85 to 105.
fn sound() -> (Problem, Plan) {
    let problem = site();
    let plan = decode(&problem, &[(0, 0), (1, 0)]);
    let starts: Vec<i64> = plan
        .jobs
        .iter()
        .flat_map(|job| &job.operations)
        .map(|spot| spot.start)
        .collect();
    assert_eq!(
        (starts, check(&problem, &plan)),
        (vec![15, 45, 55, 85], vec![])
    );
    (problem, plan)
}

/// Plants a fault in the sound plan and says what the verifier finds, the stated loss aside.
fn planted(fault: impl FnOnce(&mut Problem, &mut Plan)) -> Vec<Broken> {
    let (mut problem, mut plan) = sound();
    fault(&mut problem, &mut plan);
    plan.loss = crate::planner::loss(&problem, &plan);
    check(&problem, &plan)
}

fn place(job: &str, operation: usize) -> Place {
    Place {
        job: job.into(),
        operation,
    }
}

fn spot(plan: &mut Plan, job: usize, operation: usize) -> &mut Spot {
    &mut plan.jobs[job].operations[operation]
}

#[test]
fn jobs_that_are_unknown_twice_or_forgotten_are_found() {
    let found = planted(|_, plan| plan.jobs[0].id = "j9".into());
    assert_eq!(
        found,
        [
            Broken::UnknownJob { job: "j9".into() },
            Broken::Forgotten { job: "j1".into() }
        ]
    );
    let found = planted(|_, plan| plan.jobs.push(plan.jobs[0].clone()));
    assert_eq!(found, [Broken::PlannedTwice { job: "j1".into() }]);
    let found = planted(|_, plan| plan.jobs[0].option = "other".into());
    assert_eq!(
        found,
        [Broken::UnknownOption {
            job: "j1".into(),
            option: "other".into()
        }]
    );
    let found = planted(|_, plan| plan.left_out = vec!["j1".into(), "j9".into()]);
    assert_eq!(
        found,
        [
            Broken::LeftOutButPlanned { job: "j1".into() },
            Broken::UnknownJob { job: "j9".into() }
        ]
    );
    let found = planted(|_, plan| {
        plan.jobs.pop();
        plan.left_out = vec!["j2".into(), "j2".into()];
    });
    assert_eq!(found, [Broken::LeftOutTwice { job: "j2".into() }]);
    let found = planted(|_, plan| drop(plan.jobs[1].operations.pop()));
    assert_eq!(
        found,
        [Broken::OperationCount {
            job: "j2".into(),
            wanted: 2,
            given: 1
        }]
    );
}

#[test]
fn work_before_it_is_ready_is_found() {
    let found = planted(|problem, _| problem.jobs[0].release = 20);
    assert_eq!(
        found,
        [Broken::TooEarly {
            place: place("j1", 1),
            start: 15,
            earliest: 20
        }]
    );
    let found = planted(|problem, _| problem.jobs[1].options[0].operations[1].after = 5);
    assert_eq!(
        found,
        [Broken::TooEarly {
            place: place("j2", 2),
            start: 85,
            earliest: 90
        }]
    );
    let found = planted(|problem, _| problem.jobs[1].options[0].earliest = 401);
    assert_eq!(
        found[0],
        Broken::NeverReady {
            job: "j2".into(),
            ready: 401,
            horizon: 400
        }
    );
}

#[test]
fn work_outside_the_horizon_is_found() {
    let found = planted(|_, plan| spot(plan, 1, 1).start = i64::MAX);
    assert_eq!(
        found,
        [Broken::OutsideHorizon {
            place: place("j2", 2),
            from: i64::MAX,
            horizon: 400
        }]
    );
    let found = planted(|_, plan| spot(plan, 1, 1).start = 390);
    assert!(found.contains(&Broken::OutsideHorizon {
        place: place("j2", 2),
        from: 410,
        horizon: 400
    }));
    let found = planted(|_, plan| spot(plan, 0, 0).setup_from = Some(-5));
    assert_eq!(
        found,
        [Broken::OutsideHorizon {
            place: place("j1", 1),
            from: -5,
            horizon: 400
        }]
    );
}

/// j1 is sprayed from 15 to 45 and milled from 45, none too late even with no minute to wait; milled from 65
/// on it is, unless 20 min are given. The first operation waits from when the job is ready, at 10.
#[test]
fn work_that_waited_too_long_is_found() {
    let mill_at = |start: i64, minutes: i64| {
        planted(|problem, plan| {
            problem.jobs[0].options[0].operations[1].within = Some(minutes);
            spot(plan, 0, 1).start = start;
        })
    };
    let late = |operation, start, latest| Broken::TooLate {
        place: place("j1", operation),
        start,
        latest,
    };
    assert_eq!(mill_at(45, 0), []);
    assert_eq!(mill_at(65, 20), []);
    assert_eq!(mill_at(65, 19), [late(2, 65, 64)]);
    let first_within = |minutes: i64| {
        planted(|problem, _| {
            problem.jobs[0].release = 10;
            problem.jobs[0].options[0].operations[0].within = Some(minutes);
        })
    };
    assert_eq!(first_within(5), []);
    assert_eq!(first_within(4), [late(1, 15, 14)]);
}

/// The mill of j2 at 250, when nobody is on duty; and the crew of one that both jobs would need at 55.
#[test]
fn work_without_people_is_found() {
    let found = planted(|_, plan| spot(plan, 1, 1).start = 250);
    assert!(found.contains(&Broken::OffDuty {
        place: place("j2", 2),
        start: 250
    }));
    assert!(found.contains(&Broken::Crew {
        minute: 250,
        needed: 1,
        on_duty: 0
    }));
    let found = planted(|problem, _| problem.windows[0].crew = 1);
    assert_eq!(
        found,
        [Broken::Crew {
            minute: 45,
            needed: 2,
            on_duty: 1
        }]
    );
    // Unattended work may run into the night, but not begin there.
    let found = planted(|problem, plan| {
        problem.jobs[1].options[0].operations[1].crew = 0;
        spot(plan, 1, 1).start = 190;
    });
    assert_eq!(found, []);
}

#[test]
fn faults_of_cell_and_set_up_are_found() {
    let found = planted(|_, plan| spot(plan, 1, 0).setup_from = Some(50));
    assert_eq!(
        found,
        [Broken::SetupTooShort {
            place: place("j2", 1),
            needed: 10,
            given: 5
        }]
    );
    let found = planted(|_, plan| spot(plan, 1, 0).setup_from = Some(40));
    assert_eq!(
        found,
        [Broken::CellBusy {
            place: place("j2", 1),
            setup_from: 40,
            free: 45
        }]
    );
    let found = planted(|problem, _| problem.cells[0].free_from = 10);
    assert_eq!(
        found,
        [Broken::CellBusy {
            place: place("j1", 1),
            setup_from: 5,
            free: 10
        }]
    );
    let found = planted(|problem, _| problem.cells[0].warm_up = 1);
    assert_eq!(
        found,
        [Broken::SetupTooShort {
            place: place("j1", 1),
            needed: 11,
            given: 10
        }]
    );
    let found = planted(|problem, _| problem.cells[0].powder = Some("cu".into()));
    // From copper the default changeover of 0 is enough, and more than enough is allowed.
    assert_eq!(found, []);
    let found = planted(|_, plan| spot(plan, 1, 0).cell = Some("other".into()));
    assert_eq!(
        found,
        [Broken::CellNotAllowed {
            place: place("j2", 1),
            cell: "other".into()
        }]
    );
    let found = planted(|_, plan| spot(plan, 1, 0).setup_from = Some(60));
    assert!(found.contains(&Broken::SetupAfterStart {
        place: place("j2", 1),
        setup_from: 60,
        start: 55
    }));
    let found = planted(|_, plan| spot(plan, 1, 0).setup_from = None);
    assert!(found.contains(&Broken::NoSetup {
        place: place("j2", 1)
    }));
    let found = planted(|_, plan| spot(plan, 1, 1).setup_from = Some(80));
    assert_eq!(
        found,
        [Broken::StepSprays {
            place: place("j2", 2)
        }]
    );
}

/// j2 moved to the next shift with its set-up begun in this one, and to the minutes in which the cell is
/// closed.
#[test]
fn spraying_across_a_night_or_a_closure_is_found() {
    let move_to = |setup_from: i64, start: i64| {
        planted(|problem, plan| {
            problem.lots[1].until = 400;
            *spot(plan, 1, 0) = Spot {
                setup_from: Some(setup_from),
                start,
                ..spot(plan, 1, 0).clone()
            };
            spot(plan, 1, 1).start = 340;
        })
    };
    let split = Broken::SplitBySleep {
        place: place("j2", 1),
        from: 195,
        to: 335,
    };
    assert!(move_to(195, 305).contains(&split));
    let closed = Broken::CellClosed {
        place: place("j2", 1),
        cell: "cell".into(),
        from: 140,
        to: 180,
    };
    assert_eq!(move_to(140, 150), [closed]);
    assert_eq!(move_to(160, 170), []);
}

#[test]
fn a_full_or_closed_station_is_found() {
    let found = planted(|_, plan| spot(plan, 1, 1).start = 110);
    assert_eq!(
        found,
        [Broken::Station {
            station: "mill".into(),
            minute: 120,
            held: 1,
            slots: 0
        }]
    );
    let found = planted(|_, plan| {
        spot(plan, 0, 1).start = 86;
    });
    assert_eq!(
        found,
        [Broken::Station {
            station: "mill".into(),
            minute: 86,
            held: 2,
            slots: 1
        }]
    );
}

/// The mill holds batches of two: both parts from 85 to 105 are one. They are two if they differ in cycle,
/// in length, or in start; one behind the other, from 65 and from 85, they may differ in all. A closed slot
/// counts as in any station.
#[test]
fn batches_that_differ_or_overlap_are_found() {
    let mill = |at: [i64; 2], cycles: [Option<&str>; 2], minutes: i64, closed: i64| {
        planted(|problem, plan| {
            problem.windows[0].crew = 4;
            problem.stations[0].batch = true;
            problem.stations[0].slots = 2;
            problem.stations[0].closed = vec![(60, 110, closed)];
            for (n, name) in cycles.iter().enumerate() {
                let operation = &mut problem.jobs[n].options[0].operations[1];
                if let Work::Step { cycle, .. } = &mut operation.work {
                    *cycle = name.map(str::to_owned);
                }
                spot(plan, n, 1).start = at[n];
            }
            problem.jobs[0].options[0].operations[1].minutes = minutes;
        })
    };
    let two = |minute| Broken::Batches {
        station: "mill".into(),
        minute,
        batches: 2,
    };
    let (soak, age) = (Some("soak"), Some("age"));
    assert_eq!(mill([85, 85], [soak, soak], 20, 0), []);
    assert_eq!(mill([85, 85], [None, None], 20, 0), []);
    assert_eq!(mill([85, 85], [soak, age], 20, 0), [two(85)]);
    assert_eq!(mill([85, 85], [soak, None], 20, 0), [two(85)]);
    assert_eq!(mill([85, 85], [soak, soak], 19, 0), [two(85)]);
    assert_eq!(mill([84, 85], [soak, soak], 20, 0), [two(85)]);
    assert_eq!(mill([65, 85], [soak, age], 20, 0), []);
    let full = Broken::Station {
        station: "mill".into(),
        minute: 85,
        held: 2,
        slots: 1,
    };
    assert_eq!(mill([85, 85], [soak, soak], 20, 1), [full]);
}

/// Each stage draws 30 kW from its set-up on, 5 to 45 and 45 to 85; each mill 8 kW, 45 to 65 and 85 to 105.
/// So 38 kW are drawn from 45 to 65, and 30 from 65 on. In the window from 60 on there may be less.
#[test]
fn a_limit_that_is_exceeded_is_found() {
    let power = |capacity: i64, windows: &[(i64, i64, i64)]| {
        planted(|problem, _| {
            problem.limits = vec![limit("power", capacity)];
            problem.limits[0].windows = windows.to_vec();
            for job in &mut problem.jobs {
                let operations = &mut job.options[0].operations;
                operations[0] = loading(operations[0].clone(), "power", 30, None);
                operations[1] = loading(operations[1].clone(), "power", 8, None);
            }
        })
    };
    let exceeded = |minute, held, capacity| Broken::Limit {
        limit: "power".into(),
        minute,
        held,
        capacity,
    };
    assert_eq!(power(38, &[]), []);
    assert_eq!(power(37, &[]), [exceeded(45, 38, 37)]);
    assert_eq!(power(38, &[(60, 70, 30)]), [exceeded(60, 38, 30)]);
    assert_eq!(power(0, &[(0, 65, 38), (65, 85, 30), (85, 105, 8)]), []);
    let too_short = power(8, &[(0, 65, 38), (65, 84, 30)]);
    assert_eq!(too_short, [exceeded(84, 30, 8)]);
}

/// One plate, taken with the set-up of the stage and held until the part is milled: j1 from 5 to 65, j2 from
/// 45. With a plate more, or with loads that end with the stage, all is well.
#[test]
fn a_load_lasts_through_to_the_operation_that_it_names() {
    let plates = |capacity: i64, through: Option<usize>| {
        planted(|problem, _| {
            problem.limits = vec![limit("plates", capacity)];
            for job in &mut problem.jobs {
                let operations = &mut job.options[0].operations;
                operations[0] = loading(operations[0].clone(), "plates", 1, through);
            }
        })
    };
    let exceeded = Broken::Limit {
        limit: "plates".into(),
        minute: 45,
        held: 2,
        capacity: 1,
    };
    assert_eq!(plates(1, Some(1)), [exceeded]);
    assert_eq!(plates(2, Some(1)), []);
    assert_eq!(plates(1, Some(0)), []);
    assert_eq!(plates(1, None), []);
}

#[test]
fn faults_of_lots_are_found() {
    let lots = |draws: &[(&str, i64)]| {
        let draws: Vec<_> = draws
            .iter()
            .map(|(lot, grams)| LotDraw {
                lot: (*lot).into(),
                grams: *grams,
            })
            .collect();
        planted(|_, plan| spot(plan, 1, 0).lots = draws)
    };
    assert_eq!(
        lots(&[("al-2", 39)]),
        [Broken::LotSum {
            place: place("j2", 1),
            given: 39,
            wanted: 40
        }]
    );
    assert_eq!(
        lots(&[("al-2", 30), ("al-1", 10)]),
        [Broken::NotOneLot {
            place: place("j2", 1),
            lots: 2
        }]
    );
    let powder = Broken::LotPowder {
        place: place("j2", 1),
        lot: "cu-1".into(),
        powder: "al".into(),
    };
    assert_eq!(lots(&[("cu-1", 40)]), [powder]);
    assert_eq!(
        lots(&[("al-1", 40)]),
        [Broken::LotOverdrawn {
            lot: "al-1".into(),
            drawn: 80,
            grams: 50
        }]
    );
    let grams = Broken::LotGrams {
        place: place("j2", 1),
        lot: "al-1".into(),
        grams: 0,
    };
    assert!(lots(&[("al-1", 0), ("al-2", 40)]).contains(&grams));
    let found = planted(|problem, _| problem.lots[0].until = 44);
    let time = Broken::LotTime {
        place: place("j1", 1),
        lot: "al-1".into(),
        from: 0,
        until: 44,
        start: 15,
        end: 45,
    };
    assert_eq!(found, [time]);
    let found = planted(|problem, _| problem.lots[1].from = 56);
    assert!(matches!(found[..], [Broken::LotTime { from: 56, .. }]));
}

/// 100 - 40 = 60 after j1 and 20 after j2. With 21 to be left the second breaks its floor; with 61 to be
/// left j1 does.
#[test]
fn a_store_drawn_below_a_floor_is_found() {
    let floor = |job: usize, floor: i64| {
        planted(|problem, _| draws(problem, job)[0] = Draw::of("gas", 40, floor))
    };
    let left = |job: &str, left, floor| Broken::Floor {
        place: place(job, 1),
        store: "gas".into(),
        left,
        floor,
    };
    assert_eq!(floor(1, 21), [left("j2", 20, 21)]);
    assert_eq!(floor(0, 61), [left("j1", 60, 61)]);
    assert_eq!(floor(0, 60), []);
}

fn draws(problem: &mut Problem, job: usize) -> &mut Vec<Draw> {
    &mut problem.jobs[job].options[0].operations[0].draws
}

/// j1 may take its gas from the bank or from a bundle of 70; j2 has no choice. With the bundle, 70 - 40 = 30
/// are left there and 100 - 40 = 60 in the bank.
#[test]
fn a_store_that_is_not_named_or_not_allowed_is_found() {
    let from = |names: &[Option<&str>], floor: i64| {
        planted(|problem, plan| {
            problem.stores.push(store("bundle", 70, &[]));
            problem.stores.push(store("air", 1000, &[]));
            let of = |store: &str| StoreDraw {
                store: store.into(),
                amount: 40,
                floor,
            };
            *draws(problem, 0) = vec![
                Draw::of("air", 0, 0),
                Draw::AnyOf(vec![of("gas"), of("bundle")]),
            ];
            spot(plan, 0, 0).from = names.iter().map(|n| n.map(str::to_owned)).collect();
        })
    };
    assert_eq!(from(&[None, Some("bundle")], 30), []);
    assert_eq!(from(&[None, Some("gas")], 60), []);
    let below = |store: &str, left, floor| Broken::Floor {
        place: place("j1", 1),
        store: store.into(),
        left,
        floor,
    };
    assert_eq!(from(&[None, Some("bundle")], 31), [below("bundle", 30, 31)]);
    assert_eq!(from(&[None, Some("gas")], 61), [below("gas", 60, 61)]);
    let missing = Broken::FromMissing {
        place: place("j1", 1),
        draw: 2,
    };
    assert_eq!(from(&[None, None], 0), [missing]);
    let not_allowed = Broken::FromNotAllowed {
        place: place("j1", 1),
        draw: 2,
        store: "air".into(),
    };
    assert_eq!(from(&[None, Some("air")], 0), [not_allowed]);
    let without_choice = Broken::FromWithoutChoice {
        place: place("j1", 1),
        draw: 1,
        store: "air".into(),
    };
    assert_eq!(from(&[Some("air"), Some("gas")], 0), [without_choice]);
    let count = |place: Place, wanted, given| Broken::FromCount {
        place,
        wanted,
        given,
    };
    assert_eq!(from(&[], 0), [count(place("j1", 1), 2, 0)]);
    assert_eq!(
        from(&[None, Some("gas"), None], 0),
        [count(place("j1", 1), 2, 3)]
    );
    // Where no draw has a choice, 'from' is absent.
    let found = planted(|_, plan| spot(plan, 1, 0).from = vec![None]);
    assert_eq!(found, [count(place("j2", 1), 0, 1)]);
}

#[test]
fn figures_that_a_plan_makes_up_are_found() {
    let (problem, mut plan) = sound();
    let actual = plan.loss;
    plan.bound = Some(actual + 1);
    plan.proven = Some(true);
    plan.loss = 7;
    let expected = [
        Broken::Loss { stated: 7, actual },
        Broken::Bound {
            bound: actual + 1,
            actual,
        },
        Broken::Proven {
            bound: Some(actual + 1),
            actual,
        },
    ];
    assert_eq!(check(&problem, &plan), expected);
}
