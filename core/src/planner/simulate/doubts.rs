//! What is not certain about a problem.

use std::collections::BTreeMap;

use crate::planner::problem::Operation;

/// What is not certain about a problem; what is not named here is as the problem says.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Doubts {
    /// What comes from elsewhere, and how late it may be.
    pub comings: Vec<Coming>,
    /// Chances that a build passes, each shared by the builds that are alike: a run draws it once for all.
    pub chances: Vec<Share>,
    /// By job and option, of those that anything is known of.
    pub options: BTreeMap<(String, String), OptionDoubt>,
}

/// A delivery, with all that waits for it.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Coming {
    /// Minutes by which it is late at most.
    pub latest: i64,
    /// The chance that it comes as told, of 1; else any minute up to the latest is as likely as any other.
    pub on_time: f64,
    /// The lots that it brings.
    pub lots: Vec<String>,
    /// The arrivals in stores that it brings.
    pub arrivals: Vec<ArrivalDoubt>,
    /// Options `(job, option)` that are ready no sooner.
    pub options: Vec<(String, String)>,
    /// Assets without a job that are back no sooner.
    pub assets: Vec<String>,
}

/// An arrival in a store, and what is used there while it is late.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ArrivalDoubt {
    /// The store.
    pub store: String,
    /// The minute of the arrival as the problem has it.
    pub at: i64,
    /// What is used steadily each day, and was set aside up to that minute only.
    pub steady_per_day: i64,
}

/// What is not certain about one way to get a part.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct OptionDoubt {
    /// In the order of its operations; those not named are as told.
    pub operations: Vec<OperationDoubt>,
    /// The check that its part has to pass; none if nothing can fail.
    pub check: Option<Check>,
}

/// What is not certain about one operation.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct OperationDoubt {
    /// Standard deviation of the logarithm of its minutes, told ones being the median; 0 if they are certain.
    /// Of spraying, that of the handling alone.
    pub spread: f64,
    /// What a stage feeds; none if it feeds what the problem says.
    pub spray: Option<SprayDoubt>,
}

/// What a stage feeds in fact: as much as must stick, by the share that sticks.
#[derive(Debug, Clone, PartialEq)]
pub struct SprayDoubt {
    /// Grams that must stick.
    pub deposited_g: i64,
    /// The share of the fed powder that sticks.
    pub sticks: Share,
    /// Grams that are sprayed besides: at starts and stops, on coupons.
    pub beside_g: i64,
    /// Grams that stay in the feeder.
    pub heel_g: i64,
    /// Of its minutes, those that do not go by the grams sprayed.
    pub handling_min: i64,
    /// By store: of what is drawn, as much as goes by the grams sprayed.
    pub by_grams: BTreeMap<String, i64>,
}

/// The check of a part, and what it costs to fail it.
#[derive(Debug, Clone, PartialEq)]
pub struct Check {
    /// Position of the operation at whose end it is known.
    pub at: usize,
    /// The chance to pass, by position in [`Doubts::chances`].
    pub chance: usize,
    /// The operations of a build from the beginning to the end; none if there is no other try.
    pub again: Vec<Operation>,
    /// What is not certain about those.
    pub again_doubts: Vec<OperationDoubt>,
    /// Position among those of the one at whose end it is known.
    pub again_at: usize,
}

/// A share of 1 that is not certain: a beta distribution.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Share {
    pub(super) ones: f64,
    pub(super) zeros: f64,
}

impl Share {
    /// As likely as after so many of one kind and of the other, of which neither is less than a thousandth or
    /// more than a thousand million.
    #[must_use]
    pub fn after(ones: f64, zeros: f64) -> Self {
        let within = |count: f64| match count.is_nan() {
            true => 0.001,
            false => count.clamp(0.001, 1e9),
        };
        Self {
            ones: within(ones),
            zeros: within(zeros),
        }
    }

    /// Of a mean and a standard deviation, both of 1; certain to a thousandth if that is 0.
    #[must_use]
    pub fn about(mean: f64, sd: f64) -> Self {
        let total = mean * (1.0 - mean) / sd.max(1e-4).powi(2) - 1.0;
        Self::after(mean * total, (1.0 - mean) * total)
    }

    /// Its mean, of 1.
    #[must_use]
    pub fn mean(&self) -> f64 {
        self.ones / (self.ones + self.zeros)
    }
}
