//! What the site needs done, and the machines that do it.

use crate::code::{AssetCode, CapabilityCode};
use crate::word_enum;
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
    /// What is likely lost each hour while none, one, two ... of them are down: one figure more than
    /// assets. The plan goes by it.
    pub loss_per_hour: Vec<i64>,
    /// How far off that may be; none if nobody said.
    pub loss_range: Option<LossRange>,
    /// Who said so.
    pub said_by: String,
    /// When.
    pub said_at: DateTime<Utc>,
}

word_enum! {
    /// Which of the three figures that are given for a loss rate.
    Figure {
        /// Hardly less than this.
        Low = "low",
        /// What the plan goes by.
        Likely = "likely",
        /// Hardly more than this.
        High = "high",
    }
}

/// The loss rates between which the right ones lie, by number down as the likely ones.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LossRange {
    /// Hardly less than these.
    pub low: Vec<i64>,
    /// Hardly more than these.
    pub high: Vec<i64>,
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
    #[error("{given} {}s for {assets} assets; give {}, for none down, one down, and so on", rate(*.figure), .assets + 1)]
    Count {
        /// Which of the three.
        figure: Figure,
        /// How many were given.
        given: usize,
        /// How many machines there are.
        assets: usize,
    },
    /// With one more down less would be lost.
    #[error(
        "the {} falls from {before} to {then} when {down} are down; it may stay or rise", rate(*.figure)
    )]
    Falls {
        /// Which of the three.
        figure: Figure,
        /// The rate with one fewer down.
        before: i64,
        /// The rate.
        then: i64,
        /// How many are down then.
        down: usize,
    },
    /// The likely rate does not lie between the other two.
    #[error(
        "{likely} is not within {low} to {high} when {down} are down; the likely rate lies between low and high"
    )]
    Outside {
        /// How many are down then.
        down: usize,
        /// The low rate.
        low: i64,
        /// The likely one.
        likely: i64,
        /// The high one.
        high: i64,
    },
}

const fn rate(figure: Figure) -> &'static str {
    match figure {
        Figure::Low => "low loss rate",
        Figure::Likely => "loss rate",
        Figure::High => "high loss rate",
    }
}

impl Capability {
    /// The loss rates by one of the three figures; none where nobody said how far off they may be.
    #[must_use]
    pub fn rates(&self, figure: Figure) -> Option<&[i64]> {
        let range = self.loss_range.as_ref();
        match figure {
            Figure::Likely => Some(&self.loss_per_hour),
            Figure::Low => range.map(|range| range.low.as_slice()),
            Figure::High => range.map(|range| range.high.as_slice()),
        }
    }

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
        for figure in [Figure::Likely, Figure::Low, Figure::High] {
            faults.extend(self.faults_of(figure));
        }
        faults.extend(self.outside());
        faults
    }

    fn faults_of(&self, figure: Figure) -> Vec<LossFault> {
        let Some(rates) = self.rates(figure) else {
            return Vec::new();
        };
        let mut faults = Vec::new();
        if rates.len() != self.assets.len() + 1 {
            faults.push(LossFault::Count {
                figure,
                given: rates.len(),
                assets: self.assets.len(),
            });
        }
        for (down, pair) in (1..).zip(rates.windows(2)) {
            if pair[1] < pair[0] {
                faults.push(LossFault::Falls {
                    figure,
                    before: pair[0],
                    then: pair[1],
                    down,
                });
            }
        }
        faults
    }

    fn outside(&self) -> impl Iterator<Item = LossFault> {
        let likely = self.loss_per_hour.iter().enumerate();
        self.loss_range.iter().flat_map(move |range| {
            let ends = range.low.iter().zip(&range.high);
            likely
                .clone()
                .zip(ends)
                .filter(|((_, likely), (low, high))| likely < low || likely > high)
                .map(|((down, likely), (low, high))| LossFault::Outside {
                    down,
                    low: *low,
                    likely: *likely,
                    high: *high,
                })
        })
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
            loss_range: None,
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

    /// 60 an hour is likely with two down; it may be 40 to 90. Said as 70 to 90 the likely one lies
    /// outside, and a low table of three figures is one short.
    #[test]
    fn the_likely_figures_lie_between_low_and_high() {
        let mut capability = water(&[0, 4, 60, 220]);
        assert_eq!(capability.rates(Figure::Low), None);
        let range = |low: &[i64]| {
            Some(LossRange {
                low: low.to_vec(),
                high: vec![0, 9, 90, 400],
            })
        };
        capability.loss_range = range(&[0, 2, 40, 100]);
        assert_eq!(capability.faults(), []);
        assert_eq!(capability.rates(Figure::Low), Some(&[0, 2, 40, 100][..]));
        capability.loss_range = range(&[0, 2, 70]);
        let told: Vec<String> = capability
            .faults()
            .iter()
            .map(ToString::to_string)
            .collect();
        assert_eq!(
            told,
            [
                "3 low loss rates for 3 assets; give 4, for none down, one down, and so on",
                "60 is not within 70 to 90 when 2 are down; the likely rate lies between low and high"
            ]
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
