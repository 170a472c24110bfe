//! Panjer's recursion.

use super::{DemandError, TAIL};
use crate::gas::range::{whole_up, within};

/// More failures than that are not expected of anything.
const MOST_FAILURES: f64 = 10_000.0;

/// Beyond this many standard deviations above the mean nothing is worked out.
const FAR: f64 = 40.0;

/// The number of failures: its distribution.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Count {
    mean: f64,
    /// The shape of the rate's gamma distribution; none if the rate is known.
    shape: Option<f64>,
}

impl Count {
    /// A Poisson number of the mean given, 0 to 10 000: the rate is known.
    ///
    /// # Errors
    /// A mean outside that.
    pub fn poisson(mean: f64) -> Result<Count, DemandError> {
        let mean = within("mean number of failures", "", mean, 0.0..=MOST_FAILURES)?;
        Ok(Count { mean, shape: None })
    }

    /// A negative binomial number of the mean given, 0 to 10 000, whose rate has a gamma distribution of the
    /// shape given, 0.01 to a million: its variance is `mean + mean^2 / shape`.
    ///
    /// # Errors
    /// A mean or shape outside that.
    pub fn negative_binomial(mean: f64, shape: f64) -> Result<Count, DemandError> {
        let shape = within("shape of the rate", "", shape, 0.01..=1e6)?;
        Ok(Count {
            shape: Some(shape),
            ..Count::poisson(mean)?
        })
    }

    /// The mean number.
    #[must_use]
    pub const fn mean(&self) -> f64 {
        self.mean
    }

    /// The variance of the number.
    #[must_use]
    pub fn variance(&self) -> f64 {
        self.mean + self.shape.map_or(0.0, |shape| self.mean.powi(2) / shape)
    }

    /// Panjer's a and b, and the logarithm of the chance that nothing is asked for if a failure asks for
    /// nothing with chance `nothing`.
    ///
    /// Poisson: a = 0, b = m, exp(-m (1 - f)). Negative binomial with c = m / r: a = c / (1 + c), b = (r - 1)
    /// a, (1 + c (1 - f))^-r.
    fn class(&self, nothing: f64) -> (f64, f64, f64) {
        let asks = 1.0 - nothing;
        let Some(shape) = self.shape else {
            return (0.0, self.mean, -self.mean * asks);
        };
        let c = self.mean / shape;
        let a = c / (1.0 + c);
        (a, (shape - 1.0) * a, -shape * (c * asks).ln_1p())
    }
}

/// The chances of 0, 1, 2 ... steps in all.
///
/// All terms are positive, so that the recursion is stable; it begins with 1 instead of a chance that may be
/// too small for a number, and is scaled down whenever it has grown large.
pub(super) fn recursion(count: Count, sizes: &[f64]) -> Vec<f64> {
    const LARGE: f64 = 1e200;
    let (a, b, mut log_scale) = count.class(sizes[0]);
    // Most sizes may have no chance at all.
    let sizes_at: Vec<(usize, f64)> = sizes.iter().copied().enumerate().skip(1).collect();
    let sizes_at: Vec<_> = sizes_at.into_iter().filter(|(_, it)| *it > 0.0).collect();
    let mut chances = vec![1.0];
    let mut sum = 1.0;
    let most = cells(count, sizes);
    while sum * log_scale.exp() < 1.0 - TAIL && chances.len() < most {
        let x = chances.len();
        let within = sizes_at.iter().take_while(|(size, _)| *size <= x);
        let terms = within
            .map(|(size, chance)| (a + b * *size as f64 / x as f64) * chance * chances[x - size]);
        let next = terms.sum::<f64>() / (1.0 - a * sizes[0]);
        chances.push(next);
        sum += next;
        if next > LARGE {
            chances.iter_mut().for_each(|it| *it /= LARGE);
            (sum, log_scale) = (sum / LARGE, log_scale + LARGE.ln());
        }
    }
    let scale = log_scale.exp();
    chances.iter_mut().for_each(|it| *it *= scale);
    chances
}

/// How many steps are worked out at the most.
fn cells(count: Count, sizes: &[f64]) -> usize {
    let each = || sizes.iter().enumerate().map(|(n, it)| (n as f64, *it));
    let mean: f64 = each().map(|(n, it)| n * it).sum();
    let square: f64 = each().map(|(n, it)| n * n * it).sum();
    // Var S = E N Var X + Var N (E X)^2.
    let variance = count.mean * (square - mean * mean) + count.variance() * mean * mean;
    let most = count.mean * mean + FAR * variance.max(0.0).sqrt();
    let most = usize::try_from(whole_up(most)).unwrap_or(0);
    most + sizes.len() + 1
}
