//! How much to keep back: what the failures to expect until the trip after next take.

use super::hold::recipes_for;
use super::need::{GasSource, stage_need};
use crate::catalogue::{Recipe, Spray};
use crate::code::AssetCode;
use crate::situation::{Held, Situation, trip_after_next};
use std::collections::BTreeSet;

/// Before anything is seen: half a failure, as if in so many minutes (30 days). Common practice, no source.
pub(crate) const PRIOR_MIN: i64 = 30 * 1440;

/// The gamma distribution of a failure rate of which nothing is known has this shape (Jeffreys' prior of a
/// Poisson rate, from memory).
pub(crate) const PRIOR_SHAPE: f64 = 0.5;

/// More failures than advised come in no more than so many of 1: common practice, no source.
const TAIL: f64 = 0.1;

/// More than that many are not reckoned.
const MOST: i64 = 1000;

/// Failures on record.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Seen {
    /// How many.
    pub failures: i64,
    /// In so many minutes.
    pub minutes: i64,
}

/// How much to keep back for some machines, and what that rests on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Provision {
    /// What the rebuild takes that takes most, in grams.
    pub rebuild_g: i64,
    /// For so many rebuilds.
    pub rebuilds: i64,
    /// Minutes until the trip after next, or where it is not known until the line-up's end.
    pub ahead_min: i64,
}

impl Provision {
    /// How much, in grams.
    #[must_use]
    pub const fn grams(&self) -> i64 {
        self.rebuild_g.saturating_mul(self.rebuilds)
    }
}

/// The least number of failures that is exceeded within `ahead_min` minutes in no more than one of ten cases.
///
/// Failures come by a Poisson process (spares are usually provided for by its tail: Palm 1938 and any handbook
/// on spare parts, from memory). Its rate is known from what was seen, by the conjugate gamma distribution, so
/// that the number to come follows a negative binomial distribution (Gelman et al., Bayesian Data Analysis,
/// chapter 2, from memory).
#[must_use]
pub fn failures_to_expect(seen: Seen, ahead_min: i64) -> i64 {
    let shape = PRIOR_SHAPE + seen.failures.max(0) as f64;
    let (past, ahead) = (
        (PRIOR_MIN + seen.minutes.max(0)) as f64,
        ahead_min.max(0) as f64,
    );
    let share = ahead / (past + ahead);
    let mut chance = (past / (past + ahead)).powf(shape);
    let mut sum = chance;
    let mut n = 0;
    while 1.0 - sum > TAIL && n < MOST {
        chance *= (shape + n as f64) / (n + 1) as f64 * share;
        n += 1;
        sum += chance;
    }
    n
}

/// How much of a powder or a gas to keep back for machines by what was seen of them; none if no approved
/// recipe for them takes any. Without a failure on record it is one rebuild.
#[must_use]
pub fn provision(
    situation: &Situation,
    held: &Held,
    assets: &BTreeSet<AssetCode>,
    seen: Seen,
) -> Option<Provision> {
    let assets = assets.iter().collect();
    let recipes = recipes_for(situation, &assets).into_iter();
    let rebuild_g = recipes
        .map(|recipe| taken_g(situation, held, recipe))
        .max()
        .filter(|grams| *grams > 0)?;
    let trip = trip_after_next(&situation.deliveries);
    let until =
        trip.map(|trip| situation.minute_from(trip.expected) + situation.site.receiving_min);
    let ahead_min = until.unwrap_or_else(|| situation.horizon()).max(0);
    let rebuilds = match seen.failures {
        ..=0 => 1,
        _ => failures_to_expect(seen, ahead_min),
    };
    Some(Provision {
        rebuild_g,
        rebuilds,
        ahead_min,
    })
}

/// What one rebuild takes of it, in grams; stages that cannot be reckoned here count nothing.
fn taken_g(situation: &Situation, held: &Held, recipe: &Recipe) -> i64 {
    let stage = |spray: &Spray| {
        let need = stage_need(situation, spray).ok()?;
        match (held, &need.source) {
            (Held::Powder(powder), _) => (spray.powder == *powder).then_some(need.powder_g),
            (Held::Gas(bank), GasSource::Bank(_)) => {
                let mut banks = situation.banks.iter().filter(|it| it.code == *bank);
                banks.any(|it| it.gas == spray.gas).then_some(need.gas_g)
            }
            (Held::Gas(_), GasSource::Compressor) => None,
        }
    };
    recipe.sprays().filter_map(stage).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    const DAY: i64 = 1440;

    /// One failure in 6 days: with the 30 days of the prior 1.5 in 36. In 28 days to come none is seen with
    /// (36/64)^1.5 = 0.4219; one with 0.4219 x 1.5 x 28/64 = 0.2769; two with 0.2769 x 2.5/2 x 28/64 = 0.1514;
    /// three with 0.1514 x 3.5/3 x 28/64 = 0.0773. Up to two make 0.8502, up to three 0.9274: three.
    #[test]
    fn so_many_are_provided_for_that_more_come_in_one_of_ten_cases() {
        let seen = Seen {
            failures: 1,
            minutes: 6 * DAY,
        };
        assert_eq!(failures_to_expect(seen, 28 * DAY), 3);
    }

    /// One failure in 300 days says that in one day to come there is none in (330/331)^1.5 = 0.9955.
    #[test]
    fn what_hardly_fails_asks_for_nothing() {
        let seen = Seen {
            failures: 1,
            minutes: 300 * DAY,
        };
        assert_eq!(failures_to_expect(seen, DAY), 0);
        assert_eq!(failures_to_expect(seen, 0), 0);
    }

    /// With a long record the rate is known, and the number is that of the Poisson distribution: a million failures
    /// in a million days, 2 days to come, on the average 2 of them. exp(-2) x (1 + 2 + 2 + 4/3 + 2/3) = 0.9473 up to
    /// four, 0.8571 up to three.
    #[test]
    fn a_long_record_gives_the_poisson_tail() {
        let seen = Seen {
            failures: 1_000_000,
            minutes: 1_000_000 * DAY,
        };
        assert_eq!(failures_to_expect(seen, 2 * DAY), 4);
    }
}
