mod batch;
mod within;

use super::*;
use crate::planner::check;
use crate::planner::problem::{Asset, Draw, Operation, Window, Work};
use crate::planner::samples::{
    capability, drawing, drawing_any, job, limit, loading, lot, quiet_site, stage, station, step,
    store,
};

/// Decodes the jobs in file order by their first options, and checks the plan.
fn in_order(problem: &Problem) -> Plan {
    assert_eq!(problem.faults(), []);
    let plan = decode(
        problem,
        &(0..problem.jobs.len())
            .map(|job| (job, 0))
            .collect::<Vec<_>>(),
    );
    assert_eq!(check(problem, &plan), []);
    plan
}

/// The start of each operation, by planned job.
fn starts(plan: &Plan) -> Vec<Vec<i64>> {
    plan.jobs
        .iter()
        .map(|job| job.operations.iter().map(|spot| spot.start).collect())
        .collect()
}

/// The feeder holds copper; aluminium takes 40 min of changeover, then 5 min for aluminium again.
/// 0 + 40 = 40, sprayed to 70; 70 + 5 = 75.
#[test]
fn set_up_depends_on_the_powder_before() {
    let mut problem = quiet_site(200);
    problem.cells[0].powder = Some("cu".into());
    problem.cells[0].same_powder = 5;
    problem.cells[0].default_changeover = 40;
    problem.jobs = vec![
        job(1, vec![stage("al", 10, 30)]),
        job(2, vec![stage("al", 10, 30)]),
    ];
    let plan = in_order(&problem);
    assert_eq!(starts(&plan), [[40], [75]]);
    assert_eq!(plan.jobs[1].operations[0].setup_from, Some(70));
}

/// Two shifts, 0 to 100 and 200 to 300, warm-up 10. The second stage (60 min) does not fit behind the
/// first (10 + 60 = 70) on the first day, so it warms up anew on the second: 200 + 10.
#[test]
fn each_attended_period_begins_with_a_warm_up() {
    let mut problem = quiet_site(300);
    problem.windows = vec![
        Window {
            from: 0,
            to: 100,
            crew: 1,
        },
        Window {
            from: 200,
            to: 300,
            crew: 1,
        },
    ];
    problem.cells[0].warm_up = 10;
    problem.jobs = vec![
        job(1, vec![stage("al", 10, 60)]),
        job(2, vec![stage("al", 10, 60)]),
    ];
    assert_eq!(starts(&in_order(&problem)), [[10], [210]]);
}

/// The furnace is loaded at 90, while somebody is on duty, and runs into the night to 290; the mill needs a
/// person and waits for the morning at 400.
#[test]
fn unattended_work_runs_into_the_night_and_attended_work_does_not() {
    let mut problem = quiet_site(500);
    problem.windows = vec![
        Window {
            from: 0,
            to: 100,
            crew: 1,
        },
        Window {
            from: 400,
            to: 500,
            crew: 1,
        },
    ];
    problem.stations = vec![station("furnace", 1), station("mill", 1)];
    problem.jobs = vec![job(
        1,
        vec![
            stage("al", 10, 90),
            step("furnace", 200, 0),
            step("mill", 50, 1),
        ],
    )];
    assert_eq!(starts(&in_order(&problem)), [[0, 90, 400]]);
}

/// One person: the mill of the first job holds the only crew from 20 to 60, so the second job sprays at 60.
/// The furnace takes nobody, but is loaded only while somebody is on duty.
#[test]
fn work_waits_for_people() {
    let mut problem = quiet_site(100);
    problem.windows[0].crew = 1;
    problem.stations = vec![station("mill", 1)];
    problem.jobs = vec![
        job(1, vec![stage("al", 10, 20), step("mill", 40, 1)]),
        job(2, vec![stage("al", 10, 20)]),
    ];
    assert_eq!(starts(&in_order(&problem)), [vec![0, 20], vec![60]]);
}

/// Four lots of 10 are no use to a part that needs 13 from one lot; the delivery of 20 at 50 is.
#[test]
fn one_lot_parts_wait_for_a_lot_that_suffices() {
    let mut problem = quiet_site(200);
    problem.lots = (1..=4).map(|n| lot(&format!("al-{n}"), "al", 10)).collect();
    let mut delivery = lot("al-5", "al", 20);
    delivery.from = 50;
    problem.lots.push(delivery);
    problem.jobs = vec![job(1, vec![stage("al", 13, 30)])];
    let plan = in_order(&problem);
    assert_eq!(starts(&plan), [[50]]);
    assert_eq!(
        plan.jobs[0].operations[0].lots,
        [LotDraw {
            lot: "al-5".into(),
            grams: 13
        }]
    );
}

/// A mix takes the lot that expires first, then the other: 10 + 3.
#[test]
fn a_mix_takes_the_first_to_expire_first() {
    let mut problem = quiet_site(200);
    let mut old = lot("old", "al", 10);
    old.until = 100;
    problem.lots = vec![lot("new", "al", 10), old];
    let mut mixed = stage("al", 13, 30);
    let Work::Stage { one_lot, .. } = &mut mixed.work else {
        panic!("a stage sprays")
    };
    *one_lot = false;
    problem.jobs = vec![job(1, vec![mixed])];
    let drawn = [
        LotDraw {
            lot: "old".into(),
            grams: 10,
        },
        LotDraw {
            lot: "new".into(),
            grams: 3,
        },
    ];
    assert_eq!(in_order(&problem).jobs[0].operations[0].lots, drawn);
}

/// A lot that expires at 40 serves a stage to 30, but not the next one to 60.
#[test]
fn a_lot_is_usable_to_the_end_of_the_stage() {
    let mut problem = quiet_site(200);
    problem.lots[0].until = 40;
    problem.jobs = vec![
        job(1, vec![stage("al", 10, 30)]),
        job(2, vec![stage("al", 10, 30)]),
    ];
    let plan = in_order(&problem);
    assert_eq!(starts(&plan), [[0]]);
    assert_eq!(plan.left_out, ["j2"]);
}

/// The bank holds 100. The low-pressure part may draw it down to 20, the other must leave 60: after 50 for
/// the first, only the bottles that come at 70 lift it to 150, and 150 - 40 = 110 leaves enough.
#[test]
fn a_high_pressure_part_behind_a_low_one_waits_for_gas() {
    let mut problem = quiet_site(200);
    problem.stores = vec![store("gas", 100, &[(70, 100)])];
    problem.jobs = vec![
        job(1, vec![drawing(stage("al", 10, 30), "gas", 50, 20)]),
        job(2, vec![drawing(stage("al", 10, 30), "gas", 40, 60)]),
    ];
    assert_eq!(starts(&in_order(&problem)), [[0], [70]]);
    problem.jobs.swap(0, 1);
    // The other way round both go at once: 100 - 40 = 60, then 60 - 50 = 10 is under the floor of 20.
    assert_eq!(starts(&in_order(&problem)), [[0], [70]]);
    let Work::Stage { .. } = problem.jobs[1].options[0].operations[0].work else {
        panic!("a stage sprays")
    };
    problem.jobs[1].options[0].operations[0].draws = vec![Draw::of("gas", 50, 10)];
    assert_eq!(starts(&in_order(&problem)), [[0], [30]]);
}

/// The stores that each operation of a plan takes from.
fn taken(plan: &Plan) -> Vec<Vec<Option<&str>>> {
    let spots = plan.jobs.iter().flat_map(|job| &job.operations);
    let from = spots.map(|spot| spot.from.iter().map(Option::as_deref).collect());
    from.collect()
}

/// Bundles of 100, 60 and 60; each part takes 30 and must leave 20. The second would be left with
/// 60 - 30 - 20 = 10 above the floor, as the third, and goes first by the order of the file. At 30 it holds
/// too little for the next part, which takes the third. Then the first serves two parts, 100 to 70 to 40,
/// and the last part is left out.
#[test]
fn a_choice_of_bundles_takes_the_lowest_that_still_holds() {
    let mut problem = quiet_site(200);
    problem.stores = vec![
        store("full", 100, &[]),
        store("b", 60, &[]),
        store("c", 60, &[]),
    ];
    let part = || drawing_any(stage("al", 10, 30), &["full", "b", "c"], 30, 20);
    problem.jobs = (1..=5).map(|n| job(n, vec![part()])).collect();
    let plan = in_order(&problem);
    assert_eq!(
        taken(&plan),
        [[Some("b")], [Some("c")], [Some("full")], [Some("full")]]
    );
    assert_eq!(plan.left_out, ["j5"]);
}

/// The low bundle would do from 50 on, when bottles come; the part does not wait for it.
#[test]
fn a_choice_of_stores_never_costs_time() {
    let mut problem = quiet_site(200);
    problem.stores = vec![store("low", 10, &[(50, 25)]), store("full", 100, &[])];
    let part = drawing_any(stage("al", 10, 30), &["low", "full"], 30, 0);
    problem.jobs = vec![job(1, vec![part])];
    let plan = in_order(&problem);
    assert_eq!(
        (starts(&plan), taken(&plan)),
        (vec![vec![0]], vec![vec![Some("full")]])
    );
}

/// Two draws of one operation with the same two stores of 50: 30 and 30 do not go into one. A third draw of
/// 20, from the first store only, counts with what is chosen: 20 + 30 = 50.
#[test]
fn draws_of_one_operation_count_together() {
    let mut problem = quiet_site(200);
    problem.stores = vec![store("a", 50, &[]), store("b", 50, &[])];
    let both = |operation| drawing_any(operation, &["a", "b"], 30, 0);
    let part = drawing(both(both(stage("al", 10, 30))), "a", 20, 0);
    problem.jobs = vec![job(1, vec![part.clone()]), job(2, vec![part])];
    let plan = in_order(&problem);
    assert_eq!(taken(&plan), [[Some("a"), Some("b"), None]]);
    assert_eq!(plan.left_out, ["j2"]);
}

/// The set gives 40 kW, and 35 from 100 to 200. A stage takes 30, the furnace 8, a mill 6. The furnace runs
/// from 30 to 90; a second stage beside it takes 38, and the first mill, 6 more, waits for it to end at 60
/// and then has 14; a third stage from 60 on does not go with furnace and mill before 66. The last stage of
/// 50 min would end at 116, and 30 kW are within the 35.
#[test]
fn work_waits_for_what_a_limit_leaves() {
    let mut problem = quiet_site(400);
    problem.windows[0].crew = 5;
    problem.stations = vec![station("furnace", 1), station("mill", 1)];
    problem.limits = vec![limit("power", 40)];
    problem.limits[0].windows = vec![(100, 200, 35)];
    let spray = |minutes| loading(stage("al", 10, minutes), "power", 30, None);
    let mill = loading(step("mill", 6, 1), "power", 6, None);
    let furnace = loading(step("furnace", 60, 0), "power", 8, None);
    problem.jobs = vec![
        job(1, vec![spray(30), furnace]),
        job(2, vec![spray(30), mill.clone()]),
        job(3, vec![spray(50), mill]),
    ];
    assert_eq!(
        starts(&in_order(&problem)),
        [vec![0, 30], vec![30, 60], vec![66, 116]]
    );
}

/// One plate from the stage to the mill's end. The mill is out from 20 to 100: j1 keeps its plate from 0 to
/// 120, so j2 is sprayed at 120 though the cell is free at 20; j3 takes none and goes in between.
#[test]
fn a_load_is_held_until_a_later_operation_ends() {
    let mut problem = quiet_site(400);
    problem.stations = vec![station("mill", 1)];
    problem.stations[0].closed = vec![(20, 100, 1)];
    problem.limits = vec![limit("plates", 1)];
    let on_plate = || {
        let spray = loading(stage("al", 10, 20), "plates", 1, Some(1));
        vec![spray, step("mill", 20, 1)]
    };
    problem.jobs = vec![
        job(1, on_plate()),
        job(3, vec![step("mill", 5, 1)]),
        job(2, on_plate()),
    ];
    assert_eq!(
        starts(&in_order(&problem)),
        [vec![0, 100], vec![0], vec![120, 140]]
    );
}

/// The plates are away from 50 to 60. The part is masked for 10 min, sprayed for 20 and cooled for 30, all on
/// one plate: masked at 0 it would be cooled from 30 to 60. So it is masked anew, when the plates are back.
/// Its stage needs 5 min of set-up, which runs before that.
#[test]
fn what_would_lack_before_it_is_let_go_is_taken_later() {
    let mut problem = quiet_site(400);
    problem.cells[0].same_powder = 5;
    problem.limits = vec![limit("plates", 1)];
    problem.limits[0].windows = vec![(50, 60, 0)];
    problem.stations = vec![station("bench", 1)];
    let mut cooled = step("bench", 5, 0);
    cooled.after = 25;
    let mask = loading(step("bench", 10, 1), "plates", 1, Some(2));
    problem.jobs = vec![job(1, vec![mask, stage("al", 10, 20), cooled])];
    let plan = in_order(&problem);
    assert_eq!(starts(&plan), [[60, 70, 95 + 20]]);
    assert_eq!(plan.jobs[0].operations[1].setup_from, Some(65));
}

/// The bench is out until 55, which no one knows when the part is masked at 0: then the plate, away from 50
/// to 52, lacks before the part is cooled. It is masked anew at 52. With the plates away for good from 50 on,
/// it is not begun, and leaves nothing behind.
#[test]
fn a_load_that_can_never_be_held_to_its_end_leaves_the_job_out() {
    let mut problem = quiet_site(400);
    problem.limits = vec![limit("plates", 1)];
    problem.stations = vec![station("bench", 1), station("oven", 1)];
    problem.stations[1].closed = vec![(0, 55, 1)];
    let mask = || loading(step("bench", 10, 1), "plates", 1, Some(1));
    problem.jobs = vec![
        job(1, vec![mask(), step("oven", 5, 0)]),
        job(2, vec![step("bench", 10, 1)]),
    ];
    problem.limits[0].windows = vec![(50, 52, 0)];
    assert_eq!(starts(&in_order(&problem)), [vec![52, 62], vec![0]]);
    problem.limits[0].windows = vec![(50, 500, 0)];
    let plan = in_order(&problem);
    assert_eq!(
        (starts(&plan), plan.left_out),
        (vec![vec![0]], vec!["j1".to_owned()])
    );
}

/// A part masked and sprayed on one plate, with a second stage on one more: 1 from 0 on and 2 from 30 on. Of
/// two plates one is away from 60 to 80, so it is the second stage that waits, not the mask.
#[test]
fn only_the_load_that_lacks_is_taken_later() {
    let mut problem = quiet_site(400);
    problem.limits = vec![limit("plates", 2)];
    problem.limits[0].windows = vec![(60, 80, 1)];
    let first = loading(stage("al", 10, 30), "plates", 1, Some(2));
    let second = loading(stage("al", 10, 20), "plates", 1, Some(2));
    let mut cooled = step("bench", 10, 0);
    cooled.after = 20;
    problem.stations = vec![station("bench", 1)];
    problem.jobs = vec![job(1, vec![first, second, cooled])];
    assert_eq!(starts(&in_order(&problem)), [[0, 80, 120]]);
}

/// The mill's one slot is taken away from 20 to 90; the cell is closed from 100 to 120.
#[test]
fn closed_stations_and_cells_are_worked_around() {
    let mut problem = quiet_site(300);
    problem.stations = vec![station("mill", 1)];
    problem.stations[0].closed = vec![(20, 90, 1)];
    problem.cells[0].closed = vec![(100, 120)];
    problem.jobs = vec![job(
        1,
        vec![
            stage("al", 10, 10),
            step("mill", 20, 1),
            stage("al", 10, 30),
        ],
    )];
    // 10 to 30 would overlap the outage, so the mill runs 90 to 110; the cell is free again at 120.
    assert_eq!(starts(&in_order(&problem)), [[0, 90, 120]]);
}

/// Set-up may run before the job is ready: released at 50, changed over from 10 to 50.
#[test]
fn set_up_runs_before_the_job_is_ready() {
    let mut problem = quiet_site(200);
    problem.cells[0].powder = Some("cu".into());
    problem.cells[0].default_changeover = 40;
    problem.jobs = vec![job(1, vec![stage("al", 10, 30)])];
    problem.jobs[0].release = 50;
    let plan = in_order(&problem);
    assert_eq!(
        (starts(&plan), plan.jobs[0].operations[0].setup_from),
        (vec![vec![50]], Some(10))
    );
}

/// A job of which a later operation does not fit leaves nothing behind: the next takes its place, its lot
/// and its gas.
#[test]
fn a_job_that_does_not_fit_takes_nothing() {
    let mut problem = quiet_site(100);
    problem.stations = vec![station("furnace", 1)];
    problem.stores = vec![store("gas", 50, &[])];
    problem.lots = vec![lot("al-1", "al", 10)];
    let sprayed = || drawing(stage("al", 10, 30), "gas", 50, 0);
    problem.jobs = vec![
        job(1, vec![sprayed(), step("furnace", 90, 0)]),
        job(2, vec![sprayed()]),
    ];
    let plan = in_order(&problem);
    assert_eq!(
        (plan.left_out, starts(&in_order(&problem))),
        (vec!["j1".to_owned()], vec![vec![0]])
    );
}

/// Two of three pumps are down, at 10 with one down and 50 with two; horizon 100.
/// The first is back at 20, the second at 60: 20 x 50 + 40 x 10 = 1400. Neither: 100 x 50.
#[test]
fn the_loss_follows_the_number_down() {
    let mut problem = quiet_site(100);
    problem.capabilities = vec![capability(&["a1", "a2"], &[0, 10, 50])];
    problem.jobs = vec![
        job(1, vec![stage("al", 10, 20)]),
        job(2, vec![stage("al", 10, 40)]),
    ];
    assert_eq!(in_order(&problem).loss, 1400);
    assert_eq!(decode(&problem, &[]).loss, 5000);
}

/// The same, but the second pump runs until 50, and a third comes back at 30 without a job.
/// Down: 0-20 a1 and a3 (50), 20-30 a3 (10), 30-50 none, 50-60 a2 (10): 1000 + 100 + 100 = 1200.
#[test]
fn assets_go_down_and_come_back_by_themselves() {
    let mut problem = quiet_site(100);
    problem.capabilities = vec![capability(&["a1", "a2", "a3"], &[0, 10, 50, 200])];
    problem.assets.insert(
        "a2".into(),
        Asset {
            down_from: Some(50),
            back: None,
        },
    );
    problem.assets.insert(
        "a3".into(),
        Asset {
            down_from: None,
            back: Some(30),
        },
    );
    problem.jobs = vec![
        job(1, vec![stage("al", 10, 20)]),
        job(2, vec![stage("al", 10, 40)]),
    ];
    assert_eq!(in_order(&problem).loss, 1200);
}

/// An asset with two parts is back with the last of them: 10 per hour until 50.
#[test]
fn an_asset_is_back_with_its_last_part() {
    let mut problem = quiet_site(100);
    problem.capabilities = vec![capability(&["a1"], &[0, 10])];
    problem.jobs = vec![
        job(1, vec![stage("al", 10, 20)]),
        job(2, vec![stage("al", 10, 30)]),
    ];
    problem.jobs[1].asset = "a1".into();
    assert_eq!(in_order(&problem).loss, 500);
}

/// An option without operations is a part that comes at its earliest; after the horizon it does not.
#[test]
fn a_part_that_comes_by_other_means_needs_nothing() {
    let mut problem = quiet_site(100);
    problem.capabilities = vec![capability(&["a1"], &[0, 10])];
    problem.jobs = vec![job(1, Vec::new())];
    problem.jobs[0].options[0].earliest = 70;
    assert_eq!(in_order(&problem).loss, 700);
    problem.jobs[0].options[0].earliest = 101;
    assert_eq!(in_order(&problem).left_out, ["j1"]);
}

/// Positions that the problem does not have, and jobs named twice, are passed over.
#[test]
fn odd_orders_are_survived() {
    let mut problem = quiet_site(100);
    problem.jobs = vec![
        job(1, vec![stage("al", 10, 20)]),
        job(2, vec![stage("al", 10, 20)]),
    ];
    let plan = decode(&problem, &[(7, 0), (1, 3), (0, 0), (0, 0)]);
    assert_eq!(
        (starts(&plan), check(&problem, &plan)),
        (vec![vec![0]], vec![])
    );
}
