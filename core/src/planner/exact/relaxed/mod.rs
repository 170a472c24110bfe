//! Operations placed in the order in which they start, by those rules under which the same order, with some
//! operations earlier, leaves none of the others later.
//!
//! Left out: what is shared during set-up; when lots expire while others are left, and which of them a mix
//! comes from; that the steps of one load start together; longest waits; what is held on while the operations
//! behind wait; the floors of earlier draws when later ones come. What is drawn counts in the order of starts.
//! A cell is warmed up at the begin of each period, since whatever comes first there does so.

mod lots;
mod next;

use crate::planner::decode::Room;
use crate::planner::rules::{CellRule, JobRule, OperationRule, OptionRule, Rules, WorkRule};
use crate::planner::shares::Share;

use super::memo::Key;
use lots::Lots;

/// What the operations placed so far have taken.
pub(super) struct Relaxed<'a> {
    rules: &'a Rules,
    shared: Vec<Room>,
    cells: Vec<Cell>,
    /// By store.
    drawn: Vec<i64>,
    /// By powder.
    powders: Vec<Lots>,
    jobs: Vec<Option<Begun>>,
    /// The start of the last operation: none of those to come starts sooner.
    now: i64,
    debt: i64,
    /// All that there is from a minute on, `(minute, amount)`, by store.
    stores: Vec<Vec<(i64, i64)>>,
    /// By cell and powder: the shortest set-up for it, and the shortest behind another powder.
    set_ups: Vec<Vec<(i64, i64)>>,
}

#[derive(Debug, Clone, Copy)]
struct Cell {
    free: i64,
    powder: Option<usize>,
}

/// A job with operations placed, or with the use of an option without any.
#[derive(Debug, Clone, Copy)]
struct Begun {
    option: usize,
    placed: usize,
    end: i64,
}

/// Where an operation is placed.
#[derive(Debug, Clone)]
pub(super) struct Spot {
    pub job: usize,
    pub option: usize,
    /// With its set-up.
    pub begin: i64,
    pub start: i64,
    /// The cell of a stage.
    cell: Option<usize>,
    way: usize,
}

/// What is to be put back when an operation is taken away again.
pub(super) struct Before {
    now: i64,
    job: Option<Begun>,
    cell: Option<Cell>,
}

impl<'a> Relaxed<'a> {
    /// With nothing placed.
    pub fn new(rules: &'a Rules) -> Self {
        let cell = |rule: &CellRule| Cell {
            free: rule.free_from,
            powder: rule.powder,
        };
        Self {
            shared: rules.shared.clone(),
            cells: rules.cells.iter().map(cell).collect(),
            drawn: vec![0; rules.stores.len()],
            powders: (0..rules.lots_of.len())
                .map(|it| Lots::new(rules, it))
                .collect(),
            jobs: vec![None; rules.jobs.len()],
            now: 0,
            debt: 0,
            stores: rules.stores.iter().map(|it| summed(it.comings())).collect(),
            set_ups: rules
                .cells
                .iter()
                .map(|cell| set_ups(rules, cell))
                .collect(),
            rules,
        }
    }

    /// Of the options of the jobs that are begun.
    pub fn debt(&self) -> i64 {
        self.debt
    }

    /// Option and next operation of a job that is begun and not finished.
    pub fn under_way(&self, job: usize) -> Option<(usize, usize)> {
        let begun = self.jobs[job]?;
        let operations = &self.option(job, begun.option).operations;
        (begun.placed < operations.len()).then_some((begun.option, begun.placed))
    }

    /// The end of a job's last operation so far.
    pub fn end(&self, job: usize) -> Option<i64> {
        self.jobs[job].map(|it| it.end)
    }

    /// Whether every job that is begun is finished.
    pub fn is_whole(&self) -> bool {
        (0..self.jobs.len()).all(|job| self.under_way(job).is_none())
    }

    /// The first minute that a job's next operation may take, whatever is placed before it.
    pub fn from(&self, job: usize, option: usize, at: usize) -> i64 {
        let rule = self.option(job, option);
        let ready = self.jobs[job].map_or(rule.ready, |it| it.end);
        let Some(operation) = rule.operations.get(at) else {
            return ready;
        };
        let from = (ready + operation.after).max(self.now);
        let WorkRule::Stage { cells, powder, .. } = &operation.work else {
            return from;
        };
        let in_cells = cells.iter().map(|cell| {
            let now = self.cells[*cell];
            let (least, other) = self.set_ups[*cell][*powder];
            // The first stage of a powder comes behind one of another.
            now.free
                + if now.powder == Some(*powder) {
                    least
                } else {
                    other
                }
        });
        from.max(in_cells.min().unwrap_or(0))
    }

    fn option(&self, job: usize, option: usize) -> &'a OptionRule {
        &self.rules.jobs[job].options[option]
    }

    /// The position of the operation placed last, where a spot says; none for a part without operations.
    pub fn last(&self, spot: &Spot) -> Option<usize> {
        let at = self.jobs[spot.job]?.placed.checked_sub(1)?;
        let operations = &self.option(spot.job, spot.option).operations;
        (at < operations.len()).then_some(at)
    }

    /// The begin and start of an operation at a position of its option, and which of its cells it is in.
    pub fn placed(&self, spot: &Spot, at: usize) -> (i64, i64, usize) {
        let operation = &self.option(spot.job, spot.option).operations[at];
        let cell = match (&operation.work, spot.cell) {
            (WorkRule::Stage { cells, .. }, Some(cell)) => {
                cells.iter().position(|other| *other == cell)
            }
            _ => None,
        };
        (spot.begin, spot.start, cell.unwrap_or(0))
    }

    /// Places an operation where [`Relaxed::next`] says.
    pub fn place(&mut self, spot: &Spot) -> Before {
        let before = Before {
            now: self.now,
            job: self.jobs[spot.job],
            cell: spot.cell.map(|cell| self.cells[cell]),
        };
        let option = self.option(spot.job, spot.option);
        let at = before.job.map_or(0, |it| it.placed);
        if before.job.is_none() {
            self.debt += option.debt;
        }
        let mut end = option.ready;
        if let Some(operation) = option.operations.get(at) {
            self.now = self.now.max(spot.start);
            end = spot.start + operation.minutes;
            self.take(operation, spot, 1);
            if let (Some(cell), WorkRule::Stage { powder, .. }) = (spot.cell, &operation.work) {
                self.cells[cell] = Cell {
                    free: end,
                    powder: Some(*powder),
                };
            }
        }
        self.jobs[spot.job] = Some(Begun {
            option: spot.option,
            placed: at + 1,
            end,
        });
        before
    }

    /// Takes away the operation that was placed last.
    pub fn undo(&mut self, spot: &Spot, before: &Before) {
        let option = self.option(spot.job, spot.option);
        let at = before.job.map_or(0, |it| it.placed);
        if before.job.is_none() {
            self.debt -= option.debt;
        }
        if let Some(operation) = option.operations.get(at) {
            self.take(operation, spot, -1);
        }
        if let (Some(cell), Some(was)) = (spot.cell, before.cell) {
            self.cells[cell] = was;
        }
        self.jobs[spot.job] = before.job;
        self.now = before.now;
    }

    fn take(&mut self, operation: &OperationRule, spot: &Spot, times: i64) {
        let end = spot.start + operation.minutes;
        let shares = &operation.shares;
        for Share { of, amount } in &shares.held {
            self.shared[*of].take(spot.start, end, times * amount);
        }
        for kept in &shares.kept {
            let Share { of, amount } = kept.share;
            // It is held longer where what follows waits, but when that is cannot be told yet.
            self.shared[of].take(end, end + kept.minutes, times * amount);
        }
        for draw in &operation.ways[spot.way].draws {
            self.drawn[draw.store] += times * draw.size.amount;
        }
        let WorkRule::Stage {
            powder,
            grams: grams @ 1..,
            one_lot,
            ..
        } = operation.work
        else {
            return;
        };
        if times > 0 {
            self.powders[powder].take(grams, one_lot);
        } else {
            self.powders[powder].give_back(grams, one_lot);
        }
    }

    /// What is done so far, and with what: orders of one key differ in times only.
    pub fn key(&self) -> Key {
        let done = self
            .jobs
            .iter()
            .zip(&self.rules.jobs)
            .fold(0_u128, |key, (job, rule)| {
                let (states, state) = states(rule, *job);
                key.wrapping_mul(states).wrapping_add(state)
            });
        let powders = self
            .cells
            .iter()
            .map(|it| it.powder.map_or(0, |powder| powder + 1));
        let powders = powders.map(|it| u64::try_from(it).unwrap_or(0));
        let taken = self.drawn.iter().map(|it| it.unsigned_abs());
        let used = powders.chain(taken).fold(0_u64, |sum, it| {
            (sum ^ it)
                .wrapping_mul(0x9E37_79B9_7F4A_7C15)
                .rotate_left(23)
        });
        (done, used)
    }

    /// From when everything is there that the rest of an order needs: the sooner, the better.
    pub fn times(&self, times: &mut Vec<i32>) {
        times.clear();
        let mut push = |minute: i64| times.push(i32::try_from(minute).unwrap_or(i32::MAX));
        push(self.now);
        for cell in &self.cells {
            push(cell.free.max(self.now));
        }
        for (job, begun) in self.jobs.iter().enumerate() {
            let Some(begun) = begun else { continue };
            // What waits anyway is no worse for having been ready later.
            let waits = self.under_way(job).map_or(0, |(option, at)| {
                self.now - self.option(job, option).operations[at].after
            });
            push(begun.end.max(waits));
        }
    }
}

/// In how many states a job can be, and in which it is.
fn states(rule: &JobRule, job: Option<Begun>) -> (u128, u128) {
    let of = |option: &OptionRule| option.operations.len() + 2;
    let before = |options: usize| rule.options.iter().take(options).map(of).sum::<usize>();
    let state = job.map_or(0, |it| 1 + before(it.option) + it.placed);
    let number = |n: usize| u128::try_from(n).unwrap_or(u128::MAX);
    (number(1 + before(rule.options.len())), number(state))
}

/// What has come in all by each minute at which something comes.
fn summed(mut comings: Vec<(i64, i64)>) -> Vec<(i64, i64)> {
    comings.sort_unstable();
    let mut sum = 0;
    for coming in &mut comings {
        sum += coming.1;
        coming.1 = sum;
    }
    comings
}

/// By powder: the shortest set-up for it, and the shortest behind another powder or from clean.
fn set_ups(rules: &Rules, cell: &CellRule) -> Vec<(i64, i64)> {
    let clean = cell.powder.is_none().then_some(cell.from_clean);
    let of_powder = |powder: usize| {
        let others = (0..rules.lots_of.len()).filter(|before| *before != powder);
        let other = others
            .map(|before| cell.set_up[before][powder])
            .chain(clean)
            .min();
        let same = cell.set_up[powder][powder];
        let other = other.unwrap_or(same);
        (same.min(other), other)
    };
    (0..rules.lots_of.len()).map(of_powder).collect()
}
