use super::{Relaxed, Spot};
use crate::planner::rules::{CellRule, OperationRule, WayRule, WorkRule};
use crate::planner::shares::Share;

/// Where to place what comes next.
impl Relaxed<'_> {
    /// All ways to go on, the first to start first.
    pub fn next(&self) -> Vec<Spot> {
        let mut spots = Vec::new();
        // A step that takes nothing and could be over by then need not wait for what starts later.
        let mut idle_until = i64::MAX;
        for job in 0..self.jobs.len() {
            if let Some((option, at)) = self.under_way(job) {
                let first = spots.len();
                self.ways_on(job, option, at, &mut spots);
                let operation = &self.option(job, option).operations[at];
                if let Some(spot) = spots.get(first).filter(|_| takes_nothing(operation)) {
                    idle_until = idle_until.min(spot.start + operation.minutes);
                }
            } else if self.jobs[job].is_none() {
                for option in 0..self.rules.jobs[job].options.len() {
                    self.ways_on(job, option, 0, &mut spots);
                }
            }
        }
        spots.retain(|spot| spot.start < idle_until);
        spots.sort_by_key(|spot| spot.start);
        spots
    }

    /// All ways to place a job's next operation.
    fn ways_on(&self, job: usize, option: usize, at: usize, spots: &mut Vec<Spot>) {
        let rule = self.option(job, option);
        let spot = |(begin, start): (i64, i64), way: usize| Spot {
            job,
            option,
            begin,
            start,
            cell: None,
            way,
        };
        let Some(operation) = rule.operations.get(at) else {
            if rule.ready < self.rules.horizon {
                spots.push(spot((self.now, self.now), 0));
            }
            return;
        };
        let from = self.from(job, option, at);
        for (n, way) in operation.ways.iter().enumerate() {
            let WorkRule::Stage { cells, .. } = &operation.work else {
                let start = self.earliest(operation, way, from);
                spots.extend(start.map(|start| spot((start, start), n)));
                continue;
            };
            let in_cells = cells.iter().filter_map(|cell| {
                let (begin, start) = self.in_cell(operation, way, *cell, from)?;
                Some(Spot {
                    cell: Some(*cell),
                    ..spot((begin, start), n)
                })
            });
            spots.extend(in_cells);
        }
    }

    /// The first place in a cell, `(begin, start)`.
    fn in_cell(
        &self,
        operation: &OperationRule,
        way: &WayRule,
        cell: usize,
        ready: i64,
    ) -> Option<(i64, i64)> {
        let (rule, now) = (&self.rules.cells[cell], self.cells[cell]);
        let WorkRule::Stage { powder, .. } = operation.work else {
            return None;
        };
        let change = now
            .powder
            .map_or(rule.from_clean, |before| rule.set_up[before][powder]);
        let start = self.in_periods(operation, way, rule, (change, now.free, ready))?;
        Some((start - change, start))
    }

    /// As if nothing else were placed, by any way, and behind the shortest set-up.
    pub fn alone(&self, operation: &OperationRule, from: i64) -> Option<i64> {
        let by_way = operation.ways.iter().filter_map(|way| {
            let WorkRule::Stage { cells, powder, .. } = &operation.work else {
                return self.earliest(operation, way, from);
            };
            let in_cells = cells.iter().filter_map(|cell| {
                let (least, _) = self.set_ups[*cell][*powder];
                self.in_periods(operation, way, &self.rules.cells[*cell], (least, 0, from))
            });
            in_cells.min()
        });
        by_way.min()
    }

    /// The first start of a stage in a cell that is free from some minute on.
    fn in_periods(
        &self,
        operation: &OperationRule,
        way: &WayRule,
        rule: &CellRule,
        (set_up, free, ready): (i64, i64, i64),
    ) -> Option<i64> {
        let mut period = self.rules.period_from(free.max(ready));
        loop {
            let (from, to) = *self.rules.periods.get(period)?;
            let warm = from.max(rule.free_from) + rule.warm_up;
            let mut start = ready.max(free.max(warm) + set_up);
            while start + operation.minutes <= to {
                let open = open_from(rule, start - set_up, set_up + operation.minutes) + set_up;
                let next = self.earliest(operation, way, open)?;
                if next == start {
                    return Some(start);
                }
                start = next;
            }
            period = self.rules.period_from(start).max(period + 1);
        }
    }

    /// The first minute from one on that suits duty, what is shared and supplies.
    fn earliest(&self, operation: &OperationRule, way: &WayRule, from: i64) -> Option<i64> {
        let mut start = from.max(operation.not_before);
        loop {
            let mut next = self.rules.on_duty(start)?;
            for Share { of, amount } in &operation.shares.held {
                next = self.shared[*of].earliest(next, operation.minutes, *amount)?;
            }
            for kept in &operation.shares.kept {
                let Share { of, amount } = kept.share;
                let minutes = operation.minutes + kept.minutes;
                next = self.shared[of].earliest(next, minutes, amount)?;
            }
            next = self.powder_from(operation, next)?;
            for draw in &way.draws {
                let need = self.drawn[draw.store] + draw.size.amount + draw.size.floor;
                next = next.max(there_from(&self.stores[draw.store], need)?);
            }
            if next + operation.minutes > self.rules.horizon {
                return None;
            }
            if next == start {
                return Some(start);
            }
            start = next;
        }
    }

    fn powder_from(&self, operation: &OperationRule, from: i64) -> Option<i64> {
        let WorkRule::Stage {
            powder,
            grams: grams @ 1..,
            one_lot,
            ..
        } = operation.work
        else {
            return Some(from);
        };
        let start = from.max(self.powders[powder].there_from(grams, one_lot)?);
        let lots = || {
            self.rules.lots_of[powder]
                .iter()
                .map(|lot| &self.rules.lots[*lot])
        };
        let enough = |start: &i64| {
            let usable =
                lots().filter(|lot| lot.from <= *start && start + operation.minutes <= lot.until);
            let grams_there = usable.map(|lot| lot.grams);
            if one_lot {
                grams_there.max() >= Some(grams)
            } else {
                grams_there.sum::<i64>() >= grams
            }
        };
        let arrivals = lots().map(|lot| lot.from).filter(|at| *at > start);
        let starts = std::iter::once(start).chain(arrivals);
        starts.filter(enough).min()
    }
}

/// A step that takes nothing but time, people and slots that it gives back.
fn takes_nothing(operation: &OperationRule) -> bool {
    matches!(operation.work, WorkRule::Step)
        && operation.ways.iter().all(|way| way.draws.is_empty())
        && operation.shares.kept.is_empty()
        && operation.shares.carried.is_empty()
}

/// The first minute from one on from which a cell is not closed for so many.
fn open_from(rule: &CellRule, mut begin: i64, minutes: i64) -> i64 {
    let meets = |begin: i64| {
        let mut closed = rule.closed.iter();
        closed.find(move |(from, to)| begin < *to && *from < begin + minutes)
    };
    while let Some((_, to)) = meets(begin) {
        begin = *to;
    }
    begin
}

/// The first minute at which so much has come in all.
fn there_from(comings: &[(i64, i64)], need: i64) -> Option<i64> {
    if need <= 0 {
        return Some(0);
    }
    comings.iter().find(|(_, sum)| *sum >= need).map(|it| it.0)
}
