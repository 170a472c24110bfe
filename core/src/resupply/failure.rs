//! How often parts fail: what somebody expects, and what the site has seen.

use crate::code::PartCode;
use crate::lineup::{PRIOR_MIN, PRIOR_SHAPE};

/// What is known of how often a part fails, of all machines of the site together.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FailureRecord {
    /// Which part.
    pub part: PartCode,
    /// Failures that somebody expects in [`Self::prior_days`], in thousandths; 0 if nobody said.
    pub prior_milli: i64,
    /// In so many days; 0 if nobody said.
    pub prior_days: i64,
    /// Failures on record.
    pub seen: i64,
    /// In so many days.
    pub seen_days: i64,
}

/// A rate of failures that is not known for certain: a gamma distribution.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rate {
    /// Its shape: failures, expected and seen.
    pub shape: f64,
    /// Its rate: days, in which they were expected and seen.
    pub days: f64,
}

impl FailureRecord {
    /// The rate by what was said and what was seen together; none if neither.
    ///
    /// What was said counts as if it had been seen: so many failures in so many days, to which those on
    /// record are added (the gamma distribution is the conjugate of the Poisson: Gelman et al., Bayesian Data
    /// Analysis, chapter 2, from memory). Where nobody said anything, half a failure in 30 days is put before
    /// what was seen.
    #[must_use]
    pub fn rate(&self) -> Option<Rate> {
        let (said, seen) = (self.prior_days > 0, self.seen > 0 && self.seen_days > 0);
        if !said && !seen {
            return None;
        }
        let (shape, days) = if said {
            (self.prior_milli as f64 / 1000.0, self.prior_days as f64)
        } else {
            (PRIOR_SHAPE, PRIOR_MIN as f64 / 1440.0)
        };
        let shape = shape + self.seen.max(0) as f64;
        let days = days + self.seen_days.max(0) as f64;
        (shape > 0.0).then_some(Rate { shape, days })
    }
}

impl Rate {
    /// The mean, in failures a day.
    #[must_use]
    pub fn per_day(self) -> f64 {
        self.shape / self.days
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn record(prior_milli: i64, prior_days: i64, seen: i64, seen_days: i64) -> FailureRecord {
        FailureRecord {
            part: "P-1".parse().expect("a code"),
            prior_milli,
            prior_days,
            seen,
            seen_days,
        }
    }

    /// One failure in 180 days is expected, two were seen in 60: three in 240, one in 80 days.
    #[test]
    fn what_was_said_counts_as_if_it_had_been_seen() {
        let rate = record(1_000, 180, 2, 60).rate().expect("a rate");
        assert!((rate.per_day() - 1.0 / 80.0).abs() < 1e-12, "{rate:?}");
    }

    /// Nobody said anything, one was seen in 60 days: 1.5 in 90.
    #[test]
    fn where_nobody_said_anything_half_a_failure_in_thirty_days_goes_before() {
        let rate = record(0, 0, 1, 60).rate().expect("a rate");
        assert!((rate.per_day() - 1.5 / 90.0).abs() < 1e-12, "{rate:?}");
        assert_eq!(record(0, 0, 0, 60).rate(), None);
    }
}
