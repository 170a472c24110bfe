//! From when the lots that are there could hold what stages take, those whole that take all from one.

use std::cell::RefCell;
use std::collections::BTreeMap;

use crate::planner::rules::Rules;

/// What stages have taken of one powder, whichever lots it came from.
pub(super) struct Lots {
    /// Of lots, `(from, grams)`, sorted by when they are there.
    lots: Vec<(i64, i64)>,
    /// Of stages that take all from one lot, sorted.
    whole: Vec<i64>,
    /// Of all stages.
    taken: i64,
    /// By what stages take whole: the lots needed, as known already.
    known: RefCell<BTreeMap<Vec<i64>, Option<usize>>>,
}

impl Lots {
    pub fn new(rules: &Rules, powder: usize) -> Self {
        let lots = rules.lots_of[powder].iter().map(|lot| &rules.lots[*lot]);
        let mut lots: Vec<_> = lots.map(|lot| (lot.from, lot.grams)).collect();
        lots.sort_unstable();
        Self {
            lots,
            whole: Vec::new(),
            taken: 0,
            known: RefCell::default(),
        }
    }

    /// The first minute at which a stage could take so much more; none if there is never enough.
    ///
    /// All that was taken before is from lots that are there by then.
    pub fn there_from(&self, grams: i64, whole: bool) -> Option<i64> {
        let mut left = self.taken + grams;
        let enough = self.lots.iter().position(|(_, lot)| {
            left -= lot;
            left <= 0
        })?;
        let fits = if whole {
            let mut needs = self.whole.clone();
            needs.insert(needs.partition_point(|other| *other < grams), grams);
            self.first_to_fit(needs)?
        } else {
            0
        };
        Some(self.lots[enough.max(fits)].0)
    }

    pub fn take(&mut self, grams: i64, whole: bool) {
        self.taken += grams;
        if whole {
            let at = self.whole.partition_point(|other| *other < grams);
            self.whole.insert(at, grams);
        }
    }

    pub fn give_back(&mut self, grams: i64, whole: bool) {
        self.taken -= grams;
        if whole {
            let at = self.whole.partition_point(|other| *other < grams);
            self.whole.remove(at);
        }
    }

    /// The position of the last of the first lots that hold these needs, each in one lot.
    fn first_to_fit(&self, needs: Vec<i64>) -> Option<usize> {
        if let Some(known) = self.known.borrow().get(&needs) {
            return *known;
        }
        let mut largest_first = needs.clone();
        largest_first.reverse();
        let counts = 1..=self.lots.len();
        let fit = counts.map(|count| self.lots[..count].iter().map(|lot| lot.1).collect());
        let fit = fit
            .enumerate()
            .find_map(|(n, mut left): (usize, Vec<i64>)| {
                fit_in(&largest_first, &mut left, &mut { TRIES }).then_some(n)
            });
        self.known.borrow_mut().insert(needs, fit);
        fit
    }
}

/// So many ways to put needs into lots are tried; if none of them fits, others are taken to.
const TRIES: u32 = 2_000;

/// Whether needs, the largest first, fit into lots with so much left, as far as some tries tell.
fn fit_in(needs: &[i64], left: &mut [i64], tries: &mut u32) -> bool {
    if *tries == 0 {
        return true;
    }
    *tries -= 1;
    let Some((need, others)) = needs.split_first() else {
        return true;
    };
    if needs.iter().sum::<i64>() > left.iter().sum() {
        return false;
    }
    for lot in 0..left.len() {
        // Of lots with the same left, one is tried.
        if left[lot] < *need || left[..lot].contains(&left[lot]) {
            continue;
        }
        left[lot] -= need;
        let fits = fit_in(others, left, tries);
        left[lot] += need;
        if fits {
            return true;
        }
    }
    false
}
