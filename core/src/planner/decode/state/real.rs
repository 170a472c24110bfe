//! What a run of a plan does otherwise than the decoder: a stage may go into a gap of its cell, and use more
//! or less than it was planned with.

use super::{CellNow, NotBefore, Placed, State, Trail};
use crate::planner::decode::DrawSize;
use crate::planner::decode::powder::Need;
use crate::planner::rules::{OperationRule, Rules, WorkRule};
use crate::planner::shares::Share;

/// Which operation of a problem.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::planner) struct Which {
    pub job: usize,
    pub option: usize,
    pub at: usize,
}

impl Which {
    pub fn rule(self, rules: &Rules) -> &OperationRule {
        &rules.jobs[self.job].options[self.option].operations[self.at]
    }
}

/// A stage where it stands in its cell.
#[derive(Debug, Clone, Copy)]
struct Stay {
    of: Which,
    begin: i64,
    start: i64,
    end: i64,
    powder: usize,
    period: usize,
}

impl Stay {
    fn leaves(&self) -> CellNow {
        CellNow {
            free: self.end,
            period: Some(self.period),
            powder: Some(self.powder),
        }
    }
}

/// The stages in each cell, in the order of time.
#[derive(Debug, Clone, Default)]
pub(in crate::planner) struct Stays(Vec<Vec<Stay>>);

impl Stays {
    pub fn clear(&mut self, cells: usize) {
        self.0.resize_with(cells, Vec::new);
        self.0.iter_mut().for_each(Vec::clear);
    }

    /// Notes where a stage was placed; a step is passed over.
    pub fn note(&mut self, rules: &Rules, of: Which, placed: Placed) {
        let operation = of.rule(rules);
        if let (Some((cell, period)), WorkRule::Stage { powder, .. }) =
            (placed.cell, &operation.work)
        {
            let stays = &mut self.0[cell];
            let at = stays.partition_point(|stay| stay.start < placed.start);
            let stay = Stay {
                of,
                begin: placed.begin,
                start: placed.start,
                end: placed.start + operation.minutes,
                powder: *powder,
                period,
            };
            stays.insert(at, stay);
        }
    }
}

/// A place before a stage that stands in a cell, and when the set-up of that one begins then.
struct Gap {
    placed: Placed,
    cell: usize,
    next: usize,
    next_begin: i64,
}

/// What an operation takes in fact.
pub(in crate::planner) struct Fact<'a> {
    /// Grams of powder.
    pub grams: i64,
    /// How many times as much is sprayed as planned.
    pub times: f64,
    /// By store: of what is planned to be drawn, as much as goes by the grams sprayed.
    pub by_grams: &'a [(usize, i64)],
}

/// What was not there.
#[derive(Debug, Default, PartialEq, Eq)]
pub(in crate::planner) struct Lack {
    pub powder: Option<usize>,
    pub stores: Vec<usize>,
}

impl Lack {
    pub fn is_none(&self) -> bool {
        self.powder.is_none() && self.stores.is_empty()
    }
}

impl State {
    /// Places an operation as early as the rules allow behind the end of the one before it: behind the
    /// stages in its cell, or before one of them which it does not move, no sooner there than told.
    ///
    /// What its job keeps it keeps on, also where less of that is there meanwhile.
    pub fn place_one(
        &mut self,
        rules: &Rules,
        of: Which,
        (end, gap_from): (i64, i64),
        stays: &mut Stays,
        trail: &mut Trail,
    ) -> Option<Placed> {
        let operation = of.rule(rules);
        let ready = end + operation.after;
        let behind = self.earliest(rules, operation, ready, NotBefore::default(), false);
        let from = ready.max(operation.not_before).max(gap_from);
        let waits = behind.is_none_or(|placed| placed.start > from);
        let gap = waits
            .then(|| self.gap(rules, operation, from, stays))
            .flatten();
        let gap = gap.filter(|gap| behind.is_none_or(|it| gap.placed.start < it.start));
        let mut placed = gap.as_ref().map(|gap| gap.placed).or(behind)?;
        trail.clear();
        let cells = gap.as_ref().map(|gap| (gap.cell, self.cells[gap.cell]));
        self.take(rules, operation, placed, false, trail);
        placed = *trail.placed.last()?;
        if let (Some(gap), Some((cell, last))) = (gap, cells) {
            self.cells[cell] = last;
            let next = &mut stays.0[cell][gap.next];
            for Share { of, amount } in &next.of.rule(rules).shares.held {
                self.shared[*of].take(gap.next_begin, next.begin, *amount);
            }
            next.begin = gap.next_begin;
        }
        stays.note(rules, of, placed);
        Some(placed)
    }

    fn gap(
        &self,
        rules: &Rules,
        operation: &OperationRule,
        from: i64,
        stays: &Stays,
    ) -> Option<Gap> {
        let WorkRule::Stage { cells, powder, .. } = &operation.work else {
            return None;
        };
        let gaps = cells.iter().filter_map(|cell| {
            self.gap_in(rules, operation, (*cell, *powder), from, &stays.0[*cell])
        });
        gaps.min_by_key(|gap| gap.placed.start)
    }

    fn gap_in(
        &self,
        rules: &Rules,
        operation: &OperationRule,
        (cell, powder): (usize, usize),
        from: i64,
        stays: &[Stay],
    ) -> Option<Gap> {
        let rule = &rules.cells[cell];
        let mut before = CellNow {
            free: rule.free_from,
            period: None,
            powder: rule.powder,
        };
        for (n, next) in stays.iter().enumerate() {
            let now = std::mem::replace(&mut before, next.leaves());
            if next.begin < from.max(now.free) + operation.minutes {
                continue;
            }
            let placed = self.earliest_stage(rules, operation, cell, now, from)?;
            let end = placed.start + operation.minutes;
            let period = placed.cell.map(|(_, period)| period);
            let cold = if period == Some(next.period) {
                0
            } else {
                rule.warm_up
            };
            let set_up = rule.set_up[powder][next.powder] + cold;
            let next_begin = next.begin.min(next.start - set_up);
            if end <= next_begin && self.may_begin(rules, cell, next, next_begin) {
                return Some(Gap {
                    placed,
                    cell,
                    next: n,
                    next_begin,
                });
            }
        }
        None
    }

    /// Whether the set-up of a stage may begin so much sooner.
    fn may_begin(&self, rules: &Rules, cell: usize, stay: &Stay, begin: i64) -> bool {
        let longer = stay.begin - begin;
        let mut closed = rules.cells[cell].closed.iter();
        let mut held = stay.of.rule(rules).shares.held.iter();
        longer == 0
            || begin >= rules.periods[stay.period].0
                && !closed.any(|(from, to)| begin < *to && *from < stay.begin)
                && held.all(|Share { of, amount }| {
                    self.shared[*of].earliest(begin, longer, *amount) == Some(begin)
                })
    }

    /// Takes what a placed operation uses in fact in place of what was planned, and says what was not there:
    /// of that as much is taken as planned.
    pub fn use_in_fact(
        &mut self,
        rules: &Rules,
        operation: &OperationRule,
        placed: Placed,
        lots: &[(usize, i64)],
        fact: &Fact<'_>,
    ) -> Lack {
        let mut lack = Lack::default();
        for draw in &operation.ways[placed.way].draws {
            let mut stores = fact.by_grams.iter();
            let Some((_, varies)) = stores.find(|(store, _)| *store == draw.store) else {
                continue;
            };
            let amount = draw.size.amount - varies + scaled(*varies, fact.times);
            let size = DrawSize {
                amount,
                ..draw.size
            };
            let store = &mut self.stores[draw.store];
            store.give_back(placed.start, draw.size);
            if store.earliest(placed.start, size) == Some(placed.start) {
                store.take(placed.start, size);
            } else {
                store.take(placed.start, draw.size);
                lack.stores.push(draw.store);
            }
        }
        if let WorkRule::Stage {
            powder,
            grams,
            one_lot,
            ..
        } = operation.work
        {
            let need = Need {
                powder,
                grams: fact.grams - grams,
                one_lot,
                minutes: operation.minutes,
            };
            if !self.powder.correct(rules, need, placed.start, lots) {
                lack.powder = Some(powder);
            }
        }
        lack
    }

    /// What there is never enough of from a minute on for an operation.
    pub fn lacking(&self, rules: &Rules, operation: &OperationRule, ready: i64) -> Lack {
        let mut lack = Lack::default();
        if let WorkRule::Stage {
            powder,
            grams,
            one_lot,
            ..
        } = operation.work
        {
            let need = Need {
                powder,
                grams,
                one_lot,
                minutes: operation.minutes,
            };
            let enough = self.powder.earliest(rules, need, ready);
            let enough = enough.filter(|start| start + operation.minutes <= rules.horizon);
            lack.powder = enough.is_none().then_some(powder);
        }
        if self.supplied(operation, ready).is_none() {
            let draws = operation.ways.iter().flat_map(|way| &way.draws);
            let short =
                draws.filter(|draw| self.stores[draw.store].earliest(ready, draw.size).is_none());
            lack.stores = short.map(|draw| draw.store).collect();
            lack.stores.sort_unstable();
            lack.stores.dedup();
        }
        lack
    }
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_precision_loss,
    reason = "times is bounded, and amounts are far below what loses precision"
)]
fn scaled(amount: i64, times: f64) -> i64 {
    (amount as f64 * times).ceil() as i64
}
