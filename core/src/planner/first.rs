//! A plan with some of its jobs before all others, and a problem that keeps them there.

use super::crew_order::own_plan;
use super::extend::{keep_starts, placed_anew, positions};
use super::faults::MAX_COUNT;
use super::loss::finish_times;
use super::plan::Plan;
use super::problem::{Capability, Problem};
use super::rules::Rules;

/// What is to be searched so that some jobs go before all others.
#[derive(Debug, Clone, PartialEq)]
pub struct First {
    /// The problem, in which these jobs are as early as they can be without the others, by one option each,
    /// or left out at a loss that nothing is worth.
    pub held: Problem,
    /// A plan of it, to begin with.
    pub plan: Plan,
}

/// Puts jobs, by their ids and in this order, before all others of a plan.
///
/// Each is as early as the rules allow behind those named before it, whatever the others would lose by that.
/// What does not stand in the way may still go before them.
///
/// The loss of the problem to be searched is its own, and [`loss`](super::loss()) says what its plan loses in
/// truth; by that the search is misled only where another job of the same machine ends before the one that
/// goes first. What is named and finds no place even so is held to nothing.
#[must_use]
pub fn put_first(problem: &Problem, plan: &Plan, ids: &[&str]) -> First {
    let place = |id: &&str| problem.jobs.iter().position(|job| job.id == *id);
    let named: Vec<usize> = ids.iter().filter_map(place).collect();
    let alone = own_plan(problem, &named, &mut || false).unwrap_or_default();
    let held = held(problem, &alone);
    let is_first = |id: &str| alone.jobs.iter().any(|first| first.id == id);
    let rest = plan.jobs.iter().filter(|planned| !is_first(&planned.id));
    let all = Plan {
        jobs: alone.jobs.iter().chain(rest).cloned().collect(),
        ..Plan::default()
    };
    let mut rules = Rules::new(&held);
    let planned = positions(&held, &all);
    let (first, rest) = planned.split_at(alone.jobs.len());
    keep_starts(&mut rules, rest.iter());
    let first: Vec<usize> = first.iter().map(|it| it.job).collect();
    let plan = placed_anew(&held, &rules, &planned, &first, &|mut order| {
        let turn = |job| first.iter().position(|it| *it == job);
        order.sort_by_key(|chunk| turn(chunk.job).unwrap_or(first.len()));
        order
    });
    First { held, plan }
}

/// The problem with each job of a plan held to the minutes that it has there.
fn held(problem: &Problem, alone: &Plan) -> Problem {
    let mut held = problem.clone();
    let ends = finish_times(problem, alone);
    let worst = Rules::new(problem).worst_loss();
    for planned in &alone.jobs {
        let Some(job) = held.jobs.iter_mut().find(|job| job.id == planned.id) else {
            continue;
        };
        job.options.retain(|option| option.id == planned.option);
        for option in &mut job.options {
            let mut end = job.release.max(option.earliest);
            for (operation, spot) in option.operations.iter_mut().zip(&planned.operations) {
                operation.within = Some(spot.start - end);
                end = spot.start + operation.minutes;
            }
        }
        let end = ends.get(planned.id.as_str()).copied().unwrap_or(0);
        let own = format!("first/{}", job.id);
        let asset = std::mem::replace(&mut job.asset, own.clone());
        let known = held.assets.entry(asset).or_default();
        known.back = Some(end);
        let rate = worst / (problem.horizon - end).max(1) + 1;
        held.capabilities.push(Capability {
            id: own.clone(),
            from: 0,
            assets: vec![own],
            loss_per_hour: vec![0, rate.min(MAX_COUNT)],
        });
    }
    held
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::planner::samples::{capability, job, lot, quiet_site, stage, station, step};
    use crate::planner::{Search, check, decode, loss};

    fn start(plan: &Plan, id: &str) -> i64 {
        let job = plan.jobs.iter().find(|job| job.id == id);
        job.expect("it is planned").operations[0].start
    }

    /// The best plan that a search finds with these first, by what it loses in truth.
    fn best(problem: &Problem, known: &Plan, first: &[&str]) -> Plan {
        let First { held, plan } = put_first(problem, known, first);
        assert_eq!((held.faults(), check(&held, &plan)), (vec![], vec![]));
        let mut search = Search::new(&held, 1);
        search.warm_start(&plan);
        search.run(2_000, 0.0..1.0, &mut || false);
        let mut best = search.best().clone();
        best.loss = loss(problem, &best);
        assert_eq!(check(problem, &best), []);
        best
    }

    /// j1 takes 60 min and stops 1 an hour, j2 30 min and 5, j3 10 min and 9. Best is j3, j2, j1: 10 x 9 +
    /// 40 x 5 + 100 x 1 = 390. With j1 first the others still go by their loss, j3 before j2, though the
    /// plan that it begins with has them the other way: 60 x 1 + 70 x 9 + 100 x 5 = 1190, not 1350.
    #[test]
    fn behind_what_goes_first_the_rest_is_searched_for() {
        let mut problem = quiet_site(200);
        problem.jobs = [60, 30, 10]
            .iter()
            .zip(1..)
            .map(|(minutes, n)| job(n, vec![stage("al", 1, *minutes)]))
            .collect();
        problem.capabilities = vec![
            capability(&["a1"], &[0, 1]),
            capability(&["a2"], &[0, 5]),
            capability(&["a3"], &[0, 9]),
        ];
        let known = decode(&problem, &[(1, 0), (2, 0), (0, 0)]);
        let begin = put_first(&problem, &known, &["j1"]).plan;
        assert_eq!(["j1", "j2", "j3"].map(|id| start(&begin, id)), [0, 60, 90]);
        let plan = best(&problem, &known, &["j1"]);
        assert_eq!(["j1", "j2", "j3"].map(|id| start(&plan, id)), [0, 70, 60]);
        assert_eq!(plan.loss, 1190);
        let plan = best(&problem, &known, &["j1", "j2"]);
        assert_eq!(["j1", "j2", "j3"].map(|id| start(&plan, id)), [0, 60, 90]);
    }

    /// j1 waits for its powder until 50 and is milled then; nobody loses by its machine. j2, of 30 min, fits
    /// before it and goes there; j3, of 60, would make it later and goes behind it, whatever that costs.
    #[test]
    fn what_makes_it_no_later_goes_before_it() {
        let mut problem = quiet_site(300);
        problem.stations = vec![station("mill", 1)];
        let mut copper = lot("cu-1", "cu", 10);
        copper.from = 50;
        problem.lots.push(copper);
        problem.jobs = vec![
            job(1, vec![stage("cu", 10, 10), step("mill", 20, 1)]),
            job(2, vec![stage("al", 1, 30)]),
            job(3, vec![stage("al", 1, 60)]),
        ];
        problem.capabilities = vec![capability(&["a2"], &[0, 1]), capability(&["a3"], &[0, 900])];
        let known = decode(&problem, &[(2, 0), (1, 0), (0, 0)]);
        assert_eq!(start(&known, "j3"), 0);
        let plan = best(&problem, &known, &["j1"]);
        assert_eq!(["j1", "j2", "j3"].map(|id| start(&plan, id)), [50, 0, 60]);
    }

    /// For j1 there is no copper: it has no place, and the others have theirs. A second part of its machine
    /// counts as before.
    #[test]
    fn what_cannot_be_done_is_left_out() {
        let mut problem = quiet_site(100);
        problem.jobs = vec![
            job(1, vec![stage("cu", 1, 10)]),
            job(2, vec![stage("al", 1, 10)]),
            job(3, vec![stage("al", 1, 10)]),
        ];
        problem.jobs[2].asset = "a2".to_owned();
        problem.capabilities = vec![capability(&["a1", "a2"], &[0, 1, 2])];
        let known = decode(&problem, &[]);
        let plan = best(&problem, &known, &["j1", "j3", "j9"]);
        assert_eq!(plan.left_out, ["j1"]);
        assert_eq!(["j3", "j2"].map(|id| start(&plan, id)), [0, 10]);
        assert_eq!(plan.loss, 100 + 20);
    }
}
