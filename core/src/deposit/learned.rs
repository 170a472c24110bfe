use statrs::function::gamma::ln_gamma;
use std::f64::consts::TAU;

use super::{DepositError, Efficiency};
use crate::gas::range::within;

/// What is known of a stage's deposition efficiency: its approval, updated by weighed builds.
///
/// Builds are taken as normal around an unknown mean with an unknown variance, and the approval as
/// the conjugate prior of both, a normal-inverse-gamma of mean `m`, weight `n`, shape `1 + n / 2`
/// and scale `s / 2`. The approval sets `m` and `n`, and `s` so that the predictive variance,
/// `s (n + 1) / n^2`, is the approval's own: without a build nothing changes. The shape is one
/// above that of `n` plain observations, so that the variance is finite from the first.
///
/// Source: the conjugate analysis of the normal distribution, as in Murphy 2007, 'Conjugate
/// Bayesian analysis of the Gaussian distribution', section 6, and Gelman et al., 'Bayesian Data
/// Analysis', chapter 3; from memory.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Learned {
    approval: Efficiency,
    mean: f64,
    /// Builds that the mean rests on, those of the approval included.
    weight: f64,
    /// Sum of squared deviations, in the same sense.
    squares: f64,
    weighed: usize,
}

impl Learned {
    /// The approval alone, as if it rested on so many builds, 1 to 1000.
    ///
    /// A spread of 0 counts as half of its last figure, 0.0005, once a build is weighed: nothing
    /// that is weighed is known exactly.
    ///
    /// # Errors
    /// [`DepositError::OutOfRange`] for another number of builds.
    pub fn from_approval(approval: Efficiency, builds: i64) -> Result<Learned, DepositError> {
        #[expect(
            clippy::cast_precision_loss,
            reason = "what loses precision is out of range"
        )]
        let weight = within(
            "builds behind the approval",
            "builds",
            builds as f64,
            1.0..=1000.0,
        )?;
        let variance = approval.sd().max(LEAST_SD).powi(2);
        Ok(Learned {
            approval,
            mean: approval.mean(),
            weight,
            squares: variance * weight.powi(2) / (weight + 1.0),
            weighed: 0,
        })
    }

    /// Updated by builds, each with the share of the fed powder that stayed, 0.02 to 1. Their order
    /// does not matter.
    ///
    /// # Errors
    /// [`DepositError::OutOfRange`] for a share outside that.
    pub fn after(mut self, builds: &[f64]) -> Result<Learned, DepositError> {
        for given in builds {
            let share = within("efficiency of a weighed build", "(of 1)", *given, SHARES)?;
            let off = share - self.mean;
            self.weight += 1.0;
            self.squares += off * off * (self.weight - 1.0) / self.weight;
            self.mean += off / self.weight;
            self.weighed += 1;
        }
        Ok(self)
    }

    /// What the next build may reach: mean and spread of the predictive distribution.
    ///
    /// That distribution is a Student's t of `2 + n` degrees; its two moments are handed on, and
    /// [`Efficiency`] keeps its quantile between 0 and 1. Up to 19 of 20 builds that asks for no less
    /// powder than the t itself; beyond 97 of 100 the t has the longer tail.
    ///
    /// # Errors
    /// None for what `after` takes; those of [`Efficiency::new`].
    pub fn predicted(&self) -> Result<Predicted, DepositError> {
        if self.weighed == 0 {
            return Ok(Predicted {
                efficiency: self.approval,
                cut: false,
            });
        }
        let mean = self.mean.clamp(0.01, 1.0);
        let sd = (self.squares * (self.weight + 1.0)).sqrt() / self.weight;
        let widest = WIDEST * (mean * (1.0 - mean)).sqrt();
        Ok(Predicted {
            efficiency: Efficiency::new(mean, sd.min(widest))?,
            cut: sd > widest,
        })
    }

    /// The logarithm of the odds that two groups of builds differ, each with a mean and a spread of
    /// its own drawn from what is known here, against one mean and spread for both; even odds before
    /// a build is seen. Zero if either is empty.
    ///
    /// # Errors
    /// As [`Learned::after`].
    pub fn log_odds_apart(&self, some: &[f64], others: &[f64]) -> Result<f64, DepositError> {
        if some.is_empty() || others.is_empty() {
            return Ok(0.0);
        }
        let (one, other) = (self.after(some)?, self.after(others)?);
        let both = one.after(others)?;
        Ok(self.log_evidence(&one) + self.log_evidence(&other) - self.log_evidence(&both))
    }

    /// The logarithm of the probability density of the builds that lead from here to `then`.
    fn log_evidence(&self, then: &Learned) -> f64 {
        let new = then.weight - self.weight;
        let (shape, scale) = (1.0 + self.weight / 2.0, self.squares / 2.0);
        let (shape_then, scale_then) = (1.0 + then.weight / 2.0, then.squares / 2.0);
        ln_gamma(shape_then) - ln_gamma(shape) + shape * scale.ln() - shape_then * scale_then.ln()
            + (self.weight / then.weight).ln() / 2.0
            - new / 2.0 * TAU.ln()
    }
}

/// What the next build may reach.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Predicted {
    /// Mean and spread.
    pub efficiency: Efficiency,
    /// Whether the builds differ by more than any distribution on 0 to 1 allows, so that the
    /// spread was cut to the widest that there is.
    pub cut: bool,
}

/// Half of the last figure in which an approval's spread is given.
const LEAST_SD: f64 = 0.0005;

/// A build below that is a failure to look into, and above 1 powder came from elsewhere.
const SHARES: std::ops::RangeInclusive<f64> = 0.02..=1.0;

/// Of the widest spread on 0 to 1, how much is taken: at all of it the distribution has two points.
const WIDEST: f64 = 0.99;

#[cfg(test)]
mod tests;
