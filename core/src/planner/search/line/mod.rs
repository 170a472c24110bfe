//! A faster search where all that is to be decided is the order of stages in one cell.
//!
//! That is so if each job is one stage in the same cell, nothing but the cell is ever short, and the loss is a
//! sum over jobs. Then a changed order is reckoned in some ten nanoseconds a stage, and only up to where it
//! goes on as before.

use fastrand::Rng;

use super::{real, whole};
use crate::planner::decode::Chunk;
use crate::planner::rules::{AssetRule, CellRule, LotRule, OperationRule, Rules, WorkRule};
use crate::planner::shares::Share;

mod anneal;
mod climb;

use anneal::Cooling;
use climb::Climb;

/// Simulated annealing over the order of stages, then climbing from what that found.
pub(super) struct Line {
    jobs: Vec<Stage>,
    cell: CellOf,
    cooling: &'static Cooling,
    horizon: i64,
    order: Vec<usize>,
    /// Behind each place of the order; first that before the first.
    states: Vec<State>,
    /// Behind each place of the changed order, as far as it was reckoned.
    changed: Vec<State>,
    trial: Vec<usize>,
    best: Vec<usize>,
    best_loss: i64,
    improved: bool,
    /// What is at stake with one job.
    stake: f64,
    /// None before the annealing is over.
    climb: Option<Climb>,
}

/// A change of the order.
#[derive(Debug, Clone, Copy)]
struct Move {
    from: usize,
    to: usize,
    /// So many stages in a row, ...
    size: usize,
    /// ... or two that change places.
    swap: bool,
}

/// A job, as far as the order matters.
struct Stage {
    job: usize,
    minutes: i64,
    /// 1 and up.
    powder: usize,
    ready: i64,
    /// What is lost a minute from when on, ...
    rate: (i64, i64),
    /// ... and what else is.
    more: Vec<(i64, i64)>,
}

struct CellOf {
    /// Minutes from each powder to each, a row for each; first the clean cell.
    set_up: Vec<i64>,
    powders: usize,
    warm_up: i64,
    periods: Vec<(i64, i64)>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct State {
    free: i64,
    /// Of the jobs so far.
    loss: i64,
    /// 1 and up; 0 before the first.
    period: usize,
    /// 0 in a clean cell.
    powder: usize,
}

impl Line {
    /// None if more than the order of stages is to be decided.
    pub fn new(rules: &Rules) -> Option<Self> {
        let [cell] = &rules.cells[..] else {
            return None;
        };
        let is_simple = cell.closed.is_empty()
            && rules.assets.iter().all(is_told_alone)
            && rules.capabilities.iter().all(|it| it.assets.len() == 1)
            && suffices(rules);
        let stages = (0..rules.jobs.len()).map(|job| stage(rules, job));
        let jobs: Vec<Stage> = stages.collect::<Option<_>>()?;
        if !is_simple || jobs.len() < 3 {
            return None;
        }
        let rate = jobs
            .iter()
            .flat_map(|it| it.more.iter().chain([&it.rate]))
            .map(|(_, rate)| rate)
            .sum::<i64>();
        let minutes = jobs.iter().map(|it| it.minutes).sum::<i64>();
        let begin = State {
            free: cell.free_from,
            loss: 0,
            period: 0,
            powder: cell.powder.map_or(0, |it| it + 1),
        };
        let order: Vec<usize> = (0..jobs.len()).collect();
        let mut line = Self {
            cooling: Cooling::of(cell),
            cell: CellOf::new(rules, cell),
            horizon: rules.horizon,
            states: vec![begin; jobs.len() + 1],
            changed: vec![begin; jobs.len() + 1],
            trial: order.clone(),
            best: order.clone(),
            order,
            best_loss: i64::MAX,
            improved: false,
            stake: real(rate) * real(minutes) / real(whole(jobs.len() * jobs.len())),
            climb: None,
            jobs,
        };
        line.settle();
        line.keep_if_best();
        Some(line)
    }

    /// The best order so far, if it is better than when this was asked before.
    pub fn improved(&mut self) -> Option<Vec<Chunk>> {
        let chunk = |at: &usize| Chunk::new(self.jobs[*at].job, 0, 1);
        std::mem::take(&mut self.improved).then(|| self.best.iter().map(chunk).collect())
    }

    fn loss(&self) -> i64 {
        self.states[self.jobs.len()].loss
    }

    /// Tries so many changes, `share` of the time that there is being over.
    pub fn run(&mut self, rng: &mut Rng, changes: u64, share: f64) {
        let annealed = self.cooling.share;
        if share < annealed {
            self.anneal(rng, changes, share / annealed);
        } else {
            self.climb(rng, changes);
        }
    }

    /// A place up to so many places away at which a row of so many stages can begin.
    fn place_near(&self, rng: &mut Rng, from: usize, size: usize, far: usize) -> usize {
        let count = self.order.len();
        let step = rng.usize(1..=far.min(count - 1));
        if rng.bool() {
            (from + step).min(count - size)
        } else {
            from.saturating_sub(step)
        }
    }

    /// Makes a change, unless the order then loses more than `most`; whether it is made.
    fn make(&mut self, change: Move, most: i64) -> bool {
        let Move {
            from,
            to,
            size,
            swap,
        } = change;
        let (first, last) = (from.min(to), from.max(to) + size);
        self.trial[first..last].copy_from_slice(&self.order[first..last]);
        let part = &mut self.trial[first..last];
        if swap {
            part.swap(0, last - first - 1);
        } else if to < from {
            part.rotate_right(size);
        } else {
            part.rotate_left(size);
        }
        let Some((reached, more)) = self.reckon(first, last, most) else {
            return false;
        };
        self.order[first..last].copy_from_slice(&self.trial[first..last]);
        self.states[first + 1..=reached].copy_from_slice(&self.changed[first + 1..=reached]);
        for state in &mut self.states[reached + 1..] {
            state.loss += more;
        }
        true
    }

    /// How far the changed order had to be reckoned, and what more it loses behind that; none if it loses more
    /// than `most`.
    fn reckon(&mut self, first: usize, last: usize, most: i64) -> Option<(usize, i64)> {
        let (count, total) = (self.order.len(), self.loss());
        let mut state = self.states[first];
        for at in first..count {
            let job = if at < last {
                self.trial[at]
            } else {
                self.order[at]
            };
            state = self.cell.next(&self.jobs[job], self.horizon, state);
            self.changed[at + 1] = state;
            let before = &self.states[at + 1];
            // What comes behind ends when it did, or later.
            let same = at + 1 >= last && state.powder == before.powder;
            let no_sooner = same && state.free >= before.free;
            let rest = if no_sooner { total - before.loss } else { 0 };
            if state.loss + rest > most {
                return None;
            }
            if same && (state.free, state.period) == (before.free, before.period) {
                return Some((at + 1, state.loss - before.loss));
            }
        }
        Some((count, 0))
    }

    /// Lays the order out from the beginning.
    fn settle(&mut self) {
        for at in 0..self.order.len() {
            let job = &self.jobs[self.order[at]];
            self.states[at + 1] = self.cell.next(job, self.horizon, self.states[at]);
        }
    }

    fn keep_if_best(&mut self) {
        if self.loss() < self.best_loss {
            self.best_loss = self.loss();
            self.improved = true;
            self.best.clone_from(&self.order);
        }
    }
}

impl CellOf {
    fn new(rules: &Rules, cell: &CellRule) -> Self {
        let powders = cell.set_up.len() + 1;
        let mut set_up = vec![cell.from_clean; powders];
        for from in &cell.set_up {
            set_up.push(0);
            set_up.extend(from);
        }
        Self {
            set_up,
            powders,
            warm_up: cell.warm_up,
            periods: rules.periods.clone(),
        }
    }

    /// Behind one more stage; what finds no place is left out.
    fn next(&self, stage: &Stage, horizon: i64, state: State) -> State {
        let change = self.set_up[state.powder * self.powders + stage.powder];
        let mut cold = if state.period == 0 { self.warm_up } else { 0 };
        let mut period = state.period.max(1);
        while let Some((from, to)) = self.periods.get(period - 1) {
            let end = stage.ready.max(state.free.max(*from) + change + cold) + stage.minutes;
            if end <= *to {
                return State {
                    free: end,
                    loss: state.loss + stage.lost_by(end.min(horizon)),
                    period,
                    powder: stage.powder,
                };
            }
            cold = self.warm_up;
            period += 1;
        }
        State {
            loss: state.loss + stage.lost_by(horizon),
            ..state
        }
    }
}

impl Stage {
    fn lost_by(&self, end: i64) -> i64 {
        let lost = |(from, rate): &(i64, i64)| rate * (end - from).max(0);
        lost(&self.rate) + self.more.iter().map(lost).sum::<i64>()
    }
}

/// A job that is one stage of one option.
fn stage(rules: &Rules, job: usize) -> Option<Stage> {
    let rule = &rules.jobs[job];
    let [option] = &rule.options[..] else {
        return None;
    };
    let [operation] = &option.operations[..] else {
        return None;
    };
    let WorkRule::Stage { powder, .. } = operation.work else {
        return None;
    };
    let plain = option.debt == 0 && operation.not_before == 0 && operation.within.is_none();
    let capabilities = rules.assets[rule.asset].capabilities.iter();
    let mut rates = capabilities
        .map(|it| &rules.capabilities[*it])
        .map(|it| (it.from, it.loss_per_hour[1] - it.loss_per_hour[0]));
    plain.then(|| Stage {
        job,
        minutes: operation.minutes,
        powder: powder + 1,
        ready: option.ready + operation.after,
        rate: rates.next().unwrap_or_default(),
        more: rates.collect(),
    })
}

/// A machine down from the begin with one job.
fn is_told_alone(asset: &AssetRule) -> bool {
    asset.jobs.len() <= 1 && asset.down_from == 0
}

/// Whether nothing but the cell is ever short: people, limits, powder and what is drawn.
fn suffices(rules: &Rules) -> bool {
    let draws_nothing = |it: &OperationRule| it.ways.iter().all(|way| way.draws.is_empty());
    let throughout = |share: &Share| {
        let room = &rules.shared[share.of];
        let free = |from: i64, to: i64| room.earliest(from, to - from, share.amount) == Some(from);
        rules.periods.iter().all(|(from, to)| free(*from, *to))
    };
    let in_one_lot = |(powder, lots): (usize, &Vec<usize>)| {
        let needed: i64 = rules.operations().map(|it| it.grams_of(powder)).sum();
        let mut lots = lots.iter().map(|lot| &rules.lots[*lot]);
        let enough =
            |lot: &LotRule| lot.from <= 0 && lot.until >= rules.horizon && lot.grams >= needed;
        needed == 0 || lots.any(enough)
    };
    rules.operations().all(|it| {
        draws_nothing(it) && it.shares.kept.is_empty() && it.shares.held.iter().all(throughout)
    }) && rules.lots_of.iter().enumerate().all(in_one_lot)
}

#[cfg(test)]
mod tests;
