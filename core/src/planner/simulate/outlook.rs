use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

/// What is to be expected of a plan, by many runs of it.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Outlook {
    /// How many runs.
    pub runs: usize,
    /// By asset.
    pub assets: BTreeMap<String, BackBy>,
    /// By powder that the plan sprays: in how many of 1000 runs all of its stages had enough, builds anew
    /// included.
    pub powders: BTreeMap<String, i64>,
    /// By store that the plan draws on, in the same sense.
    pub stores: BTreeMap<String, i64>,
    /// Mean loss, as rate x minutes.
    pub mean_loss: i64,
    /// The loss that is not exceeded in 80 of 100 runs, as rate x minutes.
    pub loss_80: i64,
}

/// The minute by which an asset is back in so many of 100 runs; none if that is not before the horizon.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct BackBy {
    /// In 50.
    pub half: Option<i64>,
    /// In 80.
    pub likely: Option<i64>,
    /// In 95.
    pub almost_sure: Option<i64>,
}

/// What single runs ended with, one entry for each run.
pub(super) struct Runs {
    pub horizon: i64,
    /// By asset.
    pub back: BTreeMap<String, Vec<i64>>,
    pub losses: Vec<i64>,
    /// By powder and by store: runs in which it did not suffice.
    pub short_of_powder: BTreeMap<String, usize>,
    pub short_of_store: BTreeMap<String, usize>,
}

impl Runs {
    pub fn outlook(self) -> Outlook {
        let runs = self.losses.len();
        let horizon = self.horizon;
        let permille = |short: usize| i64::try_from((runs - short) * 1000 / runs.max(1));
        let suffice = |short: BTreeMap<String, usize>| {
            let of = short.into_iter();
            of.map(|(id, short)| (id, permille(short).unwrap_or(0)))
                .collect()
        };
        let back_by = |mut back: Vec<i64>| {
            back.sort_unstable();
            let by = |percent| reached(&back, percent).filter(|minute| *minute < horizon);
            BackBy {
                half: by(50),
                likely: by(80),
                almost_sure: by(95),
            }
        };
        let mut losses = self.losses;
        losses.sort_unstable();
        let sum: i128 = losses.iter().map(|loss| i128::from(*loss)).sum();
        let mean = sum / i128::try_from(runs.max(1)).unwrap_or(1);
        Outlook {
            runs,
            assets: self
                .back
                .into_iter()
                .map(|(id, back)| (id, back_by(back)))
                .collect(),
            powders: suffice(self.short_of_powder),
            stores: suffice(self.short_of_store),
            mean_loss: i64::try_from(mean).unwrap_or(i64::MAX),
            loss_80: reached(&losses, 80).unwrap_or(0),
        }
    }
}

/// The least of the values, sorted, that so many of 100 of them do not exceed.
fn reached(sorted: &[i64], percent: usize) -> Option<i64> {
    let count = (sorted.len() * percent).div_ceil(100);
    sorted.get(count.checked_sub(1)?).copied()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Of 1 to 20, 10 are at most 10, 16 at most 16 and 19 at most 19. Of 1, 2, 3 two thirds are at most 2:
    /// that is 50 of 100, but not 80.
    #[test]
    fn so_many_of_a_hundred_do_not_exceed_it() {
        let all: Vec<i64> = (1..=20).collect();
        let at = |percent| reached(&all, percent);
        assert_eq!((at(50), at(80), at(95)), (Some(10), Some(16), Some(19)));
        assert_eq!(reached(&[1, 2, 3], 50), Some(2));
        assert_eq!(reached(&[1, 2, 3], 80), Some(3));
        assert_eq!(reached(&[], 80), None);
    }
}
