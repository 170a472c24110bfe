//! Local search over the order of jobs, their options, and how far each is carried before the next.

mod dispatch;
mod line;
mod moves;
mod order;
mod prices;
mod starts;
mod tally;
mod track;

use std::ops::Range;

use fastrand::Rng;

use super::crew_order::{CrewOrder, crew_plan};
use super::decode::{Chunk, earliest_finishes, plan_of};
use super::plan::Plan;
use super::problem::{Job, Problem};
use super::rules::Rules;
use line::Line;
use moves::change;
use order::{Bench, Order, Trial, sorted_by_begin};

/// An anytime search for a good plan: simulated annealing, cooled once over the whole time that it is
/// given; towards its end it goes on from the best plan so far.
///
/// For a seed, a number of iterations and their shares of the time the plan is always the same. It is never
/// worse than a crew's own.
pub struct Search<'a> {
    problem: &'a Problem,
    rules: Rules,
    rng: Rng,
    bench: Bench,
    /// The order searched from.
    current: Order,
    trial: Trial,
    best: Vec<Chunk>,
    best_loss: i64,
    plan: Plan,
    iterations: u64,
    /// What is at stake with one job.
    stake: f64,
    /// One in so many changes sorts the order.
    rounds_to_sort: u64,
    /// Where only the order of stages is to be decided.
    line: Option<Line>,
}

impl<'a> Search<'a> {
    /// Prepares a search from the best of several starting orders; the problem is free of faults.
    #[must_use]
    pub fn new(problem: &'a Problem, seed: u64) -> Self {
        let rules = Rules::new(problem);
        let mut bench = Bench::new(&rules, earliest_finishes(&rules));
        let mut orders = starts::starts(problem, &rules).into_iter();
        let mut current = Order::new(&rules, &mut bench, &orders.next().unwrap_or_default());
        for start in orders {
            let order = Order::new(&rules, &mut bench, &start);
            if order.loss < current.loss {
                current = order;
            }
        }
        let crew = [CrewOrder::OldestFirst, CrewOrder::LargestRateFirst]
            .map(|order| crew_plan(problem, order));
        let plan = crew
            .into_iter()
            .min_by_key(|plan| plan.loss)
            .unwrap_or_default();
        let mut search = Self {
            problem,
            rng: Rng::with_seed(seed),
            bench,
            best: current.chunks.clone(),
            best_loss: current.loss,
            current,
            trial: Trial::default(),
            plan,
            iterations: 0,
            stake: stake(&rules),
            rounds_to_sort: rounds_to_sort(problem.jobs.len()),
            line: Line::new(&rules),
            rules,
        };
        search.write_plan();
        search
    }

    /// Searches from this plan's order if it is better than what is known, for instance from the line-up
    /// that the crew works to.
    ///
    /// Jobs and options that the problem no longer has are passed over, jobs that it has gained go last.
    pub fn warm_start(&mut self, plan: &Plan) {
        let mut chunks = order_of(self.problem, &self.rules, plan);
        let gained = self
            .with_options()
            .filter(|job| !chunks.iter().any(|chunk| chunk.job == *job));
        let gained: Vec<_> = gained
            .map(|job| starts::whole(&self.rules, job, 0))
            .collect();
        chunks.extend(gained);
        let order = Order::new(&self.rules, &mut self.bench, &chunks);
        if order.loss < self.best_loss {
            self.best.clone_from(&order.chunks);
            self.best_loss = order.loss;
            self.current = order;
            self.write_plan();
        }
    }

    /// Takes over another search's best order of the same problem if it is better.
    pub fn adopt(&mut self, other: &Self) {
        if other.best_loss < self.best_loss {
            self.best.clone_from(&other.best);
            self.best_loss = other.best_loss;
        }
        if other.plan.loss < self.plan.loss {
            self.plan.clone_from(&other.plan);
        }
    }

    /// Searches for so many iterations, or until `stop` says so; it is asked before each iteration.
    ///
    /// `share` is how far through all the time that it is given the search is, from 0 to 1, at the begin and
    /// at the end of these iterations: the later, the more seldom a worse plan is gone on from.
    #[expect(clippy::cast_precision_loss, reason = "a share of the time, not a sum")]
    pub fn run(&mut self, iterations: u64, share: Range<f64>, stop: &mut dyn FnMut() -> bool) {
        let known = self.best_loss;
        if share.start >= LAST && self.current.loss > self.best_loss {
            self.current = Order::new(&self.rules, &mut self.bench, &self.best);
        }
        let each = (share.end - share.start) / iterations.max(1) as f64;
        for n in 0..iterations {
            if stop() {
                break;
            }
            let share = share.start + each * n as f64;
            match &mut self.line {
                Some(line) => line.run(&mut self.rng, CHANGES, share),
                None => self.step(share),
            }
            self.iterations += 1;
        }
        if let Some(chunks) = self.line.as_mut().and_then(Line::improved) {
            self.current = Order::new(&self.rules, &mut self.bench, &chunks);
            self.keep_if_best();
        }
        if self.best_loss < known {
            self.write_plan();
        }
    }

    /// The best plan so far.
    #[must_use]
    pub fn best(&self) -> &Plan {
        &self.plan
    }

    /// The loss of the best plan so far, as rate x minutes.
    #[must_use]
    pub fn best_loss(&self) -> i64 {
        self.plan.loss
    }

    /// How many changes have been tried.
    #[must_use]
    pub fn iterations(&self) -> u64 {
        self.iterations
    }

    fn with_options(&self) -> impl Iterator<Item = usize> + use<'_, 'a> {
        (0..self.rules.jobs.len()).filter(|job| !self.rules.jobs[*job].options.is_empty())
    }

    fn step(&mut self, share: f64) {
        let most = self.worst_accepted(share);
        if self.rng.u64(0..self.rounds_to_sort) == 0 {
            return self.sort(most);
        }
        if !change(&self.rules, &mut self.rng, &self.current, &mut self.trial) {
            return;
        }
        let trial = &mut self.trial;
        let loss = self
            .current
            .try_out(&self.rules, &mut self.bench, trial, most);
        // A job parted for nothing only makes the order longer.
        let longer = trial.chunks.len() > self.current.chunks.len();
        if loss.is_some_and(|loss| loss != self.current.loss || !longer) {
            self.current.accept(&self.rules, &mut self.bench, trial);
            self.keep_if_best();
        }
    }

    /// Puts the operations of the current order in the order in which they begin, if that is no dearer than
    /// `most`: a step that waits anyway then gives way to what begins before it.
    fn sort(&mut self, most: i64) {
        let chunks = self.current.by_begin(&self.rules, &mut self.bench);
        let order = Order::new(&self.rules, &mut self.bench, &chunks);
        if order.loss <= most {
            self.current = order;
            self.keep_if_best();
        }
    }

    fn keep_if_best(&mut self) {
        if self.current.loss < self.best_loss {
            self.best.clone_from(&self.current.chunks);
            self.best_loss = self.current.loss;
        }
    }

    /// The loss up to which a change is accepted: now and then a worse one, ever more rarely, and in the end
    /// none.
    #[expect(
        clippy::cast_possible_truncation,
        reason = "a random tolerance, not a sum"
    )]
    fn worst_accepted(&mut self, share: f64) -> i64 {
        let share = share.clamp(0.0, 1.0);
        let quench = ((1.0 - share) / (1.0 - LAST)).min(1.0);
        let warmth = self.stake * WARM * (COLD / WARM).powf(share) * quench;
        let tolerance = -self.rng.f64().max(1e-12).ln() * warmth;
        self.current.loss.saturating_add(tolerance as i64)
    }

    /// Writes the best order down, with what is parked behind it: it may fit even where it stops no loss.
    fn write_plan(&mut self) {
        let parked: Vec<_> = self
            .with_options()
            .filter(|job| !self.best.iter().any(|c| c.job == *job))
            .collect();
        let parked = parked
            .into_iter()
            .map(|job| starts::whole(&self.rules, job, 0));
        let best = || self.best.iter().copied();
        let mut plan = plan_of(self.problem, &self.rules, best().chain(parked));
        if plan.loss > self.best_loss {
            plan = plan_of(self.problem, &self.rules, best());
        }
        if plan.loss < self.plan.loss {
            self.plan = plan;
        }
    }
}

/// So many changes of the order of stages count as one iteration.
const CHANGES: u64 = 64;

/// Sorted, an order is longer, and changes of single jobs in it are of single operations: that helps small
/// problems most.
fn rounds_to_sort(jobs: usize) -> u64 {
    let jobs = u64::try_from(jobs).unwrap_or(u64::MAX);
    (jobs.saturating_mul(jobs) / 2).max(20)
}

/// What is at stake with one job: the mean loss of a machine over the mean duration of a job, nights included.
fn stake(rules: &Rules) -> f64 {
    let rates = rules
        .capabilities
        .iter()
        .filter_map(|it| it.loss_per_hour.last());
    let machines: usize = rules.capabilities.iter().map(|it| it.assets.len()).sum();
    let options = rules.jobs.iter().filter_map(|job| job.options.first());
    let minutes = options
        .flat_map(|option| &option.operations)
        .map(|it| real(it.minutes));
    let on_duty: i64 = rules.periods.iter().map(|(from, to)| to - from).sum();
    let rate = rates.map(|rate| real(*rate)).sum::<f64>() / real(whole(machines.max(1)));
    let per_job = minutes.sum::<f64>() / real(whole(rules.jobs.len().max(1)));
    rate * per_job * real(rules.horizon) / real(on_duty.max(1))
}

fn whole(n: usize) -> i64 {
    i64::try_from(n).unwrap_or(i64::MAX)
}

#[expect(
    clippy::cast_precision_loss,
    reason = "measures to search by, not sums"
)]
fn real(n: i64) -> f64 {
    n as f64
}

/// Warmth at the begin, and at the end before it falls to nothing, as a share of the stake.
const WARM: f64 = 1.5;
const COLD: f64 = 0.15;
/// From this share of the time on, each run goes on from the best plan so far, and the warmth falls to nothing.
const LAST: f64 = 0.9;

/// The order in which a plan's operations begin.
fn order_of(problem: &Problem, rules: &Rules, plan: &Plan) -> Vec<Chunk> {
    let mut begun = Vec::new();
    for planned in &plan.jobs {
        let place = |job: &Job| {
            let mut options = job.options.iter();
            options.position(|option| option.id == planned.option)
        };
        let job = problem.jobs.iter().position(|job| job.id == planned.id);
        let Some((job, option)) = job.and_then(|job| Some((job, place(&problem.jobs[job])?)))
        else {
            continue;
        };
        let operations = problem.jobs[job].options[option].operations.len();
        if operations == 0 {
            begun.push((0, Chunk::new(job, option, 0)));
        }
        let spots = planned.operations.iter().take(operations).zip(1..);
        begun.extend(spots.map(|(spot, upto)| {
            let begin = spot.setup_from.unwrap_or(spot.start);
            (begin, Chunk::new(job, option, upto))
        }));
    }
    sorted_by_begin(rules, begun)
}
