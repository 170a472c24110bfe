//! The first minute at which everything that an operation needs is there.

use super::{CellNow, NotBefore, Placed, State};
use crate::planner::decode::Entry;
use crate::planner::decode::powder::Need;
use crate::planner::rules::{CellRule, OperationRule, Rules, WayRule, WorkRule};
use crate::planner::shares::Share;

impl State {
    /// The first place from `ready` on that neither begins, set-up included, nor starts sooner than it may.
    pub(super) fn earliest(
        &self,
        rules: &Rules,
        operation: &OperationRule,
        ready: i64,
        not_before: NotBefore,
        join: bool,
    ) -> Option<Placed> {
        let ready = ready.max(operation.not_before).max(not_before.start);
        let placed = match &operation.work {
            WorkRule::Step => {
                let ready = ready.max(not_before.begin);
                let earliest = |entry| self.earliest_step(rules, operation, ready, entry);
                let joined = (join && operation.batch.is_some()).then(|| earliest(Entry::Join));
                let start = joined.flatten().or_else(|| earliest(Entry::BeginOrJoin))?;
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
                    now.free = now.free.max(not_before.begin);
                    self.earliest_stage(rules, operation, *cell, now, ready)
                });
                in_cells.min_by_key(|placed| placed.start)?
            }
        };
        (placed.start + operation.minutes <= rules.horizon).then_some(placed)
    }

    /// The first minute that suits duty, what is shared, batches and stores: each moves it on until all agree.
    fn earliest_step(
        &self,
        rules: &Rules,
        operation: &OperationRule,
        ready: i64,
        entry: Entry,
    ) -> Option<i64> {
        let mut start = ready;
        loop {
            let mut next = rules.on_duty(start)?;
            next = self.shares_free(operation, next, operation.minutes)?;
            if let Some(batch) = operation.batch {
                next = self.batches[batch.station].earliest(next, batch, entry)?;
            }
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
    pub(super) fn supplied(&self, operation: &OperationRule, start: i64) -> Option<i64> {
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
    /// With `fuller` it is the one whose stores are left with the most.
    pub(super) fn way(&self, operation: &OperationRule, start: i64, fuller: bool) -> usize {
        if operation.ways.len() == 1 {
            return 0;
        }
        let open = operation.ways.iter().enumerate();
        let open = open.filter(|(_, way)| self.supplied_by(way, start) == Some(start));
        let by_rest = |a: &WayRule, b: &WayRule| self.left(a, start).cmp(self.left(b, start));
        let way = if fuller {
            open.min_by(|(_, a), (_, b)| by_rest(b, a))
        } else {
            open.min_by(|(_, a), (_, b)| by_rest(a, b))
        };
        way.map_or(0, |(n, _)| n)
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
    pub(super) fn earliest_stage(
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

    /// The earliest end of operations that have everything to themselves: nothing else is placed, each
    /// supply counts in full for each operation, and every set-up is the shortest there is.
    ///
    /// No plan ends them sooner. None if no plan places them at all.
    pub fn alone(&self, rules: &Rules, operations: &[OperationRule], ready: i64) -> Option<i64> {
        let mut ready = ready;
        for operation in operations {
            let from = ready + operation.after;
            let start = match &operation.work {
                WorkRule::Step => self.earliest_step(rules, operation, from, Entry::BeginOrJoin)?,
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
