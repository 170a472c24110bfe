//! What the site needs done, and the machines that do it.

use crate::code::{AssetCode, CapabilityCode};
use chrono::{DateTime, Utc};

/// A machine of the site.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Asset {
    /// Its code.
    pub code: AssetCode,
    /// Its name.
    pub name: String,
    /// Since when, or from when, it is down; none while it runs and nobody expects it to stop.
    pub down_from: Option<DateTime<Utc>>,
    /// When a replacement is expected that does not depend on the cell.
    pub back: Option<DateTime<Utc>>,
}

/// What the site needs done.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Capability {
    /// Its code.
    pub code: CapabilityCode,
    /// Its name.
    pub name: String,
    /// The machines that give it.
    pub assets: Vec<AssetCode>,
    /// How many of them must run.
    pub must_run: i64,
    /// What is lost each hour while none, one, two ... of them are down: one figure more than assets.
    pub loss_per_hour: Vec<i64>,
    /// Who said so.
    pub said_by: String,
    /// When.
    pub said_at: DateTime<Utc>,
}

/// Why a capability's figures contradict each other.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum LossFault {
    /// No machine gives it.
    #[error("no asset gives it; name at least one")]
    NoAssets,
    /// One machine is named twice.
    #[error("{asset} is named twice; name each asset once")]
    Twice {
        /// The machine.
        asset: AssetCode,
    },
    /// More must run than there are.
    #[error("{must_run} must run of {assets}; give 0 to {assets}")]
    MustRun {
        /// How many must run.
        must_run: i64,
        /// How many there are.
        assets: usize,
    },
    /// Not one figure for each number of machines down.
    #[error("{given} loss rates for {assets} assets; give {}, for none down, one down, and so on", .assets + 1)]
    Count {
        /// How many were given.
        given: usize,
        /// How many machines there are.
        assets: usize,
    },
    /// With one more down less would be lost.
    #[error(
        "the loss rate falls from {before} to {then} when {down} are down; it may stay or rise"
    )]
    Falls {
        /// The rate with one fewer down.
        before: i64,
        /// The rate.
        then: i64,
        /// How many are down then.
        down: usize,
    },
}

impl Capability {
    /// Everything in its figures that contradicts itself; empty if they hold.
    #[must_use]
    pub fn faults(&self) -> Vec<LossFault> {
        let count = self.assets.len();
        let mut faults = Vec::new();
        if count == 0 {
            faults.push(LossFault::NoAssets);
        }
        for (place, asset) in self.assets.iter().enumerate() {
            if self.assets[..place].contains(asset) {
                faults.push(LossFault::Twice {
                    asset: asset.clone(),
                });
            }
        }
        if usize::try_from(self.must_run).map_or(true, |must| must > count) {
            faults.push(LossFault::MustRun {
                must_run: self.must_run,
                assets: count,
            });
        }
        if self.loss_per_hour.len() != count + 1 {
            faults.push(LossFault::Count {
                given: self.loss_per_hour.len(),
                assets: count,
            });
        }
        for (down, pair) in (1..).zip(self.loss_per_hour.windows(2)) {
            if pair[1] < pair[0] {
                faults.push(LossFault::Falls {
                    before: pair[0],
                    then: pair[1],
                    down,
                });
            }
        }
        faults
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn water(loss_per_hour: &[i64]) -> Capability {
        let code = |c: &str| c.parse().expect("a code");
        Capability {
            code: "WATER".parse().expect("a code"),
            name: "fresh water".to_owned(),
            assets: vec![code("WP1"), code("WP2"), code("WP3")],
            must_run: 2,
            loss_per_hour: loss_per_hour.to_vec(),
            said_by: "harbour master".to_owned(),
            said_at: DateTime::UNIX_EPOCH,
        }
    }

    /// Three pumps need four figures, for none to three down, and none may be below the one before.
    #[test]
    fn a_loss_table_has_one_figure_more_than_assets_and_never_falls() {
        assert_eq!(water(&[0, 4, 60, 220]).faults(), []);
        let told = |losses: &[i64]| -> Vec<String> {
            water(losses)
                .faults()
                .iter()
                .map(ToString::to_string)
                .collect()
        };
        assert_eq!(
            told(&[0, 4, 60]),
            ["3 loss rates for 3 assets; give 4, for none down, one down, and so on"]
        );
        assert_eq!(
            told(&[0, 60, 4, 220]),
            ["the loss rate falls from 60 to 4 when 2 are down; it may stay or rise"]
        );
    }

    /// Four of three pumps cannot run, and a pump named twice would be counted twice.
    #[test]
    fn the_machines_named_are_enough_and_each_named_once() {
        let mut capability = water(&[0, 4, 60, 220]);
        capability.must_run = 4;
        capability.assets[2] = capability.assets[0].clone();
        assert_eq!(
            capability.faults(),
            [
                LossFault::Twice {
                    asset: capability.assets[0].clone()
                },
                LossFault::MustRun {
                    must_run: 4,
                    assets: 3
                }
            ]
        );
    }
}
