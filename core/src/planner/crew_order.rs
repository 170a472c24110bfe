use std::cmp::Reverse;

use super::decode::{Chunk, Outcome, State, Trail, decode, plan_of};
use super::plan::Plan;
use super::problem::Problem;
use super::rules::Rules;

/// An order that a crew would work to without a planner.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CrewOrder {
    /// As the requests came in: the order of the file.
    OldestFirst,
    /// By what the loss rate would fall by, were the job's asset alone back now; ties as they came in.
    LargestRateFirst,
}

/// The plan of a crew that works to its own order: each job by its first option, as early as it can be.
#[must_use]
pub fn crew_plan(problem: &Problem, order: CrewOrder) -> Plan {
    let jobs = crew_sequence(problem, order)
        .into_iter()
        .map(|job| (job, 0));
    decode(problem, &jobs.collect::<Vec<_>>())
}

/// The plan of a crew that numbers the jobs itself, by their positions; none if `stop`, asked again and
/// again, says so first.
///
/// Each job is as early as it can be without making one numbered before it later, by the option that loses
/// least. So a job whose powder is still on its way keeps its number and waits, and what fits before it goes
/// before it. Of options that lose the same, the one that is finished first is taken, then the first one. What
/// does not fit, and what is not named, is left out; a job named again, or a position that the problem does
/// not have, is passed over. The plan keeps every rule.
#[must_use]
pub fn own_plan(
    problem: &Problem,
    order: &[usize],
    stop: &mut dyn FnMut() -> bool,
) -> Option<Plan> {
    let rules = Rules::new(problem);
    let mut own = Own::new(problem, &rules);
    for job in order {
        if *job < problem.jobs.len() && !own.laid.iter().any(|laid| laid.chunk.job == *job) {
            own.put(*job, stop)?;
        }
    }
    Some(own.plan(None))
}

/// A crew's numbered order, as far as it is laid out.
struct Own<'a> {
    problem: &'a Problem,
    rules: &'a Rules,
    laid: Vec<Laid>,
    /// What is taken before each of these, and in the end.
    before: Vec<State>,
    tried: State,
    trail: Trail,
}

/// A whole job and when it ends.
#[derive(Clone, Copy)]
struct Laid {
    chunk: Chunk,
    end: i64,
}

impl<'a> Own<'a> {
    fn new(problem: &'a Problem, rules: &'a Rules) -> Self {
        let empty = State::new(rules);
        Self {
            problem,
            rules,
            laid: Vec::new(),
            tried: empty.clone(),
            before: vec![empty],
            trail: Trail::default(),
        }
    }

    /// The plan, with one more at a place.
    fn plan(&self, more: Option<(usize, Laid)>) -> Plan {
        let mut chunks: Vec<Chunk> = self.laid.iter().map(|laid| laid.chunk).collect();
        if let Some((place, laid)) = more {
            chunks.insert(place, laid.chunk);
        }
        plan_of(self.problem, self.rules, chunks.into_iter())
    }

    /// Puts a job in by its best option, if it fits at all; none if stopped.
    fn put(&mut self, job: usize, stop: &mut dyn FnMut() -> bool) -> Option<()> {
        let rules = self.rules;
        let mut best: Option<((i64, i64), usize, Laid)> = None;
        for (option, rule) in rules.jobs[job].options.iter().enumerate() {
            let chunk = Chunk::new(job, option, rule.operations.len());
            for place in 0..=self.laid.len() {
                if stop() {
                    return None;
                }
                let Some(end) = self.fits(chunk, place) else {
                    continue;
                };
                let laid = Laid { chunk, end };
                let worth = (self.plan(Some((place, laid))).loss, end);
                if best.is_none_or(|(best, ..)| worth < best) {
                    best = Some((worth, place, laid));
                }
                break;
            }
        }
        if let Some((_, place, laid)) = best {
            self.laid.insert(place, laid);
            self.lay_from(place);
        }
        Some(())
    }

    /// When a job ends at a place, if it fits there and none of those behind it then ends later.
    fn fits(&mut self, chunk: Chunk, place: usize) -> Option<i64> {
        self.tried.copy_from(&self.before[place]);
        let end = self.end(chunk)?;
        for behind in place..self.laid.len() {
            let Laid { chunk, end: known } = self.laid[behind];
            self.end(chunk).filter(|end| *end <= known)?;
        }
        Some(end)
    }

    /// When a job ends behind what was tried so far.
    fn end(&mut self, chunk: Chunk) -> Option<i64> {
        match self.tried.place_chunk(self.rules, chunk, &mut self.trail) {
            Outcome::Finished(end) => Some(end),
            Outcome::Begun | Outcome::DoesNotFit => None,
        }
    }

    /// Lays the jobs from a place on out anew.
    fn lay_from(&mut self, place: usize) {
        self.before.truncate(place + 1);
        for laid in place..self.laid.len() {
            self.tried.copy_from(&self.before[laid]);
            if let Some(end) = self.end(self.laid[laid].chunk) {
                self.laid[laid].end = end;
            }
            self.before.push(self.tried.clone());
        }
    }
}

/// Positions of the jobs in a crew's own order.
pub(super) fn crew_sequence(problem: &Problem, order: CrewOrder) -> Vec<usize> {
    let mut jobs: Vec<usize> = (0..problem.jobs.len()).collect();
    if order == CrewOrder::LargestRateFirst {
        jobs.sort_by_key(|job| Reverse(rate_of_asset(problem, &problem.jobs[*job].asset)));
    }
    jobs
}

/// By how much the loss rate of now would fall if this asset alone came back.
fn rate_of_asset(problem: &Problem, asset: &str) -> i64 {
    if !down_now(problem, asset) {
        return 0;
    }
    let serving = problem
        .capabilities
        .iter()
        .filter(|c| c.assets.iter().any(|a| a == asset));
    serving
        .map(|capability| {
            let down = capability
                .assets
                .iter()
                .filter(|a| down_now(problem, a))
                .count();
            capability.loss_per_hour[down] - capability.loss_per_hour[down - 1]
        })
        .sum()
}

fn down_now(problem: &Problem, asset: &str) -> bool {
    let known = problem.assets.get(asset);
    let has_job = problem.jobs.iter().any(|job| job.asset == asset);
    let back_already = !has_job && known.and_then(|a| a.back).is_some_and(|back| back <= 0);
    !back_already
        && known
            .and_then(|a| a.down_from)
            .is_none_or(|minute| minute <= 0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::planner::check;
    use crate::planner::samples::{capability, job, lot, quiet_site, stage};

    fn ids(plan: &Plan) -> Vec<&str> {
        plan.jobs.iter().map(|job| job.id.as_str()).collect()
    }

    /// Laid out with all the time that it takes.
    fn own_plan(problem: &Problem, order: &[usize]) -> Plan {
        super::own_plan(problem, order, &mut || false).expect("it is not stopped")
    }

    fn start(plan: &Plan, id: &str) -> i64 {
        let mut jobs = plan.jobs.iter();
        let job = jobs.find(|job| job.id == id).expect("it is planned");
        job.operations[0].start
    }

    /// Three parts of 10 min in the order 3, 1, with 2 left out; at 1, 1 and 5 an hour, and 2 stays down to
    /// 100: 10 x 5 + 20 x 1 + 100 x 1 = 170.
    #[test]
    fn the_crews_numbers_are_kept_and_what_has_none_is_left_out() {
        let mut problem = quiet_site(100);
        problem.jobs = (1..=3).map(|n| job(n, vec![stage("al", 1, 10)])).collect();
        problem.capabilities = vec![
            capability(&["a1"], &[0, 1]),
            capability(&["a2"], &[0, 1]),
            capability(&["a3"], &[0, 5]),
        ];
        let plan = own_plan(&problem, &[2, 0, 2, 99]);
        assert_eq!((start(&plan, "j3"), start(&plan, "j1")), (0, 10));
        assert_eq!((plan.left_out, plan.loss), (vec!["j2".to_owned()], 170));
    }

    /// The copper for job 1 comes at 50. Job 2 takes 30 min and is done before that; job 3 takes 40 and would
    /// hold the cell until 70, so that it goes behind job 1, from 60 on.
    #[test]
    fn what_fits_before_a_job_that_waits_goes_before_it() {
        let mut problem = quiet_site(200);
        let mut copper = lot("cu-1", "cu", 10);
        copper.from = 50;
        problem.lots.push(copper);
        problem.jobs = vec![
            job(1, vec![stage("cu", 10, 10)]),
            job(2, vec![stage("al", 1, 30)]),
            job(3, vec![stage("al", 1, 40)]),
        ];
        problem.capabilities = vec![capability(&["a1", "a2", "a3"], &[0, 1, 2, 3])];
        let plan = own_plan(&problem, &[0, 1, 2]);
        let starts = ["j1", "j2", "j3"].map(|id| start(&plan, id));
        assert_eq!(starts, [50, 0, 60]);
        assert_eq!(check(&problem, &plan), []);
    }

    /// By its first option job 1 takes 40 min, by its second 10: at 2 an hour 80 and 20. With a debt of 70 the
    /// second loses 90, and the first is taken.
    #[test]
    fn of_its_options_a_job_takes_the_one_that_loses_least() {
        let mut problem = quiet_site(100);
        problem.jobs = vec![job(1, vec![stage("al", 1, 40)])];
        let mut quick = problem.jobs[0].options[0].clone();
        quick.id = "quick".to_owned();
        quick.operations[0].minutes = 10;
        problem.jobs[0].options.push(quick);
        problem.capabilities = vec![capability(&["a1"], &[0, 2])];
        assert_eq!(own_plan(&problem, &[0]).loss, 20);
        problem.jobs[0].options[1].debt = 70;
        assert_eq!(own_plan(&problem, &[0]).loss, 80);
    }

    /// Job 1 wants copper, of which there is none: it falls out, and the other keeps its place.
    #[test]
    fn what_cannot_be_built_falls_out() {
        let mut problem = quiet_site(100);
        problem.jobs = vec![
            job(1, vec![stage("cu", 1, 10)]),
            job(2, vec![stage("al", 1, 10)]),
        ];
        problem.capabilities = vec![capability(&["a1", "a2"], &[0, 1, 2])];
        let plan = own_plan(&problem, &[0, 1]);
        assert_eq!((ids(&plan), start(&plan, "j2")), (vec!["j2"], 0));
    }

    /// Twenty jobs, each asked for in front of those before it: no more than 20 x 21 / 2 places are tried, and
    /// after each of them it can be stopped. Then there is no plan.
    #[test]
    fn it_can_be_stopped() {
        let mut problem = quiet_site(1000);
        problem.jobs = (1..=20).map(|n| job(n, vec![stage("al", 1, 10)])).collect();
        let order: Vec<usize> = (0..20).collect();
        let mut asked = 0;
        let whole = super::own_plan(&problem, &order, &mut || {
            asked += 1;
            false
        });
        assert_eq!((whole.map(|plan| plan.jobs.len()), asked), (Some(20), 210));
        for most in [0, 1, 209] {
            let mut asked = 0;
            let stopped = super::own_plan(&problem, &order, &mut || {
                asked += 1;
                asked > most
            });
            assert_eq!((stopped, asked), (None, most + 1));
        }
    }
}
