use super::{Line, Move};
use crate::planner::rules::CellRule;
use fastrand::Rng;

/// How the order is annealed. The figures are those of trials on published problems (DEVELOPERS.md).
pub(super) struct Cooling {
    /// For such a share of the time; in the rest of it the order climbs.
    pub share: f64,
    /// From so warm to so cold, as shares of what is at stake.
    warm: f64,
    cold: f64,
    /// A stage moves over so many places at most.
    pub far: usize,
    /// One change of so many moves a row of stages.
    rows: u8,
    /// One change of so many of the others has two stages change places.
    swaps: u8,
}

/// Where all stages follow each other alike: what is far apart may change places.
const ALIKE: Cooling = Cooling {
    share: 0.2,
    warm: 1.0,
    cold: 0.02,
    far: 50,
    rows: 8,
    swaps: 2,
};
/// Where it matters which powder comes behind which: rows that belong together move together.
const CHANGEOVERS: Cooling = Cooling {
    share: 0.8,
    warm: 4.0,
    cold: 0.005,
    far: 24,
    rows: 3,
    swaps: 4,
};
/// In the last part of it nothing dearer is gone on from any more.
const QUENCH: f64 = 0.1;
/// Longer rows seldom move to advantage.
const LONG: usize = 8;

impl Cooling {
    pub fn of(cell: &CellRule) -> &'static Self {
        let changeovers = cell.set_up.iter().flatten().any(|it| *it > 0);
        if changeovers { &CHANGEOVERS } else { &ALIKE }
    }
}

impl Line {
    /// Tries so many changes, `share` of the time for annealing being over.
    #[expect(
        clippy::cast_possible_truncation,
        reason = "a random tolerance, not a sum"
    )]
    pub(super) fn anneal(&mut self, rng: &mut Rng, changes: u64, share: f64) {
        let Cooling { warm, cold, .. } = *self.cooling;
        let quench = ((1.0 - share) / QUENCH).min(1.0);
        let warmth = self.stake * warm * (cold / warm).powf(share) * quench;
        for _ in 0..changes {
            let tolerance = -rng.f64().max(1e-12).ln() * warmth;
            let most = self.loss().saturating_add(tolerance as i64);
            self.change(rng, most);
        }
    }

    /// Changes the order at random, unless it then loses more than `most`.
    fn change(&mut self, rng: &mut Rng, most: i64) {
        let Cooling {
            far, rows, swaps, ..
        } = *self.cooling;
        let count = self.order.len();
        let size = if rng.u8(0..rows) == 0 {
            rng.usize(1..=count.min(LONG) - 1)
        } else {
            1
        };
        let from = rng.usize(0..=count - size);
        let to = self.place_near(rng, from, size, far);
        let change = Move {
            from,
            to,
            size,
            swap: size == 1 && rng.u8(0..swaps) == 0,
        };
        if from != to && self.make(change, most) {
            self.keep_if_best();
        }
    }
}
