//! A plan with one of its jobs put before others.

use super::decode::Chunk;
use super::extend::{choices_kept, keep_starts, placed_anew, positions};
use super::plan::Plan;
use super::problem::Problem;
use super::rules::Rules;

/// Places a plan anew with one of its jobs before another, or before all: each operation as early as the
/// rules allow behind what goes before it, the rest in the order in which it starts.
///
/// Jobs are named by their ids and planned; none otherwise. Batches and waits of the others are kept as
/// [`extend`](super::extend()) keeps them. What then does not fit is left out, and the loss of the answer says
/// what that costs.
#[must_use]
pub fn ahead(problem: &Problem, plan: &Plan, job: &str, before: Option<&str>) -> Option<Plan> {
    let kept = choices_kept(problem, plan);
    let problem = kept.as_ref().unwrap_or(problem);
    let mut rules = Rules::new(problem);
    let planned = positions(problem, plan);
    let place = |id: &str| {
        let mut planned = planned.iter();
        planned.find(|it| problem.jobs[it.job].id == id)
    };
    let job = place(job)?.job;
    let before = match before {
        Some(id) => Some(place(id).filter(|it| it.job != job)?.job),
        None => None,
    };
    keep_starts(&mut rules, planned.iter().filter(|it| it.job != job));
    let moved = |order: Vec<Chunk>| {
        let (mine, mut order): (Vec<_>, Vec<_>) = order.into_iter().partition(|it| it.job == job);
        let at = order.iter().position(|chunk| Some(chunk.job) == before);
        let at = at.unwrap_or(0);
        order.splice(at..at, mine);
        order
    };
    Some(placed_anew(problem, &rules, &planned, &[job], &moved))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::planner::samples::{batch_station, job, quiet_site, stage, station, step, within};
    use crate::planner::{check, decode};

    /// Three jobs of 30, 20 and 10 minutes one after another: 0, 30, 50. With the last one first they
    /// start at 10, 40 and 0; with it before the second at 0, 40 and 30.
    #[test]
    fn one_job_goes_before_others() {
        let mut problem = quiet_site(400);
        problem.jobs = vec![
            job(1, vec![stage("al", 1, 30)]),
            job(2, vec![stage("al", 1, 20)]),
            job(3, vec![stage("al", 1, 10)]),
        ];
        let plan = decode(&problem, &[(0, 0), (1, 0), (2, 0)]);
        let starts = |before: Option<&str>| -> Vec<i64> {
            let moved = ahead(&problem, &plan, "j3", before).expect("both are planned");
            assert_eq!(check(&problem, &moved), []);
            let start = |id: &str| moved.jobs.iter().find(|j| j.id == id);
            ["j1", "j2", "j3"]
                .iter()
                .map(|id| start(id).expect("planned").operations[0].start)
                .collect()
        };
        assert_eq!(starts(None), [10, 40, 0]);
        assert_eq!(starts(Some("j2")), [0, 40, 30]);
        assert_eq!(ahead(&problem, &plan, "j4", None), None);
    }

    fn starts(plan: &Plan, id: &str) -> Vec<i64> {
        let job = plan.jobs.iter().find(|job| job.id == id);
        let spots = &job.expect("it is planned").operations;
        spots.iter().map(|spot| spot.start).collect()
    }

    /// j1 waits from 0 to 20 so as to share the furnace with j2 for an hour; in its place it would go in at
    /// once, and j2 at 60. It still waits when j3, which needs no furnace, goes before both.
    #[test]
    fn a_batch_of_others_is_kept() {
        let mut problem = quiet_site(400);
        problem.stations = vec![batch_station("furnace", 2)];
        problem.jobs = (1..=2)
            .map(|n| job(n, vec![step("furnace", 60, 0)]))
            .collect();
        problem.jobs.push(job(3, vec![stage("al", 1, 30)]));
        problem.jobs[1].release = 20;
        let mut plan = decode(&problem, &[(0, 0), (1, 0), (2, 0)]);
        for planned in &mut plan.jobs {
            planned.operations[0].start = 20;
        }
        let moved = ahead(&problem, &plan, "j3", None).expect("it is planned");
        let all = ["j1", "j2", "j3"].map(|id| starts(&moved, id));
        assert_eq!(all, [[20], [20], [0]]);
        assert_eq!(check(&problem, &moved), []);
    }

    /// The part of j2 is sprayed for 20 min as soon as it is blasted for 10, behind j1, from 30 on. When j3
    /// goes to the cell first for 30 min, j1 is sprayed from 30 and j2 from 60 on, and blasted from 50 on;
    /// when j2 itself goes first it is blasted at once.
    #[test]
    fn what_may_not_wait_is_kept() {
        let mut problem = quiet_site(400);
        problem.stations = vec![station("bench", 1)];
        let blasted = vec![step("bench", 10, 1), within(stage("al", 1, 20), 0)];
        problem.jobs = vec![
            job(1, vec![stage("al", 1, 30)]),
            job(2, blasted),
            job(3, vec![stage("al", 1, 30)]),
        ];
        let plan = decode(&problem, &[(0, 0), (1, 0), (2, 0)]);
        assert_eq!(starts(&plan, "j2"), [20, 30]);
        for (first, of_second) in [("j3", [50, 60]), ("j2", [0, 10])] {
            let moved = ahead(&problem, &plan, first, None).expect("it is planned");
            assert_eq!(starts(&moved, "j2"), of_second);
            assert_eq!((moved.left_out.len(), check(&problem, &moved)), (0, vec![]));
        }
    }
}
