use super::ends::Ends;
use super::memo::Memo;
use super::relaxed::{Relaxed, Spot};
use crate::planner::bound::{Rest, Stand};
use crate::planner::decode::{Chunk, Toll, plan_of};
use crate::planner::plan::Plan;
use crate::planner::problem::Problem;
use crate::planner::rules::Rules;

/// All orders of a problem, those that begin alike on one branch.
pub(super) struct Tree<'a> {
    problem: &'a Problem,
    rules: &'a Rules,
    ends: Ends,
    state: Relaxed<'a>,
    memo: Memo,
    times: Vec<i32>,
    /// The operations placed so far, and what they cost at the prices of the case.
    path: Vec<Spot>,
    paid: i64,
    toll: Toll,
    /// The least loss of a plan so far.
    pub best: i64,
    pub better: Option<Plan>,
    /// The least loss of an order that is better than that here, and was not as a plan.
    pub unresolved: i64,
    /// So many orders have been looked at.
    pub orders: u64,
    /// Whether it was stopped.
    pub stopped: bool,
}

/// What a walk goes by.
struct Walk<'a> {
    rest: &'a Rest<'a>,
    /// It ends when so many orders have been looked at.
    until: u64,
    stop: &'a mut dyn FnMut(u64) -> bool,
}

/// So many orders are looked at between two questions whether to stop.
const ASKED: u64 = 256;

impl<'a> Tree<'a> {
    pub fn new(problem: &'a Problem, rules: &'a Rules, best: i64) -> Self {
        let state = Relaxed::new(rules);
        Self {
            problem,
            rules,
            ends: Ends::new(rules, &state),
            state,
            memo: Memo::default(),
            times: Vec::new(),
            path: Vec::new(),
            paid: 0,
            toll: Toll::new(rules, &vec![rules.horizon; rules.jobs.len()]),
            best,
            better: None,
            unresolved: i64::MAX,
            orders: 0,
            stopped: false,
        }
    }

    /// Looks at all orders of a case that could be better than the best plan; false if it ended before that.
    pub fn walk(
        &mut self,
        rest: &Rest<'_>,
        orders: u64,
        stop: &mut dyn FnMut(u64) -> bool,
    ) -> bool {
        self.memo.clear();
        let until = self.orders.saturating_add(orders);
        self.visit(&mut Walk { rest, until, stop })
    }

    /// The orders that begin like the one placed so far.
    fn visit(&mut self, walk: &mut Walk<'_>) -> bool {
        self.orders += 1;
        self.stopped |= self.orders.is_multiple_of(ASKED) && (walk.stop)(self.orders);
        if self.stopped || self.orders > walk.until {
            return false;
        }
        if self.state.is_whole() {
            self.finish();
        }
        for spot in self.state.next() {
            let before = self.state.place(&spot);
            let price = self.price(walk.rest, &spot);
            self.paid += price;
            self.path.push(spot);
            let whole = !self.is_promising(walk.rest) || self.visit(walk);
            self.paid -= price;
            if let Some(spot) = self.path.pop() {
                self.state.undo(&spot, &before);
            }
            if !whole {
                return false;
            }
        }
        true
    }

    /// Whether an order that begins like this one could be better than the best plan.
    fn is_promising(&mut self, rest: &Rest<'_>) -> bool {
        let ends = |job| self.ends.of(self.rules, &self.state, job);
        let alone = lost(self.rules, &mut self.toll, ends) + self.state.debt();
        if alone >= self.best {
            return false;
        }
        self.state.times(&mut self.times);
        if !self.memo.is_new(self.state.key(), &self.times) {
            return false;
        }
        let state = &self.state;
        let stand = |job: usize| match (state.under_way(job), state.end(job)) {
            (Some((option, at)), _) => Stand::Begun(option, at, state.from(job, option, at)),
            (None, Some(end)) => Stand::Finished(end),
            (None, None) => Stand::Open,
        };
        let begin = |job, option| state.from(job, option, 0);
        rest.least(self.rules, self.paid, stand, begin) + state.debt() < self.best
    }

    /// What the operation placed last costs.
    fn price(&self, rest: &Rest<'_>, spot: &Spot) -> i64 {
        self.state.last(spot).map_or(0, |at| {
            rest.price((spot.job, spot.option, at), self.state.placed(spot, at))
        })
    }

    /// Writes the order down as a plan if it is better here; what is not begun is left out.
    fn finish(&mut self) {
        let horizon = self.rules.horizon;
        let ends = |job| self.state.end(job).unwrap_or(horizon);
        let loss = lost(self.rules, &mut self.toll, ends) + self.state.debt();
        if loss >= self.best {
            return;
        }
        let by_start = self.plan(&self.path);
        let mut by_begin = self.path.clone();
        by_begin.sort_by_key(|spot| spot.begin);
        let by_begin = self.plan(&by_begin);
        let plan = if by_begin.loss < by_start.loss {
            by_begin
        } else {
            by_start
        };
        if plan.loss > loss {
            self.unresolved = self.unresolved.min(loss);
        }
        if plan.loss < self.best {
            self.best = plan.loss;
            self.better = Some(plan);
        }
    }

    fn plan(&self, spots: &[Spot]) -> Plan {
        let mut upto = vec![0; self.rules.jobs.len()];
        let chunks = spots.iter().map(|spot| {
            let operations = &self.rules.jobs[spot.job].options[spot.option].operations;
            upto[spot.job] = (upto[spot.job] + 1).min(operations.len());
            Chunk::new(spot.job, spot.option, upto[spot.job])
        });
        let may_part = |it: &Chunk| self.rules.jobs[it.job].options[it.option].may_part(it.upto);
        plan_of(self.problem, self.rules, chunks.filter(may_part))
    }
}

/// The loss with each job finished at the minute told for it.
fn lost(rules: &Rules, toll: &mut Toll, end: impl Fn(usize) -> i64) -> i64 {
    for (n, asset) in rules.assets.iter().enumerate() {
        if let Some(back) = asset.jobs.iter().map(|job| end(*job)).max() {
            toll.set_back(rules, n, back.min(rules.horizon));
        }
    }
    toll.total()
}
