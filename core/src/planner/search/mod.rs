//! Local search over the order of jobs, their options, and how far each is carried before the next.

mod moves;
mod starts;

use fastrand::Rng;

use super::decode::{Chunk, Outcome, State, Trail, earliest_finishes, plan_of};
use super::plan::Plan;
use super::problem::Problem;
use super::rules::Rules;

/// An anytime search for a good plan: simulated annealing in cycles that double in length, each from the
/// best plan so far.
///
/// For a seed and a number of iterations the plan is always the same.
pub struct Search<'a> {
    problem: &'a Problem,
    rules: Rules,
    empty: State,
    rng: Rng,
    /// The order searched from, with the state before each of its chunks.
    current: Vec<Chunk>,
    current_loss: i64,
    before: Vec<State>,
    trial: Vec<Chunk>,
    work: State,
    trail: Trail,
    best: Vec<Chunk>,
    best_loss: i64,
    plan: Plan,
    iterations: u64,
    cycle: Cycle,
}

/// One cooling, from warm to cold.
#[derive(Debug, Clone, Copy)]
struct Cycle {
    done: u64,
    length: u64,
}

impl<'a> Search<'a> {
    /// Prepares a search from the best of several starting orders; the problem is free of faults.
    #[must_use]
    pub fn new(problem: &'a Problem, seed: u64) -> Self {
        let rules = Rules::new(problem);
        let empty = State::new(&rules, &earliest_finishes(&rules));
        let starts = starts::starts(problem, &rules);
        let first_cycle = 60 * u64::try_from(problem.jobs.len()).unwrap_or(1).max(4);
        let mut search = Self {
            problem,
            rng: Rng::with_seed(seed),
            current: Vec::new(),
            current_loss: i64::MAX,
            before: Vec::new(),
            trial: Vec::new(),
            work: empty.clone(),
            trail: Trail::default(),
            best: Vec::new(),
            best_loss: i64::MAX,
            plan: Plan::default(),
            iterations: 0,
            cycle: Cycle { done: 0, length: first_cycle },
            rules,
            empty,
        };
        for start in starts {
            search.try_start(start);
        }
        search.restart();
        search.write_plan();
        search
    }

    /// Searches from this plan's order if it is better than what is known, for instance from the line-up
    /// that the crew works to.
    ///
    /// Jobs and options that the problem no longer has are passed over, jobs that it has gained go last.
    pub fn warm_start(&mut self, plan: &Plan) {
        let mut order = order_of(self.problem, plan);
        let named: std::collections::BTreeSet<_> = order.iter().map(|chunk| chunk.job).collect();
        let gained = (0..self.rules.jobs.len()).filter(|job| !named.contains(job));
        let with_options = gained.filter(|job| !self.rules.jobs[*job].options.is_empty());
        order.extend(with_options.map(|job| self.whole(job, 0)));
        let known = self.best_loss;
        self.try_start(order);
        if self.best_loss < known {
            self.restart();
            self.write_plan();
        }
    }

    /// Takes over another search's best order of the same problem if it is better.
    pub fn adopt(&mut self, other: &Self) {
        if other.best_loss < self.best_loss {
            self.best.clone_from(&other.best);
            self.best_loss = other.best_loss;
            self.plan.clone_from(&other.plan);
        }
    }

    /// Searches for so many iterations, or until `stop` says so; it is asked before each iteration.
    pub fn run(&mut self, iterations: u64, stop: &mut dyn FnMut() -> bool) {
        let known = self.best_loss;
        for _ in 0..iterations {
            if stop() {
                break;
            }
            self.step();
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

    fn whole(&self, job: usize, option: usize) -> Chunk {
        Chunk { job, option, upto: self.rules.jobs[job].options[option].operations.len() }
    }

    fn try_start(&mut self, order: Vec<Chunk>) {
        self.work.copy_from(&self.empty);
        let loss = self.decode_tail(&order, 0, i64::MAX);
        if let Some(loss) = loss.filter(|loss| *loss < self.best_loss) {
            self.best = order;
            self.best_loss = loss;
        }
    }

    /// Goes on from the best order.
    fn restart(&mut self) {
        self.current.clone_from(&self.best);
        self.current_loss = self.best_loss;
        self.remember(0);
    }

    fn step(&mut self) {
        self.iterations += 1;
        if self.cycle.done >= self.cycle.length {
            self.cycle = Cycle { done: 0, length: self.cycle.length * 2 };
            self.restart();
        }
        let most = self.worst_accepted();
        self.cycle.done += 1;
        self.trial.clone_from(&self.current);
        let mut trial = std::mem::take(&mut self.trial);
        if let Some(from) = moves::change(&self.rules, &mut self.rng, &mut trial) {
            self.work.copy_from(&self.before[from]);
            if let Some(loss) = self.decode_tail(&trial, from, most) {
                std::mem::swap(&mut self.current, &mut trial);
                self.current_loss = loss;
                self.remember(from);
                if loss < self.best_loss {
                    self.best.clone_from(&self.current);
                    self.best_loss = loss;
                }
            }
        }
        self.trial = trial;
    }

    /// The loss up to which a change is accepted: now and then a worse one, ever more rarely in a cycle.
    #[expect(clippy::cast_precision_loss, clippy::cast_possible_truncation, reason = "a random tolerance, not a sum")]
    fn worst_accepted(&mut self) -> i64 {
        let progress = self.cycle.done as f64 / self.cycle.length as f64;
        let warmth = self.current_loss as f64 * WARM * (COLD / WARM).powf(progress);
        let tolerance = -self.rng.f64().max(1e-12).ln() * warmth;
        self.current_loss.saturating_add(tolerance as i64)
    }

    /// Places the chunks from a position on into `work`; none if the loss would exceed `most`.
    fn decode_tail(&mut self, order: &[Chunk], from: usize, most: i64) -> Option<i64> {
        for chunk in &order[from..] {
            let outcome = self.work.place_chunk(&self.rules, *chunk, &mut self.trail);
            if outcome == Outcome::Torn || self.work.toll.total() > most {
                return None;
            }
        }
        Some(self.work.toll.total())
    }

    /// Keeps the states before each chunk of the current order, from a position on.
    fn remember(&mut self, from: usize) {
        self.before.resize_with(self.current.len() + 1, || self.empty.clone());
        for at in from..self.current.len() {
            let (done, rest) = self.before.split_at_mut(at + 1);
            rest[0].copy_from(&done[at]);
            rest[0].place_chunk(&self.rules, self.current[at], &mut self.trail);
        }
    }

    fn write_plan(&mut self) {
        self.plan = plan_of(self.problem, &self.rules, &self.empty, self.best.iter().copied());
    }
}

/// Warmth at the begin and at the end of a cycle, as a share of the loss.
const WARM: f64 = 0.01;
const COLD: f64 = 0.0001;

/// The order in which a plan's jobs begin, as whole jobs.
fn order_of(problem: &Problem, plan: &Plan) -> Vec<Chunk> {
    let chunk = |planned: &super::plan::PlannedJob| {
        let job = problem.jobs.iter().position(|job| job.id == planned.id)?;
        let option = problem.jobs[job].options.iter().position(|option| option.id == planned.option)?;
        let upto = problem.jobs[job].options[option].operations.len();
        let begin = planned.operations.first().map_or(0, |spot| spot.start);
        Some((begin, Chunk { job, option, upto }))
    };
    let mut order: Vec<_> = plan.jobs.iter().filter_map(chunk).collect();
    order.sort_by_key(|(begin, chunk)| (*begin, chunk.job));
    order.dedup_by_key(|(_, chunk)| chunk.job);
    order.into_iter().map(|(_, chunk)| chunk).collect()
}
