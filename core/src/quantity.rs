//! Masses as integers: milligrams in storage, grams in plans.

use serde::{Deserialize, Serialize};

/// A mass in milligrams, so that balances add up exactly.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Milligrams(pub i64);

impl Milligrams {
    /// So many grams; saturates far beyond any mass on a site.
    #[must_use]
    pub const fn from_grams(grams: i64) -> Self {
        Self(grams.saturating_mul(1000))
    }

    /// Whole grams on hand: rounded down, never below zero.
    #[must_use]
    pub const fn grams_on_hand(self) -> i64 {
        if self.0 < 0 { 0 } else { self.0 / 1000 }
    }

    /// Whole grams needed: rounded up.
    #[must_use]
    pub const fn grams_needed(self) -> i64 {
        if self.0 <= 0 {
            0
        } else {
            (self.0 - 1) / 1000 + 1
        }
    }
}

impl std::iter::Sum for Milligrams {
    fn sum<I: Iterator<Item = Self>>(parts: I) -> Self {
        Self(parts.map(|m| m.0).sum())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What is on hand is never overstated and what is needed never understated.
    #[test]
    fn on_hand_rounds_down_and_need_rounds_up() {
        let mass = Milligrams(6_480_400); // 6 480.4 g
        assert_eq!(mass.grams_on_hand(), 6480);
        assert_eq!(mass.grams_needed(), 6481);
        assert_eq!(Milligrams::from_grams(5).grams_needed(), 5);
        assert_eq!(Milligrams(-3).grams_on_hand(), 0);
    }
}
