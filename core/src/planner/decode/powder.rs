use crate::planner::rules::Rules;

/// What a stage takes from the lots.
#[derive(Debug, Clone, Copy)]
pub(super) struct Need {
    pub powder: usize,
    pub grams: i64,
    pub one_lot: bool,
    pub minutes: i64,
}

/// Powder left in each lot.
#[derive(Debug, Clone)]
pub(super) struct Powder {
    left: Vec<i64>,
}

impl Powder {
    pub fn new(rules: &Rules) -> Self {
        Self {
            left: rules.lots.iter().map(|lot| lot.grams).collect(),
        }
    }

    /// The first minute from `from` on at which lots that may be used throughout suffice.
    pub fn earliest(&self, rules: &Rules, need: Need, from: i64) -> Option<i64> {
        if need.grams == 0 || self.suffices(rules, need, from) {
            return Some(from);
        }
        let arrivals = rules.lots_of[need.powder]
            .iter()
            .map(|lot| rules.lots[*lot].from);
        arrivals
            .filter(|minute| *minute > from && self.suffices(rules, need, *minute))
            .min()
    }

    fn suffices(&self, rules: &Rules, need: Need, start: i64) -> bool {
        let usable = self.usable(rules, need, start).map(|lot| self.left[lot]);
        if need.one_lot {
            usable.max().is_some_and(|most| most >= need.grams)
        } else {
            usable.sum::<i64>() >= need.grams
        }
    }

    fn usable<'a>(
        &'a self,
        rules: &'a Rules,
        need: Need,
        start: i64,
    ) -> impl Iterator<Item = usize> + 'a {
        let lots = rules.lots_of[need.powder].iter().copied();
        lots.filter(move |n| {
            let lot = &rules.lots[*n];
            lot.from <= start && start + need.minutes <= lot.until && self.left[*n] > 0
        })
    }

    /// Takes what a stage needs and says from which lots.
    ///
    /// The first to expire goes first, and of those the one with least left, so that large lots stay whole.
    pub fn take(&mut self, rules: &Rules, need: Need, start: i64, taken: &mut Vec<(usize, i64)>) {
        let mut open = need.grams;
        while open > 0 {
            let least = if need.one_lot { need.grams } else { 1 };
            let fit = self
                .usable(rules, need, start)
                .filter(|lot| self.left[*lot] >= least);
            let Some(lot) = fit.min_by_key(|lot| (rules.lots[*lot].until, self.left[*lot])) else {
                break;
            };
            let grams = open.min(self.left[lot]);
            self.left[lot] -= grams;
            open -= grams;
            taken.push((lot, grams));
        }
        debug_assert_eq!(open, 0, "a stage starts only where its powder suffices");
    }

    /// Takes what a stage needs beyond what it took from lots, or gives back what it does not need of that, from
    /// the last of them first; a need in all below that is negative. Nothing is taken if there is not enough.
    ///
    /// What a stage from one lot needs more is of that lot.
    pub fn correct(
        &mut self,
        rules: &Rules,
        more: Need,
        start: i64,
        lots: &[(usize, i64)],
    ) -> bool {
        let mut back = -more.grams;
        for (lot, grams) in lots.iter().rev() {
            let grams = back.clamp(0, *grams);
            self.left[*lot] += grams;
            back -= grams;
        }
        if more.grams <= 0 {
            return true;
        }
        if more.one_lot {
            let lot = lots.first().map(|(lot, _)| *lot);
            let enough = lot.filter(|lot| self.left[*lot] >= more.grams);
            enough
                .inspect(|lot| self.left[*lot] -= more.grams)
                .is_some()
        } else {
            let enough = self.suffices(rules, more, start);
            if enough {
                self.take(rules, more, start, &mut Vec::new());
            }
            enough
        }
    }

    pub fn give_back(&mut self, lot: usize, grams: i64) {
        self.left[lot] += grams;
    }

    pub fn copy_from(&mut self, other: &Self) {
        self.left.clone_from(&other.left);
    }
}
