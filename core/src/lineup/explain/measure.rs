//! What a change of the problem is worth, beyond what the search finds by luck.

use super::more::{More, with};
use crate::code::RequestCode;
use crate::lineup::hold::given_up;
use crate::lineup::line_up::Verified;
use crate::lineup::places::Ends;
use crate::lineup::unlock::complete;
use crate::planner::{Plan, Problem, Search, check, loss};
use crate::situation::Situation;

/// How long each plan is searched for. For a budget the plans are always the same.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Budget {
    /// Changes tried.
    pub iterations: u64,
    /// Another seed tries other changes; so do the ones after it, by which noise is measured.
    pub seed: u64,
}

/// So many searches, each from the best plan of those before, settle the plan that all is measured from.
const SETTLING: u64 = 3;

/// So many seeds beside the first tell how far searches of one problem lie apart.
const OTHERS: u64 = 3;

/// In so many slices a search is run: at the begin of late ones it goes on from its best plan.
const SLICES: u64 = 20;

/// A machine back less than this sooner is not worth telling, in minutes.
const SAME_MIN: i64 = 15;

/// A plan from which changes of its problem are measured, and the noise of doing so.
#[derive(Debug, Clone)]
pub struct Measure {
    pub(super) problem: Problem,
    /// The plan that all searches start from.
    settled: Plan,
    /// What the search finds from there with the seed that all others have too.
    pub(super) base: Plan,
    /// How far searches of the same problem with other seeds lie apart.
    pub(super) noise: i64,
    budget: Budget,
}

/// What more of something is worth.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Worth {
    /// The loss that it averts.
    pub averted: Averted,
    /// Requests that then have a place and had none.
    pub freed: Vec<RequestCode>,
    /// Requests whose machine is back sooner, and by how many minutes; the greatest first.
    pub sooner: Vec<(RequestCode, i64)>,
}

/// Loss averted, as rate x minutes: divide by 60 for the loss itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Averted {
    /// None was found, by a search that always ends alike.
    Nothing,
    /// No more than by how much searches of the same problem differ.
    NotMeasurable,
    /// So much, above zero.
    Loss(i64),
}

impl Measure {
    /// Settles a plan by further searches and measures their noise; none if stopped.
    #[must_use]
    pub fn new(
        verified: &Verified,
        budget: Budget,
        stop: &mut dyn FnMut() -> bool,
    ) -> Option<Self> {
        let problem = verified.problem().clone();
        let mut settled = verified.plan().clone();
        let seeds = |from: u64, count: u64| {
            let seed = move |n| budget.seed.wrapping_add(from + n);
            (0..count).map(move |n| Budget {
                seed: seed(n),
                ..budget
            })
        };
        for budget in seeds(1 + OTHERS, SETTLING) {
            settled = best(&problem, &settled, budget, stop)?;
        }
        let base = best(&problem, &settled, budget, stop)?;
        let (mut least, mut most) = (base.loss, base.loss);
        for budget in seeds(1, OTHERS) {
            let other = best(&problem, &settled, budget, stop)?.loss;
            (least, most) = (least.min(other), most.max(other));
        }
        Some(Self {
            problem,
            settled,
            base,
            noise: most - least,
            budget,
        })
    }

    /// How far searches of the same problem with other seeds lie apart, as rate x minutes.
    #[must_use]
    pub const fn noise(&self) -> i64 {
        self.noise
    }

    /// By how much the plan that all is measured from loses less than this one, as rate x minutes.
    #[must_use]
    pub fn better_than(&self, plan: &Plan) -> i64 {
        loss(&self.problem, plan) - self.base.loss
    }

    /// What these are worth together, at hand from that minute on; none if stopped.
    ///
    /// Both plans have the same seed, the same number of changes tried and the same begin. It is never
    /// below nothing: with more at hand the plan without it can still be carried out.
    #[must_use]
    pub fn worth(
        &self,
        situation: &Situation,
        more: &[More],
        from: i64,
        stop: &mut dyn FnMut() -> bool,
    ) -> Option<Worth> {
        let problem = with(situation, &self.problem, more, from);
        self.worth_of(&problem, stop)
    }

    /// What holding a keep-back costs now: the loss that giving up all of it averts; none if stopped.
    #[must_use]
    pub fn cost_of_holding(
        &self,
        situation: &Situation,
        keep_back: i64,
        stop: &mut dyn FnMut() -> bool,
    ) -> Option<Worth> {
        let problem = given_up(situation, &self.problem, keep_back);
        self.worth_of(&problem, stop)
    }

    /// The best plan found of a problem in which every plan of the measured one can still be carried out, by
    /// the same search, and what it is worth; none if stopped.
    ///
    /// Where another plan is known that can be carried out there, the search begins with the better of the
    /// two, so that the plan found is no worse than either.
    #[must_use]
    pub fn planned(
        &self,
        problem: &Problem,
        known: Option<&Plan>,
        stop: &mut dyn FnMut() -> bool,
    ) -> Option<(Plan, Worth)> {
        let sound = known.filter(|plan| check(problem, &with_loss(problem, plan)).is_empty());
        let better = |plan: &&Plan| loss(problem, plan) < loss(problem, &self.settled);
        let from = sound.filter(better).unwrap_or(&self.settled);
        let found = best(problem, from, self.budget, stop)?;
        let worth = self.told(problem, &found);
        Some((found, worth))
    }

    /// What a problem is worth in which every plan of the measured one can still be carried out.
    fn worth_of(&self, problem: &Problem, stop: &mut dyn FnMut() -> bool) -> Option<Worth> {
        let found = self.search(problem, stop)?;
        Some(self.told(problem, &found))
    }

    fn told(&self, problem: &Problem, found: &Plan) -> Worth {
        let gain = (self.base.loss - found.loss).max(0);
        let averted = self.judged(gain);
        let mut worth = Worth {
            averted,
            freed: Vec::new(),
            sooner: Vec::new(),
        };
        if matches!(averted, Averted::Loss(_)) {
            self.tell(problem, found, &mut worth);
        }
        worth
    }

    /// The plan that all is measured from.
    #[must_use]
    pub const fn base(&self) -> &Plan {
        &self.base
    }

    /// The problem that all is measured in.
    #[must_use]
    pub const fn problem(&self) -> &Problem {
        &self.problem
    }

    const fn judged(&self, gain: i64) -> Averted {
        if gain > self.noise {
            Averted::Loss(gain)
        } else if self.noise == 0 {
            Averted::Nothing
        } else {
            Averted::NotMeasurable
        }
    }

    /// The best plan of a problem like the measured one, by the same search.
    pub(super) fn search(&self, problem: &Problem, stop: &mut dyn FnMut() -> bool) -> Option<Plan> {
        best(problem, &self.settled, self.budget, stop)
    }

    fn tell(&self, problem: &Problem, found: &Plan, worth: &mut Worth) {
        let (before, after) = (
            Ends::of(&self.problem, &self.base),
            Ends::of(problem, found),
        );
        let here = |plan: &Plan, id: &str| plan.jobs.iter().any(|p| p.id == id);
        for job in &problem.jobs {
            let Ok(request) = job.id.parse::<RequestCode>() else {
                continue;
            };
            match (here(&self.base, &job.id), here(found, &job.id)) {
                (false, true) => worth.freed.push(request),
                (true, true) => {
                    let back = |ends: &Ends| ends.back(&job.asset);
                    let ends = back(&before).zip(back(&after));
                    let minutes = ends.map_or(0, |(before, after)| before - after);
                    if minutes >= SAME_MIN {
                        worth.sooner.push((request, minutes));
                    }
                }
                _ => {}
            }
        }
        worth.sooner.sort_by_key(|(_, minutes)| -minutes);
    }
}

/// The best plan found from a known one; that one where the search finds none that loses less.
fn best(
    problem: &Problem,
    known: &Plan,
    budget: Budget,
    stop: &mut dyn FnMut() -> bool,
) -> Option<Plan> {
    let mut search = Search::new(problem, budget.seed);
    search.warm_start(known);
    let each = budget.iterations.div_ceil(SLICES);
    for slice in 0..SLICES {
        #[expect(clippy::cast_precision_loss, reason = "a share of the time, not a sum")]
        let share = |n: u64| n as f64 / SLICES as f64;
        search.run(each, share(slice)..share(slice + 1), stop);
        if stop() {
            return None;
        }
    }
    let found = complete(problem, search.best());
    let known = with_loss(problem, known);
    let sound = [known, found]
        .into_iter()
        .filter(|plan| check(problem, plan).is_empty());
    sound.min_by_key(|plan| plan.loss)
}

/// A plan as one of this problem: its loss there, and nothing said of how good that is.
fn with_loss(problem: &Problem, plan: &Plan) -> Plan {
    Plan {
        loss: loss(problem, plan),
        bound: None,
        proven: None,
        ..plan.clone()
    }
}
