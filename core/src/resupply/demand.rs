//! Whole distributions of demand: how much failures take until a delivery, in grams or in units.
//!
//! Failures come at random and independently of each other, each takes a random amount: the sum is a compound
//! distribution, worked out on a lattice by Panjer's recursion (Panjer 1981, ASTIN Bulletin 12:22-26). Where
//! a failure rate is known only from what was seen, as a gamma distribution, the number of failures is
//! negative binomial.

mod compound;
mod parts;
mod size;
#[cfg(test)]
mod tests;

use crate::gas::OutOfRange;

pub use compound::Count;
pub use parts::{Part, Rate};

/// Mass beyond the end of a distribution, at the most.
const TAIL: f64 = 1e-12;

/// Why a demand can't be worked out.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum DemandError {
    /// A number outside what is allowed.
    #[error(transparent)]
    OutOfRange(#[from] OutOfRange),
    /// Sizes of a failure's demand that are no distribution.
    #[error(
        "the chances of the sizes add up to {sum}, and none may be below 0; they must add up to 1"
    )]
    NotOne {
        /// What they add up to.
        sum: f64,
    },
    /// Two distributions on different lattices.
    #[error(
        "demands in steps of {one} and of {other} can't be added; work both out in the same step"
    )]
    Steps {
        /// One step.
        one: i64,
        /// The other.
        other: i64,
    },
}

/// The distribution of a demand: the chance of each multiple of a step, from 0 on.
#[derive(Debug, Clone, PartialEq)]
pub struct Distribution {
    step: i64,
    chances: Vec<f64>,
}

impl Distribution {
    /// Demand in whole units, one for each failure.
    ///
    /// # Errors
    /// None but those of the count itself; see [`Count::poisson`].
    pub fn of_units(count: Count) -> Result<Distribution, DemandError> {
        Distribution::compound(count, &[0.0, 1.0], 1)
    }

    /// Demand of a number of failures each of which takes 0, 1, 2 ... steps with the chances given.
    ///
    /// # Errors
    /// A step below 1, and chances that don't add up to 1 within a millionth.
    pub fn compound(count: Count, sizes: &[f64], step: i64) -> Result<Distribution, DemandError> {
        crate::gas::range::within("step", "", step as f64, 1.0..=1e9)?;
        let sum: f64 = sizes.iter().sum();
        let each_a_chance = sizes.iter().all(|chance| *chance >= 0.0);
        if !each_a_chance || (sum - 1.0).abs() > 1e-6 || sum.is_nan() {
            return Err(DemandError::NotOne { sum });
        }
        let chances = compound::recursion(count, sizes);
        Ok(Distribution::normal(step, chances))
    }

    /// No demand at all.
    #[must_use]
    pub fn none(step: i64) -> Distribution {
        let chances = vec![1.0];
        Distribution { step, chances }
    }

    /// Cut where nearly nothing is left, and made to add up to 1.
    fn normal(step: i64, mut chances: Vec<f64>) -> Distribution {
        let mut beyond = 0.0;
        while chances.len() > 1 && beyond + chances[chances.len() - 1] < TAIL {
            beyond += chances.pop().unwrap_or(0.0);
        }
        let sum: f64 = chances.iter().sum();
        chances.iter_mut().for_each(|chance| *chance /= sum);
        Distribution { step, chances }
    }

    /// What lies between two amounts, in grams or units.
    #[must_use]
    pub const fn step(&self) -> i64 {
        self.step
    }

    /// The chance of 0, 1, 2 ... steps.
    #[must_use]
    pub fn chances(&self) -> &[f64] {
        &self.chances
    }

    /// Amount and chance of each step.
    fn amounts(&self) -> impl Iterator<Item = (f64, f64)> {
        let step = self.step as f64;
        let each = self.chances.iter().enumerate();
        each.map(move |(n, chance)| (n as f64 * step, *chance))
    }

    /// The mean, in grams or units.
    #[must_use]
    pub fn mean(&self) -> f64 {
        self.amounts().map(|(amount, chance)| amount * chance).sum()
    }

    /// The standard deviation, in grams or units.
    #[must_use]
    pub fn sd(&self) -> f64 {
        let mean = self.mean();
        let each = self.amounts();
        let variance: f64 = each.map(|(it, chance)| (it - mean).powi(2) * chance).sum();
        variance.sqrt()
    }

    /// The least amount that is enough in so many of 1000 cases.
    #[must_use]
    pub fn quantile(&self, permille: i64) -> i64 {
        self.enough_in(permille as f64 / 1000.0)
    }

    /// The least amount that is enough with the chance given, of 1.
    #[must_use]
    pub fn enough_in(&self, chance: f64) -> i64 {
        let mut sum = 0.0;
        let reached = |it: &f64| {
            sum += it;
            // What was added up may be short by rounding.
            sum >= chance - 1e-12
        };
        let last = self.chances.len() - 1;
        let steps = self.chances.iter().position(reached).unwrap_or(last);
        steps as i64 * self.step
    }

    /// The chance that so much is enough: that no more is asked for.
    #[must_use]
    pub fn chance_enough(&self, have: i64) -> f64 {
        if have < 0 {
            return 0.0;
        }
        let steps = usize::try_from(have / self.step).unwrap_or(usize::MAX);
        let within = self.chances.iter().take(steps.saturating_add(1));
        within.sum::<f64>().min(1.0)
    }

    /// By how much so much falls short on the average: the mean of what is asked for beyond it.
    #[must_use]
    pub fn expected_short(&self, have: i64) -> f64 {
        let have = have as f64;
        let each = self.amounts();
        each.map(|(amount, chance)| (amount - have).max(0.0) * chance)
            .sum()
    }

    /// The sum of two demands that don't depend on each other.
    ///
    /// # Errors
    /// Different steps.
    pub fn convolve(&self, other: &Distribution) -> Result<Distribution, DemandError> {
        if self.step != other.step {
            let (one, other) = (self.step, other.step);
            return Err(DemandError::Steps { one, other });
        }
        let mut chances = vec![0.0; self.chances.len() + other.chances.len() - 1];
        let each = self.chances.iter().enumerate();
        for (from, one) in each.filter(|(_, chance)| **chance > 0.0) {
            for (sum, other) in chances[from..].iter_mut().zip(&other.chances) {
                *sum += one * other;
            }
        }
        Ok(Distribution::normal(self.step, chances))
    }
}

/// The least level at which one more would cost more on the average than it saves.
///
/// `under` is the cost of each that is lacking, `over` that of each left over: the level is enough in
/// `under / (under + over)` of cases (the newsvendor's rule; Arrow, Harris and Marschak 1951, Econometrica
/// 19:250-272, from memory).
///
/// # Errors
/// Costs below 0, or both 0.
pub fn newsvendor(demand: &Distribution, under: i64, over: i64) -> Result<i64, DemandError> {
    const MOST: f64 = 1e12;
    let cost = |name, given: i64| crate::gas::range::within(name, "", given as f64, 0.0..=MOST);
    let under = cost("cost of one that is lacking", under)?;
    let over = cost("cost of one left over", over)?;
    crate::gas::range::within("sum of both costs", "", under + over, 1.0..=2.0 * MOST)?;
    Ok(demand.enough_in(under / (under + over)))
}
