use super::*;
use crate::planner::samples::{batch_station, in_cycle};

/// A site with a furnace for two, and so many parts: sprayed for 10 min each, one behind the other, then
/// soaked for 60 min.
fn soaked(parts: usize) -> Problem {
    let mut problem = quiet_site(400);
    problem.stations = vec![batch_station("furnace", 2)];
    problem.jobs = (1..=parts).map(|n| job(n, part("soak", 60))).collect();
    problem
}

fn part(cycle: &str, minutes: i64) -> Vec<Operation> {
    let bake = in_cycle(step("furnace", minutes, 0), cycle);
    vec![stage("al", 10, 10), bake]
}

/// When each part is put into the furnace.
fn baked(problem: &Problem) -> Vec<i64> {
    starts(&in_order(problem)).iter().map(|it| it[1]).collect()
}

/// j1 is put in at 10. j2 is sprayed at 20, when the furnace runs, and goes in at 70; j3, sprayed at 30, goes
/// with it. Then that batch is full: j4 goes in at 130.
#[test]
fn parts_of_a_cycle_share_a_batch() {
    assert_eq!(baked(&soaked(4)), [10, 70, 70, 130]);
    let mut problem = soaked(4);
    problem.stations[0].slots = 3;
    assert_eq!(baked(&problem), [10, 70, 70, 70]);
}

/// j3 has another cycle, or another length, and waits for a batch of its own at 130; j4 goes with j2.
#[test]
fn parts_that_differ_wait_for_each_other() {
    for other in [part("age", 60), part("soak", 61)] {
        let mut problem = soaked(4);
        problem.jobs[2] = job(3, other);
        assert_eq!(baked(&problem), [10, 70, 130, 70]);
    }
}

/// One of the two places is taken away from 100 to 140: what goes in at 70 is alone, and so is what goes in
/// at 130; j4 is left with 190. Without either of them nothing goes in from 41 to 140.
#[test]
fn a_closed_place_makes_a_batch_smaller() {
    let mut problem = soaked(4);
    problem.stations[0].closed = vec![(100, 140, 1)];
    assert_eq!(baked(&problem), [10, 70, 130, 190]);
    problem.stations[0].closed = vec![(100, 140, 2)];
    assert_eq!(baked(&problem), [10, 140, 140, 200]);
}

/// Each part takes 20 of the 30 kW, though they are in one furnace; so each goes in by itself.
#[test]
fn each_step_of_a_batch_counts_its_own_loads() {
    let mut problem = soaked(3);
    problem.limits = vec![limit("power", 30)];
    for job in &mut problem.jobs {
        let bake = &mut job.options[0].operations[1];
        *bake = loading(bake.clone(), "power", 20, None);
    }
    assert_eq!(baked(&problem), [10, 70, 130]);
    problem.limits[0].capacity = 40;
    assert_eq!(baked(&problem), [10, 70, 70]);
}

/// A batch of 10 min fits between two of 60 only if the gap is that long: j1 goes in at 10, j2 behind it at
/// 70. The part of j3, cured for 10 min, comes at 30 and waits until 130; one that is cured without being
/// sprayed goes in at once, from 0 to 10.
#[test]
fn a_batch_goes_into_a_gap() {
    let mut problem = soaked(2);
    let cure = in_cycle(step("furnace", 10, 0), "cure");
    problem.jobs.push(job(3, part("cure", 10)));
    problem.jobs.push(job(4, vec![cure]));
    assert_eq!(
        starts(&in_order(&problem)),
        [vec![0, 10], vec![10, 70], vec![20, 130], vec![0]]
    );
}

/// j1 is sprayed by 10 and j2 by 20, and put in for 5 min at once. Then it is j1's turn: by itself it goes in
/// at 10. If it is to join it waits for j2's batch at 20.
#[test]
fn a_part_may_wait_for_a_batch_on_purpose() {
    let mut problem = soaked(0);
    problem.jobs = (1..=2).map(|n| job(n, part("soak", 5))).collect();
    let rules = Rules::new(&problem);
    let last = |join| {
        let rest = Chunk {
            join,
            ..Chunk::new(0, 0, 2)
        };
        let chunks = [Chunk::new(0, 0, 1), Chunk::new(1, 0, 2), rest];
        let plan = plan_of(&problem, &rules, chunks.into_iter());
        assert_eq!(check(&problem, &plan), []);
        starts(&plan)
    };
    assert_eq!(last(false), [[10, 20], [0, 10]]);
    assert_eq!(last(true), [[10, 20], [0, 20]]);
}

/// Joining what there is: with the only batch full, or of another cycle, the part begins its own, as early as
/// if it had not wanted to join.
#[test]
fn a_part_that_finds_no_batch_begins_one() {
    for other in [part("age", 60), part("soak", 60)] {
        let mut problem = soaked(2);
        problem.stations[0].slots = 1;
        problem.jobs[0] = job(1, other);
        let rules = Rules::new(&problem);
        let joining = Chunk {
            join: true,
            ..Chunk::new(1, 0, 2)
        };
        let plan = plan_of(&problem, &rules, [Chunk::new(0, 0, 2), joining].into_iter());
        assert_eq!(starts(&plan), [[0, 10], [10, 70]]);
    }
}

/// The furnace gives back what a part that does not fit had taken: j1 is not milled, since there is no mill
/// with a place, and j2 has the furnace at 20 for itself.
#[test]
fn a_part_that_does_not_fit_leaves_no_batch() {
    let mut problem = soaked(2);
    problem.stations.push(station("mill", 0));
    let operations = &mut problem.jobs[0].options[0].operations;
    operations.push(step("mill", 5, 1));
    problem.jobs[1].release = 20;
    let plan = in_order(&problem);
    assert_eq!(
        (starts(&plan), plan.left_out),
        (vec![vec![20, 30]], vec!["j1".to_owned()])
    );
}
