//! A plan with one of its jobs put before others.

use super::decode::{Chunk, plan_of};
use super::extend::{choices_kept, positions};
use super::plan::Plan;
use super::problem::Problem;
use super::rules::Rules;

/// Places a plan anew with one of its jobs before another, or before all: each operation as early as the
/// rules allow behind what goes before it, the rest in the order in which it starts.
///
/// Jobs are named by their ids and planned; none otherwise. What then does not fit is left out, and the
/// loss of the answer says what that costs.
#[must_use]
pub fn ahead(problem: &Problem, plan: &Plan, job: &str, before: Option<&str>) -> Option<Plan> {
    let kept = choices_kept(problem, plan);
    let problem = kept.as_ref().unwrap_or(problem);
    let rules = Rules::new(problem);
    let place = |id: &str| problem.jobs.iter().position(|j| j.id == id);
    let job = place(job)?;
    let planned = positions(problem, plan);
    let chunks = planned.iter().flat_map(|it| {
        let together = it.option(&rules).limits_waits();
        it.chunks(&rules, together)
    });
    let mut begun: Vec<(i64, Chunk)> = chunks.collect();
    begun.sort_by_key(|(begin, chunk)| (*begin, chunk.job, chunk.upto));
    let (mine, mut order): (Vec<_>, Vec<_>) = begun
        .into_iter()
        .map(|(_, chunk)| chunk)
        .partition(|chunk| chunk.job == job);
    let at = match before {
        Some(id) => {
            let before = place(id)?;
            order.iter().position(|chunk| chunk.job == before)?
        }
        None => 0,
    };
    if mine.is_empty() {
        return None;
    }
    order.splice(at..at, mine);
    Some(plan_of(problem, &rules, order.into_iter()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::planner::samples::{job, quiet_site, stage};
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
}
