//! What may fail until the trip after this one: many courses of it, drawn once for all lists.

use super::failure::{FailureRecord, Rate};
use crate::code::{AssetCode, PartCode};
use crate::situation::Situation;
use fastrand::Rng;
use statrs::distribution::{ContinuousCDF, Gamma, Normal};

/// A part that fails.
#[derive(Debug, Clone, PartialEq)]
pub struct Failure {
    /// When, in minutes from now.
    pub minute: i64,
    /// Which part.
    pub part: PartCode,
    /// Of which machine.
    pub asset: AssetCode,
    /// What its rebuild takes of powder, in standard deviations beyond what is likely.
    pub luck: f64,
}

/// Draws `count` courses of what fails within `minutes`, each by time.
///
/// Of each part a rate is drawn from what is known of it, then failures at that rate (a Poisson process);
/// each falls to one of the part's machines, all alike.
#[must_use]
pub fn draw(
    situation: &Situation,
    records: &[FailureRecord],
    minutes: i64,
    count: usize,
    seed: u64,
) -> Vec<Vec<Failure>> {
    let mut rng = Rng::with_seed(seed);
    let known: Vec<(&FailureRecord, Rate, Vec<&AssetCode>)> = records
        .iter()
        .filter_map(|record| {
            let part = situation.part(&record.part)?;
            let assets: Vec<&AssetCode> = part.assets.iter().collect();
            let rate = record.rate().filter(|_| !assets.is_empty())?;
            Some((record, rate, assets))
        })
        .collect();
    let one = |rng: &mut Rng| {
        let mut course = Vec::new();
        for (record, rate, assets) in &known {
            let per_minute = drawn_rate(*rate, rng) / 1440.0;
            let mut at = gap(per_minute, rng);
            while at < minutes as f64 {
                course.push(Failure {
                    #[expect(clippy::cast_possible_truncation, reason = "below `minutes`")]
                    minute: at as i64,
                    part: record.part.clone(),
                    asset: assets[rng.usize(..assets.len())].clone(),
                    luck: standard_normal(rng),
                });
                at += gap(per_minute, rng);
            }
        }
        course.sort_by_key(|failure| failure.minute);
        course
    };
    (0..count).map(|_| one(&mut rng)).collect()
}

fn drawn_rate(rate: Rate, rng: &mut Rng) -> f64 {
    let share = open(rng);
    Gamma::new(rate.shape, rate.days).map_or_else(
        |_| rate.per_day(),
        |gamma| gamma.inverse_cdf(share).max(0.0),
    )
}

/// Minutes to the next failure.
fn gap(per_minute: f64, rng: &mut Rng) -> f64 {
    if per_minute > 0.0 {
        -open(rng).ln() / per_minute
    } else {
        f64::INFINITY
    }
}

fn standard_normal(rng: &mut Rng) -> f64 {
    let share = open(rng);
    Normal::new(0.0, 1.0).map_or(0.0, |normal| normal.inverse_cdf(share))
}

/// Above 0 and below 1.
fn open(rng: &mut Rng) -> f64 {
    rng.f64().clamp(1e-12, 1.0 - 1e-12)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::lineup::tests::site::{code, site};

    fn site_with_assets() -> Situation {
        let mut situation = site();
        situation.parts[0].assets = [code("pump-1"), code("pump-2")].into();
        situation
    }

    /// Four failures are expected in 100 days: in 25 days one on the average. The number to come is negative
    /// binomial of shape 4 with mean 1: variance 1 + 1/4 = 1.25 (Gelman et al., chapter 2, from memory). Over
    /// 4 000 courses the mean lies within 4 x sqrt(1.25 / 4000) = 0.07 of it.
    #[test]
    fn as_many_fail_as_the_rate_says_and_it_is_not_known_for_certain() {
        let records = [FailureRecord {
            part: code("P-1"),
            prior_milli: 4_000,
            prior_days: 100,
            seen: 0,
            seen_days: 0,
        }];
        let courses = draw(&site_with_assets(), &records, 25 * 1440, 4_000, 1);
        let counts: Vec<f64> = courses.iter().map(|c| c.len() as f64).collect();
        let mean = counts.iter().sum::<f64>() / 4_000.0;
        let square = |n: &f64| (n - mean) * (n - mean);
        let variance = counts.iter().map(square).sum::<f64>() / 4_000.0;
        assert!((mean - 1.0).abs() < 0.07, "{mean}");
        assert!((variance - 1.25).abs() < 0.15, "{variance}");
        for course in &courses {
            assert!(course.is_sorted_by_key(|failure| failure.minute));
        }
    }

    #[test]
    fn what_has_no_machine_or_no_rate_does_not_fail() {
        let record = |seen| FailureRecord {
            part: code("P-1"),
            prior_milli: 0,
            prior_days: 0,
            seen,
            seen_days: 10,
        };
        let none = |situation: &Situation, seen| {
            let courses = draw(situation, &[record(seen)], 100_000, 50, 1);
            courses.iter().all(Vec::is_empty)
        };
        assert!(none(&site(), 3), "no machine has the part");
        assert!(none(&site_with_assets(), 0), "nothing is known of it");
        assert!(!none(&site_with_assets(), 3));
    }
}
