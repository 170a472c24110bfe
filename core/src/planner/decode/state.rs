mod earliest;
mod real;

pub(in crate::planner) use real::{Fact, Lack, Stays, Which};

use super::powder::{Need, Powder};
use super::{Balance, Batches, Chunk, Room};
use crate::planner::rules::{CellRule, OperationRule, Rules, WorkRule};
use crate::planner::shares::Share;

/// What the jobs placed so far have taken.
#[derive(Debug, Clone)]
pub(in crate::planner) struct State {
    /// People, slots and limits. What a job keeps for its later operations is taken to the horizon until
    /// they are placed, so that less than nothing may be free there.
    shared: Vec<Room>,
    /// By batch station.
    batches: Vec<Batches>,
    stores: Vec<Balance>,
    cells: Vec<CellNow>,
    powder: Powder,
    /// Jobs of which an earlier chunk is placed, or found not to fit, and a later one is still to come.
    begun: Vec<Begun>,
}

/// A job of which a first chunk has been tried.
#[derive(Debug, Clone, Copy)]
struct Begun {
    job: usize,
    /// How many operations are placed and when the last of them ends; none if the job did not fit.
    placed: Option<(usize, i64)>,
}

/// What became of a chunk.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::planner) enum Outcome {
    /// With later operations of the job still to come.
    Begun,
    /// With the end of the job's last operation.
    Finished(i64),
    /// Nothing of the chunk is placed; earlier chunks of the job stay where they are.
    DoesNotFit,
}

/// A cell after its last stage so far.
#[derive(Debug, Clone, Copy)]
pub(in crate::planner) struct CellNow {
    free: i64,
    /// The attended period of its last stage; none before the first.
    period: Option<usize>,
    powder: Option<usize>,
}

/// Where and when an operation is placed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::planner) struct Placed {
    /// From when its crew is held: set-up included.
    pub begin: i64,
    pub start: i64,
    /// The cell of a stage, with the attended period it lies in.
    pub cell: Option<(usize, usize)>,
    /// How many of the draws on lots are its own.
    pub lots: usize,
    /// Which of the operation's ways to draw from stores it takes.
    pub way: usize,
}

/// The first minutes that an operation may take.
#[derive(Debug, Default, Clone, Copy, PartialEq, Eq)]
struct NotBefore {
    /// For its set-up, or itself where it has none.
    begin: i64,
    /// For itself.
    start: i64,
}

/// An operation that has to be placed anew for the sake of a later one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Anew {
    at: usize,
    not_before: NotBefore,
}

/// Where an operation stands in a plan that is kept.
#[derive(Debug, Clone)]
pub(super) struct Fixed {
    pub begin: i64,
    pub start: i64,
    pub cell: Option<usize>,
    /// Draws `(lot, grams)`.
    pub lots: Vec<(usize, i64)>,
    pub way: usize,
}

/// The placed operations of one job, kept between jobs to spare allocations.
#[derive(Debug, Default, Clone)]
pub(in crate::planner) struct Trail {
    pub placed: Vec<Placed>,
    /// Draws `(lot, grams)` of its stages, in order.
    pub lots: Vec<(usize, i64)>,
    /// The cell of each of its stages as it was before it.
    cells_before: Vec<CellNow>,
    /// By operation: what was found while those behind it were placed. Nothing sooner can hold, as these
    /// only come later if it does; short of the last where that is nothing.
    not_before: Vec<NotBefore>,
}

impl Trail {
    pub fn clear(&mut self) {
        self.placed.clear();
        self.lots.clear();
        self.cells_before.clear();
        self.not_before.clear();
    }

    fn not_before(&self, at: usize) -> NotBefore {
        self.not_before.get(at).copied().unwrap_or_default()
    }

    fn move_on(&mut self, Anew { at, not_before }: Anew) {
        if self.not_before.len() <= at {
            self.not_before.resize(at + 1, NotBefore::default());
        }
        let known = &mut self.not_before[at];
        known.begin = known.begin.max(not_before.begin);
        known.start = known.start.max(not_before.start);
    }
}

impl State {
    pub fn new(rules: &Rules) -> Self {
        let cell = |rule: &CellRule| CellNow {
            free: rule.free_from,
            period: None,
            powder: rule.powder,
        };
        Self {
            shared: rules.shared.clone(),
            batches: vec![Batches::default(); rules.batch_stations],
            stores: rules.stores.clone(),
            cells: rules.cells.iter().map(cell).collect(),
            powder: Powder::new(rules),
            begun: Vec::new(),
        }
    }

    pub fn copy_from(&mut self, other: &Self) {
        for (mine, theirs) in self.shared.iter_mut().zip(&other.shared) {
            mine.copy_from(theirs);
        }
        for (mine, theirs) in self.batches.iter_mut().zip(&other.batches) {
            mine.copy_from(theirs);
        }
        for (mine, theirs) in self.stores.iter_mut().zip(&other.stores) {
            mine.copy_from(theirs);
        }
        self.cells.clone_from(&other.cells);
        self.powder.copy_from(&other.powder);
        self.begun.clone_from(&other.begun);
    }

    /// Begins anew from a state in which nothing is placed, with the stores of these rules.
    pub fn begin_anew(&mut self, empty: &Self, rules: &Rules) {
        self.copy_from(empty);
        self.stores.clone_from(&rules.stores);
    }

    /// Places a chunk behind what is placed already.
    pub fn place_chunk(&mut self, rules: &Rules, chunk: Chunk, trail: &mut Trail) -> Outcome {
        trail.clear();
        let option = &rules.jobs[chunk.job].options[chunk.option];
        let at = self.begun.iter().position(|begun| begun.job == chunk.job);
        let begun = at.map_or(Some((0, option.ready)), |at| {
            self.begun.swap_remove(at).placed
        });
        let end = begun
            .filter(|(_, ready)| *ready <= rules.horizon)
            .and_then(|(from, ready)| {
                let operations = &option.operations[..chunk.upto];
                self.place(rules, operations, (from, ready), chunk, trail)
            });
        if let (Some((from, ready)), None) = (begun, end) {
            self.drop_carried(rules, &option.operations[from..], ready);
        }
        let last = chunk.upto == option.operations.len();
        if !last {
            self.begun.push(Begun {
                job: chunk.job,
                placed: end.map(|end| (chunk.upto, end)),
            });
        }
        match end {
            None => Outcome::DoesNotFit,
            Some(end) if last => Outcome::Finished(end),
            Some(_) => Outcome::Begun,
        }
    }

    /// Lets go of what a job keeps for operations that are not going to be placed.
    pub fn drop_carried(&mut self, rules: &Rules, to_come: &[OperationRule], end: i64) {
        for carried in to_come.first().iter().flat_map(|it| &it.shares.carried) {
            let Share { of, amount } = carried.share;
            self.shared[of].take(end, rules.horizon, -amount);
        }
    }

    /// From when each cell is free, and how long each batch station is taken: where less of all this is,
    /// what is still to come may go sooner.
    pub fn cells_free(&self) -> impl Iterator<Item = i64> {
        let taken = self.batches.iter().map(Batches::minutes);
        self.cells.iter().map(|cell| cell.free).chain(taken)
    }

    /// Places the operations from a position on in order, each as early as the rules allow from `ready` on,
    /// and returns the end of the last; or leaves everything as it was if one of them cannot be placed.
    ///
    /// Where an operation hinders a later one, it is placed anew with those behind it, each time later, until
    /// all fit or one of them does not fit at all.
    pub fn place(
        &mut self,
        rules: &Rules,
        operations: &[OperationRule],
        (first, ready): (usize, i64),
        chunk: Chunk,
        trail: &mut Trail,
    ) -> Option<i64> {
        let (mut at, mut end) = (first, ready);
        while at < operations.len() {
            let operation = &operations[at];
            let not_before = trail.not_before(at);
            let placed = self.earliest(
                rules,
                operation,
                end + operation.after,
                not_before,
                chunk.join,
            );
            // The operation before the first is not to be moved, or there is none.
            let placed =
                placed.filter(|it| at > first || !waits_too_long(operation, end, it.start));
            let anew =
                placed.and_then(|placed| self.hindered(rules, operations, at, (end, placed.start)));
            if let (Some(placed), None) = (placed, anew) {
                self.take(rules, operation, placed, chunk.fuller, trail);
                (at, end) = (at + 1, placed.start + operation.minutes);
                continue;
            }
            let anew = anew.filter(|anew| anew.at >= first);
            let back_to = anew.map_or(first, |anew| anew.at);
            while at > back_to {
                at -= 1;
                self.undo(rules, &operations[at], trail);
            }
            trail.move_on(anew?);
            let before = trail.placed.last().zip(operations[..at].last());
            end = before.map_or(ready, |(placed, it)| placed.start + it.minutes);
        }
        Some(end)
    }

    /// The earlier operation, if any, that hinders one from being placed at `start`, `end` being the end of
    /// the one before.
    ///
    /// If it waits too long, that is the one before, as any start before the minute told makes it wait too
    /// long again. If something that is kept lacks before it can be let go, that is the one that took of it
    /// last, as any start before the minutes in which it lacks would keep it into them.
    fn hindered(
        &self,
        rules: &Rules,
        operations: &[OperationRule],
        at: usize,
        (end, start): (i64, i64),
    ) -> Option<Anew> {
        let operation = &operations[at];
        if waits_too_long(operation, end, start) {
            let at = at - 1;
            let start = start - operation.within? - operations[at].minutes;
            let not_before = NotBefore { begin: 0, start };
            return Some(Anew { at, not_before });
        }
        let mut carried = operation.shares.carried.iter();
        carried.find_map(|carried| {
            let to = start + operation.minutes;
            let begin = self.shared[carried.share.of]
                .overdrawn(end, to)?
                .min(rules.horizon);
            let not_before = NotBefore { begin, start: 0 };
            let at = carried.since;
            Some(Anew { at, not_before })
        })
    }

    fn take(
        &mut self,
        rules: &Rules,
        operation: &OperationRule,
        mut placed: Placed,
        fuller: bool,
        trail: &mut Trail,
    ) {
        let end = placed.start + operation.minutes;
        self.share(rules, operation, placed, 1);
        if let Some(batch) = operation.batch {
            self.batches[batch.station].put(placed.start, batch);
        }
        placed.way = self.way(operation, placed.start, fuller);
        for draw in &operation.ways[placed.way].draws {
            self.stores[draw.store].take(placed.start, draw.size);
        }
        match operation.work {
            WorkRule::Step => {}
            WorkRule::Stage {
                powder,
                grams,
                one_lot,
                ..
            } => {
                let need = Need {
                    powder,
                    grams,
                    one_lot,
                    minutes: operation.minutes,
                };
                let before = trail.lots.len();
                self.powder.take(rules, need, placed.start, &mut trail.lots);
                placed.lots = trail.lots.len() - before;
                if let Some((cell, period)) = placed.cell {
                    trail.cells_before.push(self.cells[cell]);
                    self.cells[cell] = CellNow {
                        free: end,
                        period: Some(period),
                        powder: Some(powder),
                    };
                }
            }
        }
        trail.placed.push(placed);
    }

    /// Takes what an operation holds, and what its job keeps or lets go from its end on; `times` -1 undoes
    /// it.
    fn share(&mut self, rules: &Rules, operation: &OperationRule, placed: Placed, times: i64) {
        let shares = &operation.shares;
        let end = placed.start + operation.minutes;
        for Share { of, amount } in &shares.held {
            self.shared[*of].take(placed.begin, end, times * amount);
        }
        for kept in &shares.kept {
            let Share { of, amount } = kept.share;
            self.shared[of].take(end, rules.horizon, times * amount);
        }
        for Share { of, amount } in &shares.let_go {
            self.shared[*of].take(end, rules.horizon, -times * amount);
        }
    }

    /// Takes what an operation of a kept plan takes, where it stands.
    pub(super) fn fix(&mut self, rules: &Rules, operation: &OperationRule, fixed: &Fixed) {
        let period = rules.period_from(fixed.begin);
        let placed = Placed {
            begin: fixed.begin,
            start: fixed.start,
            cell: fixed.cell.map(|cell| (cell, period)),
            lots: fixed.lots.len(),
            way: fixed.way,
        };
        self.share(rules, operation, placed, 1);
        if let Some(batch) = operation.batch {
            self.batches[batch.station].put(placed.start, batch);
        }
        for draw in &operation.ways[fixed.way].draws {
            self.stores[draw.store].take(fixed.start, draw.size);
        }
        for (lot, grams) in &fixed.lots {
            self.powder.give_back(*lot, -grams);
        }
        if let (Some(cell), WorkRule::Stage { powder, .. }) = (fixed.cell, &operation.work) {
            self.cells[cell] = CellNow {
                free: fixed.start + operation.minutes,
                period: Some(period),
                powder: Some(*powder),
            };
        }
    }

    /// Gives back what the last placed operation took.
    fn undo(&mut self, rules: &Rules, operation: &OperationRule, trail: &mut Trail) {
        let Some(placed) = trail.placed.pop() else {
            return;
        };
        self.share(rules, operation, placed, -1);
        if let Some(batch) = operation.batch {
            self.batches[batch.station].take_out(placed.start);
        }
        for draw in &operation.ways[placed.way].draws {
            self.stores[draw.store].give_back(placed.start, draw.size);
        }
        for (lot, grams) in trail.lots.drain(trail.lots.len() - placed.lots..) {
            self.powder.give_back(lot, grams);
        }
        if let Some((cell, _)) = placed.cell
            && let Some(before) = trail.cells_before.pop()
        {
            self.cells[cell] = before;
        }
    }
}

/// Whether an operation started at a minute starts later behind the end of the one before than it may.
fn waits_too_long(operation: &OperationRule, end: i64, start: i64) -> bool {
    operation.within.is_some_and(|within| start > end + within)
}
