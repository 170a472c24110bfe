use super::*;
use crate::planner::samples::within;

/// A site whose bench blasts parts, and whose cell is busy with j1 from 0 to 60.
fn busy_until_60() -> Problem {
    let mut problem = quiet_site(400);
    problem.stations = vec![station("bench", 1)];
    problem.jobs = vec![job(1, vec![stage("al", 10, 60)])];
    problem
}

fn blast() -> Operation {
    step("bench", 10, 1)
}

/// Blasted from 0 to 10 the part would wait 50 min for the cell, and it may wait 20. So it is blasted from
/// 60 - 20 - 10 = 30 on. With 50 min it is blasted at once.
#[test]
fn what_may_not_wait_is_done_later() {
    let mut problem = busy_until_60();
    let part = |minutes| vec![blast(), within(stage("al", 10, 30), minutes)];
    problem.jobs.push(job(2, part(20)));
    assert_eq!(starts(&in_order(&problem)), [vec![0], vec![30, 60]]);
    problem.jobs[1] = job(2, part(50));
    assert_eq!(starts(&in_order(&problem)), [vec![0], vec![0, 60]]);
}

/// Washed for 5 min, blasted at most 5 min after that, sprayed at most 20 min after that: sprayed at 60,
/// blasted at 30, and washed from 30 - 5 - 5 = 20 on. What follows may wait: it is milled last.
#[test]
fn a_chain_of_waits_moves_as_a_whole() {
    let mut problem = busy_until_60();
    problem.stations.push(station("mill", 1));
    problem.stations[1].closed = vec![(0, 200, 1)];
    let wash = step("bench", 5, 1);
    let part = vec![
        wash,
        within(blast(), 5),
        within(stage("al", 10, 30), 20),
        step("mill", 10, 1),
    ];
    problem.jobs.push(job(2, part));
    assert_eq!(
        starts(&in_order(&problem)),
        [vec![0], vec![20, 30, 60, 200]]
    );
}

/// Ready at 50 and blasted at once, the part is not sprayed by 100, when all go home; the wait to the next
/// shift at 200 is too long, and so is one from any minute of the first shift. It is blasted at 200.
#[test]
fn what_may_not_wait_through_the_night_is_done_in_the_morning() {
    let mut problem = quiet_site(300);
    let shift = |from, to| Window { from, to, crew: 1 };
    problem.windows = vec![shift(0, 100), shift(200, 300)];
    problem.stations = vec![station("bench", 1)];
    problem.jobs = vec![job(1, vec![blast(), within(stage("al", 10, 60), 30)])];
    problem.jobs[0].release = 50;
    assert_eq!(starts(&in_order(&problem)), [[200, 210]]);
}

/// Blasted on a plate that it keeps until it is sprayed at 60. From 30 on it would not wait too long, but the
/// plates are away from 40 to 50: it is blasted at 50.
#[test]
fn a_wait_and_a_plate_are_both_kept() {
    let mut problem = busy_until_60();
    problem.limits = vec![limit("plates", 1)];
    problem.limits[0].windows = vec![(40, 50, 0)];
    let blast = loading(blast(), "plates", 1, Some(1));
    let part = vec![blast, within(stage("al", 10, 30), 20)];
    problem.jobs.push(job(2, part));
    assert_eq!(starts(&in_order(&problem)), [vec![0], vec![50, 60]]);
}

/// The bench is out until 100 and the cell is closed from 105 on: the part of j2 can be blasted, and never in
/// time for the cell. It is left out, and j3 has the bench as if it had not been there. So is j4, which is
/// ready at 0 and may not wait for the cell.
#[test]
fn what_would_always_wait_too_long_is_left_out() {
    let mut problem = busy_until_60();
    problem.stations[0].closed = vec![(0, 100, 1)];
    problem.cells[0].closed = vec![(105, 400)];
    problem.jobs.extend([
        job(2, vec![blast(), within(stage("al", 10, 5), 20)]),
        job(3, vec![blast()]),
        job(4, vec![within(stage("al", 10, 30), 20)]),
    ]);
    let plan = in_order(&problem);
    assert_eq!(starts(&plan), [[0], [100]]);
    assert_eq!(plan.left_out, ["j2", "j4"]);
}
