//! The one check that every number passes on its way in, and the way whole numbers leave.

use std::ops::RangeInclusive;

/// A number that is not finite or lies outside what is allowed.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error(
    "{quantity} is {given} {unit}; allowed is {min} to {max} {unit}; check the value and its unit"
)]
pub struct OutOfRange {
    /// What the number stands for.
    pub quantity: &'static str,
    /// Its unit.
    pub unit: &'static str,
    /// The number as given.
    pub given: f64,
    /// The least that is allowed.
    pub min: f64,
    /// The most that is allowed.
    pub max: f64,
}

/// Gives `given` back if it lies in `allowed`; NaN and infinity never do.
pub(crate) fn within(
    quantity: &'static str,
    unit: &'static str,
    given: f64,
    allowed: RangeInclusive<f64>,
) -> Result<f64, OutOfRange> {
    if allowed.contains(&given) {
        return Ok(given);
    }
    let (min, max) = allowed.into_inner();
    Err(OutOfRange {
        quantity,
        unit,
        given,
        min,
        max,
    })
}

/// The next whole number up, for a need; a millionth above a whole number is rounding noise.
pub(crate) fn whole_up(need: f64) -> i64 {
    truncated((need - NOISE).ceil())
}

/// The next whole number down, for what is on hand; a millionth below one is rounding noise.
pub(crate) fn whole_down(on_hand: f64) -> i64 {
    truncated((on_hand + NOISE).floor())
}

const NOISE: f64 = 1e-6;

#[expect(
    clippy::cast_possible_truncation,
    reason = "the value is whole already, and a float cast to i64 saturates"
)]
fn truncated(whole: f64) -> i64 {
    whole as i64
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_not_a_number_is_never_within() {
        for given in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, -0.1, 400.1] {
            assert!(within("pressure", "bar", given, 0.0..=400.0).is_err());
        }
    }

    #[test]
    fn the_message_says_what_was_given_and_what_is_allowed() {
        let error = within("pressure", "bar absolute", 500.0, 0.1..=400.0).expect_err("too high");
        assert_eq!(
            error.to_string(),
            "pressure is 500 bar absolute; allowed is 0.1 to 400 bar absolute; \
             check the value and its unit"
        );
    }

    #[test]
    fn a_need_goes_up_and_stock_goes_down_but_noise_goes_neither_way() {
        assert_eq!(whole_up(1000.1), 1001);
        assert_eq!(whole_down(1000.9), 1000);
        // 850 / 0.85 is 1000.000 000 000 000 1 in binary floating point.
        assert_eq!(whole_up(850.0 / 0.85), 1000);
        assert_eq!(whole_down(999.999_999_9), 1000);
    }
}
