use super::powder::{Need, Powder};
use super::{Balance, Chunk, Room};
use crate::planner::rules::{CellRule, OperationRule, Rules, WayRule, WorkRule};
use crate::planner::shares::Share;

/// What the jobs placed so far have taken.
#[derive(Debug, Clone)]
pub(in crate::planner) struct State {
    /// People, slots and limits. What a job keeps for its later operations is taken to the horizon until
    /// they are placed, so that less than nothing may be free there.
    shared: Vec<Room>,
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
        for (mine, theirs) in self.stores.iter_mut().zip(&other.stores) {
            mine.copy_from(theirs);
        }
        self.cells.clone_from(&other.cells);
        self.powder.copy_from(&other.powder);
        self.begun.clone_from(&other.begun);
    }

    /// Places a chunk behind what is placed already.
    pub fn place_chunk(&mut self, rules: &Rules, chunk: Chunk, trail: &mut Trail) -> Outcome {
        trail.placed.clear();
        trail.lots.clear();
        trail.cells_before.clear();
        let option = &rules.jobs[chunk.job].options[chunk.option];
        let at = self.begun.iter().position(|begun| begun.job == chunk.job);
        let begun = at.map_or(Some((0, option.ready)), |at| {
            self.begun.swap_remove(at).placed
        });
        let end = begun
            .filter(|(_, ready)| *ready <= rules.horizon)
            .and_then(|(from, ready)| {
                let operations = &option.operations[..chunk.upto];
                self.place(rules, operations, from, ready, trail)
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
    fn drop_carried(&mut self, rules: &Rules, to_come: &[OperationRule], end: i64) {
        for carried in to_come.first().iter().flat_map(|it| &it.shares.carried) {
            let Share { of, amount } = carried.share;
            self.shared[of].take(end, rules.horizon, -amount);
        }
    }

    /// From when each cell is free.
    pub fn cells_free(&self) -> impl Iterator<Item = i64> {
        self.cells.iter().map(|cell| cell.free)
    }

    /// Places the operations from a position on in order, each as early as the rules allow from `ready` on,
    /// and returns the end of the last; or leaves everything as it was if one of them cannot be placed.
    ///
    /// Where something that the job keeps lacks before it can be let go, the operation that took it last is
    /// placed anew, behind the minutes in which it lacks: as any start before them would keep it into them.
    fn place(
        &mut self,
        rules: &Rules,
        operations: &[OperationRule],
        first: usize,
        ready: i64,
        trail: &mut Trail,
    ) -> Option<i64> {
        let (mut at, mut end, mut not_before) = (first, ready, 0);
        while at < operations.len() {
            let operation = &operations[at];
            let placed = self.earliest(rules, operation, end + operation.after, not_before);
            let lack = placed
                .and_then(|placed| self.lacking(operation, end, placed.start + operation.minutes));
            if let (Some(placed), None) = (placed, lack) {
                self.take(rules, operation, placed, trail);
                (at, end, not_before) = (at + 1, placed.start + operation.minutes, 0);
                continue;
            }
            let again = lack.filter(|(since, _)| *since >= first);
            let back_to = again.map_or(first, |(since, _)| since);
            while at > back_to {
                at -= 1;
                self.undo(rules, &operations[at], trail);
            }
            not_before = again?.1.min(rules.horizon);
            let before = trail.placed.last().zip(operations[..at].last());
            end = before.map_or(ready, |(placed, it)| placed.start + it.minutes);
        }
        Some(end)
    }

    /// The operation that last added to something that is kept and lacks at some minute, and when it no
    /// longer does.
    fn lacking(&self, operation: &OperationRule, from: i64, to: i64) -> Option<(usize, i64)> {
        let mut carried = operation.shares.carried.iter();
        carried.find_map(|carried| {
            let lacks = self.shared[carried.share.of].overdrawn(from, to)?;
            Some((carried.since, lacks))
        })
    }

    /// The first place from `ready` on that begins, set-up included, no sooner than `not_before`.
    fn earliest(
        &self,
        rules: &Rules,
        operation: &OperationRule,
        ready: i64,
        not_before: i64,
    ) -> Option<Placed> {
        let placed = match &operation.work {
            WorkRule::Step => {
                let start = self.earliest_step(rules, operation, ready.max(not_before))?;
                Placed {
                    begin: start,
                    start,
                    cell: None,
                    lots: 0,
                    way: 0,
                }
            }
            WorkRule::Stage { cells, .. } => {
                let in_cells = cells.iter().filter_map(|cell| {
                    let mut now = self.cells[*cell];
                    now.free = now.free.max(not_before);
                    self.earliest_stage(rules, operation, *cell, now, ready)
                });
                in_cells.min_by_key(|placed| placed.start)?
            }
        };
        (placed.start + operation.minutes <= rules.horizon).then_some(placed)
    }

    /// The first minute that suits duty, what is shared, and stores: each moves it on until all agree.
    fn earliest_step(&self, rules: &Rules, operation: &OperationRule, ready: i64) -> Option<i64> {
        let mut start = ready;
        loop {
            let mut next = rules.on_duty(start)?;
            next = self.shares_free(operation, next, operation.minutes)?;
            next = self.supplied(operation, next)?;
            if next == start {
                return Some(start);
            }
            if next + operation.minutes > rules.horizon {
                return None;
            }
            start = next;
        }
    }

    /// No earlier than anything that it holds, for so many minutes or longer, allows.
    fn shares_free(&self, operation: &OperationRule, mut begin: i64, minutes: i64) -> Option<i64> {
        for Share { of, amount } in &operation.shares.held {
            begin = self.shared[*of].earliest(begin, minutes, *amount)?;
        }
        for kept in &operation.shares.kept {
            let Share { of, amount } = kept.share;
            begin = self.shared[of].earliest(begin, minutes + kept.minutes, amount)?;
        }
        Some(begin)
    }

    /// No earlier than any way to draw allows; the minute given if one allows that.
    fn supplied(&self, operation: &OperationRule, start: i64) -> Option<i64> {
        let by_way = operation.ways.iter();
        by_way.filter_map(|way| self.supplied_by(way, start)).min()
    }

    fn supplied_by(&self, way: &WayRule, mut start: i64) -> Option<i64> {
        for draw in &way.draws {
            start = self.stores[draw.store].earliest(start, draw.size)?;
        }
        Some(start)
    }

    /// Of the ways to draw that allow a start, the one whose stores are left with the least above the
    /// floor, draw by draw: what is fuller is kept for what needs more. Ties go by the order of the file.
    fn tightest_way(&self, operation: &OperationRule, start: i64) -> usize {
        if operation.ways.len() == 1 {
            return 0;
        }
        let open = operation.ways.iter().enumerate();
        let open = open.filter(|(_, way)| self.supplied_by(way, start) == Some(start));
        let tightest = open.min_by(|(_, a), (_, b)| self.left(a, start).cmp(self.left(b, start)));
        tightest.map_or(0, |(n, _)| n)
    }

    /// What each store that was chosen is left with above the floor, in the order of the draws.
    fn left<'a>(&'a self, way: &'a WayRule, start: i64) -> impl Iterator<Item = i64> + 'a {
        way.chosen.iter().flatten().map(move |store| {
            let here = way.draws.iter().find(|draw| draw.store == *store);
            let needed = here.map_or(0, |draw| draw.size.amount + draw.size.floor);
            self.stores[*store].least_from(start) - needed
        })
    }

    /// The first place for a stage behind those already in the cell, period by period.
    fn earliest_stage(
        &self,
        rules: &Rules,
        operation: &OperationRule,
        cell: usize,
        now: CellNow,
        ready: i64,
    ) -> Option<Placed> {
        let rule = &rules.cells[cell];
        let WorkRule::Stage {
            powder,
            grams,
            one_lot,
            ..
        } = operation.work
        else {
            return None;
        };
        let need = Need {
            powder,
            grams,
            one_lot,
            minutes: operation.minutes,
        };
        let change = now
            .powder
            .map_or(rule.from_clean, |before| rule.set_up[before][powder]);
        let mut period = rules.period_from(now.free.max(ready));
        loop {
            let (from, to) = *rules.periods.get(period)?;
            let set_up = change
                + if now.period == Some(period) {
                    0
                } else {
                    rule.warm_up
                };
            let mut start = ready.max(now.free.max(from) + set_up);
            while start + operation.minutes <= to {
                let next = self.stage_allowed(rules, operation, rule, need, (start, set_up))?;
                if next == start {
                    return Some(Placed {
                        begin: start - set_up,
                        start,
                        cell: Some((cell, period)),
                        lots: 0,
                        way: 0,
                    });
                }
                start = next;
            }
            period = rules.period_from(start).max(period + 1);
        }
    }

    fn stage_allowed(
        &self,
        rules: &Rules,
        operation: &OperationRule,
        cell: &CellRule,
        need: Need,
        (start, set_up): (i64, i64),
    ) -> Option<i64> {
        let mut begin = start - set_up;
        let held = set_up + operation.minutes;
        begin = self.shares_free(operation, begin, held)?;
        while let Some((_, to)) = cell
            .closed
            .iter()
            .find(|(from, to)| begin < *to && *from < begin + held)
        {
            begin = *to;
        }
        let start = self.powder.earliest(rules, need, begin + set_up)?;
        self.supplied(operation, start)
    }

    fn take(
        &mut self,
        rules: &Rules,
        operation: &OperationRule,
        mut placed: Placed,
        trail: &mut Trail,
    ) {
        let end = placed.start + operation.minutes;
        self.share(rules, operation, placed, 1);
        placed.way = self.tightest_way(operation, placed.start);
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

    /// The earliest end of operations that have everything to themselves: nothing else is placed, each
    /// supply counts in full for each operation, and every set-up is the shortest there is.
    ///
    /// No plan ends them sooner. None if no plan places them at all.
    pub fn alone(&self, rules: &Rules, operations: &[OperationRule], ready: i64) -> Option<i64> {
        let mut ready = ready;
        for operation in operations {
            let from = ready + operation.after;
            let start = match &operation.work {
                WorkRule::Step => self.earliest_step(rules, operation, from)?,
                WorkRule::Stage { cells, powder, .. } => {
                    let starts = cells
                        .iter()
                        .filter_map(|cell| self.alone_in(rules, operation, *cell, *powder, from));
                    starts.min()?
                }
            };
            ready = start + operation.minutes;
            if ready > rules.horizon {
                return None;
            }
        }
        Some(ready)
    }

    fn alone_in(
        &self,
        rules: &Rules,
        operation: &OperationRule,
        cell: usize,
        powder: usize,
        from: i64,
    ) -> Option<i64> {
        let rule = &rules.cells[cell];
        let quickest = (0..rule.set_up.len()).min_by_key(|before| rule.set_up[*before][powder]);
        let clean = rule.powder.is_none()
            && quickest.is_none_or(|p| rule.set_up[p][powder] > rule.from_clean);
        let before = if clean { None } else { quickest };
        // As if the cell were warm in every period: the first stage of each is tried in turn.
        let tries = (0..rules.periods.len()).filter_map(|period| {
            let now = CellNow {
                free: rule.free_from.max(rules.periods[period].0),
                period: Some(period),
                powder: before,
            };
            self.earliest_stage(rules, operation, cell, now, from)
        });
        tries.map(|placed| placed.start).min()
    }
}
