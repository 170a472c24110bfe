//! What counts of lots: their grams, what some of the stages that take all from one lot can take of it, and
//! how many of the larger of these each serves.

use super::sums::most_taken;
use crate::planner::rules::{Rules, WorkRule};

/// What is counted of a powder.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Count {
    /// Grams, of every stage.
    Grams,
    /// Grams of the stages that need one lot; of a lot, the most that some of them take together.
    Whole,
    /// Stages that need so many grams or more from one lot.
    Large(i64),
}

impl Count {
    /// How much of it a stage takes, if any.
    pub fn of_stage(self, grams: i64, one_lot: bool) -> Option<i64> {
        match self {
            Self::Grams => Some(grams),
            Self::Whole => one_lot.then_some(grams),
            Self::Large(least) => (one_lot && grams >= least).then_some(1),
        }
    }

    /// How fast its prices move while they are looked for: what is counted besides grams follows them.
    pub fn pace(self) -> f64 {
        match self {
            Self::Grams => 3.0,
            Self::Whole => 1.0,
            Self::Large(_) => 0.3,
        }
    }

    /// How much of it stages can take of a lot; `whole` are the needs of those that take all from one.
    pub fn of_lot(self, grams: i64, whole: &[i64]) -> i64 {
        match self {
            Self::Grams => grams,
            Self::Whole => most_taken(whole, grams),
            Self::Large(least) => grams / least,
        }
    }
}

/// What stages need of a powder, of all jobs and options.
#[derive(Debug, Clone, Default)]
pub(super) struct Sprayed {
    /// The grams of those that need one lot, sorted.
    pub whole: Vec<i64>,
    /// Whether others may mix lots.
    mixed: bool,
}

/// By powder.
pub(super) fn sprayed(rules: &Rules) -> Vec<Sprayed> {
    let mut sprayed = vec![Sprayed::default(); rules.lots_of.len()];
    for operation in rules.operations() {
        let WorkRule::Stage {
            powder,
            grams,
            one_lot,
            ..
        } = operation.work
        else {
            continue;
        };
        if one_lot && grams > 0 {
            sprayed[powder].whole.push(grams);
        }
        sprayed[powder].mixed |= !one_lot;
    }
    for powder in &mut sprayed {
        powder.whole.sort_unstable();
    }
    sprayed
}

impl Sprayed {
    /// What is worth counting.
    pub fn counts(&self, rules: &Rules, lots: &[usize]) -> Vec<Count> {
        let of = |count: Count| {
            let there = lots
                .iter()
                .map(|lot| count.of_lot(rules.lots[*lot].grams, &self.whole));
            there.sum::<i64>()
        };
        let mut counts = Vec::new();
        let less = of(Count::Whole) < of(Count::Grams);
        if self.mixed || !less {
            counts.push(Count::Grams);
        }
        if less && !self.whole.is_empty() {
            counts.push(Count::Whole);
        }
        counts.extend(
            self.scarcest(|least| of(Count::Large(least)))
                .map(Count::Large),
        );
        counts
    }

    /// The grams from which on stages are the most for each that lots serve, if these are too few.
    fn scarcest(&self, served: impl Fn(i64) -> i64) -> Option<i64> {
        let mut scarcest = None;
        for (n, least) in self.whole.iter().enumerate() {
            if n > 0 && self.whole[n - 1] == *least {
                continue;
            }
            let wanted = i64::try_from(self.whole.len() - n).unwrap_or(i64::MAX);
            let there = served(*least);
            let scarcer = |(_, w, t): &(i64, i64, i64)| wanted * t > w * there;
            if wanted > there && scarcest.as_ref().is_none_or(scarcer) {
                scarcest = Some((*least, wanted, there));
            }
        }
        scarcest.map(|(least, _, _)| least)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Needs of 4, 6 and 6, lots that serve 1 of 4 each and 1 of 6 all: two wait for that one.
    #[test]
    fn the_scarcest_size_counts() {
        let sprayed = Sprayed {
            whole: vec![4, 6, 6],
            mixed: false,
        };
        assert_eq!(
            sprayed.scarcest(|least| if least > 4 { 1 } else { 3 }),
            Some(6)
        );
        assert_eq!(sprayed.scarcest(|_| 3), None);
    }
}
