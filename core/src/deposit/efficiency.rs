use statrs::distribution::{Beta, ContinuousCDF};

use super::DepositError;
use crate::gas::range::within;

/// Deposition efficiency, the share of the fed powder that stays on the part, with its spread.
///
/// Modelled as a beta distribution that has this mean and standard deviation. It lives on 0 to 1
/// as an efficiency does and keeps both moments as given, where a normal distribution cut off at
/// 0 and 1 would shift them, most of all for the good recipes near 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Efficiency {
    mean: f64,
    sd: f64,
}

impl Efficiency {
    /// A mean of 0.01 to 1 and a standard deviation from 0 (known exactly) to below
    /// sqrt(mean (1 - mean)), the widest that any distribution on 0 to 1 can have.
    ///
    /// # Errors
    /// [`DepositError::OutOfRange`] or [`DepositError::SpreadTooWide`].
    pub fn new(mean: f64, sd: f64) -> Result<Efficiency, DepositError> {
        within("mean deposition efficiency", "(of 1)", mean, 0.01..=1.0)?;
        within(
            "spread of the deposition efficiency",
            "(of 1)",
            sd,
            0.0..=0.5,
        )?;
        let limit = (mean * (1.0 - mean)).sqrt();
        if sd > 0.0 && sd >= limit {
            return Err(DepositError::SpreadTooWide { mean, sd, limit });
        }
        Ok(Efficiency { mean, sd })
    }

    /// The mean, as a share of 1.
    #[must_use]
    pub const fn mean(&self) -> f64 {
        self.mean
    }

    /// The standard deviation, as a share of 1.
    #[must_use]
    pub const fn sd(&self) -> f64 {
        self.sd
    }

    /// The efficiency that is reached with the probability `quantile`: 0.95 gives the value that
    /// only 5 builds in 100 fall short of.
    ///
    /// # Errors
    /// [`DepositError::NoFiniteNeed`] if that is below 0.01.
    pub fn reached_with(&self, quantile: Quantile) -> Result<f64, DepositError> {
        let low = self.lower_quantile(1.0 - quantile.get());
        if (0.01..=1.0).contains(&low) {
            return Ok(low);
        }
        let Efficiency { mean, sd } = *self;
        Err(DepositError::NoFiniteNeed {
            mean,
            sd,
            low,
            quantile: quantile.get(),
        })
    }

    fn lower_quantile(&self, share: f64) -> f64 {
        if self.sd < SMALLEST_SD {
            return self.mean;
        }
        self.distribution()
            .map_or(0.0, |beta| beta.inverse_cdf(share))
    }

    /// Moments of the beta distribution of shape a, b: mean a / (a + b), variance
    /// mean (1 - mean) / (a + b + 1). None if the spread is the widest possible to within
    /// rounding, where all builds either lose everything or nothing.
    fn distribution(&self) -> Option<Beta> {
        let total = self.mean * (1.0 - self.mean) / self.sd.powi(2) - 1.0;
        Beta::new(self.mean * total, (1.0 - self.mean) * total).ok()
    }
}

/// Below this a spread changes no gram, and the beta distribution's parameters grow past what
/// its inverse can resolve.
const SMALLEST_SD: f64 = 1e-4;

/// In how many of 100 builds the planned powder must suffice, as a share of 1.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Quantile(f64);

impl Quantile {
    /// Takes 0.5 to 0.999.
    ///
    /// # Errors
    /// [`DepositError::OutOfRange`] for anything else.
    pub fn new(given: f64) -> Result<Quantile, DepositError> {
        Ok(Quantile(within(
            "planning quantile",
            "(of 1)",
            given,
            0.5..=0.999,
        )?))
    }

    /// The bare number, as a share of 1.
    #[must_use]
    pub const fn get(self) -> f64 {
        self.0
    }
}

impl Default for Quantile {
    /// 0.95: the powder suffices 95 times in 100.
    fn default() -> Quantile {
        Quantile(0.95)
    }
}

#[cfg(test)]
mod tests;
