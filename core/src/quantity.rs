//! Quantities as integers: masses in milligrams, and numbers as people write them, read exactly.

use serde::{Deserialize, Serialize};
use std::ops::RangeInclusive;

/// A mass in milligrams, so that balances add up exactly.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Milligrams(pub i64);

impl Milligrams {
    /// So many grams; saturates far beyond any mass on a site.
    #[must_use]
    pub const fn from_grams(grams: i64) -> Self {
        Self(grams.saturating_mul(1000))
    }

    /// Whole grams on hand: rounded down, never below zero.
    #[must_use]
    pub const fn grams_on_hand(self) -> i64 {
        if self.0 < 0 { 0 } else { self.0 / 1000 }
    }

    /// Whole grams needed: rounded up.
    #[must_use]
    pub const fn grams_needed(self) -> i64 {
        if self.0 <= 0 {
            0
        } else {
            (self.0 - 1) / 1000 + 1
        }
    }
}

impl std::iter::Sum for Milligrams {
    fn sum<I: Iterator<Item = Self>>(parts: I) -> Self {
        Self(parts.map(|m| m.0).sum())
    }
}

/// Why a text is no number of the kind asked for.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum InvalidNumber {
    /// Something else than figures, one point, and a sign.
    #[error("'{given}' is no number; write it as 12 or 12.5")]
    NotANumber {
        /// The text as given.
        given: String,
    },
    /// More decimals than are kept.
    #[error("'{given}' has too many decimals; give {}", decimals(*.digits))]
    TooFine {
        /// The text as given.
        given: String,
        /// How many decimals are kept.
        digits: u32,
    },
    /// Below or above what makes sense.
    #[error("{given} is out of range; give {smallest} to {largest}")]
    OutOfRange {
        /// The text as given.
        given: String,
        /// The smallest number allowed.
        smallest: String,
        /// The largest number allowed.
        largest: String,
    },
}

fn decimals(digits: u32) -> String {
    match digits {
        0 => "a whole number".to_owned(),
        1 => "at most one decimal".to_owned(),
        n => format!("at most {n} decimals"),
    }
}

/// Reads a number with so many decimals and gives it as a whole number of the smallest step: with
/// three decimals `12.5` is 12 500. `allowed` counts in the smallest step too.
///
/// # Errors
/// [`InvalidNumber`], never a rounded value.
pub fn scaled(text: &str, digits: u32, allowed: RangeInclusive<i64>) -> Result<i64, InvalidNumber> {
    let text = text.trim();
    let not_a_number = || InvalidNumber::NotANumber {
        given: shortened(text),
    };
    let out_of_range = || InvalidNumber::OutOfRange {
        given: shortened(text),
        smallest: unscaled(*allowed.start(), digits),
        largest: unscaled(*allowed.end(), digits),
    };
    let unsigned = text.strip_prefix('-').unwrap_or(text);
    let (whole, fraction) = unsigned.split_once('.').unwrap_or((unsigned, ""));
    let figures = |t: &str| t.bytes().all(|b| b.is_ascii_digit());
    if whole.is_empty() || !figures(whole) || !figures(fraction) || unsigned.ends_with('.') {
        return Err(not_a_number());
    }
    let fraction = fraction.trim_end_matches('0');
    let kept = usize::try_from(digits).unwrap_or(0);
    if fraction.len() > kept {
        return Err(InvalidNumber::TooFine {
            given: shortened(text),
            digits,
        });
    }
    // Figures only: what does not parse is too long for an i64.
    let size: i64 = format!("{whole}{fraction:0<kept$}")
        .parse()
        .map_err(|_| out_of_range())?;
    let value = if text.starts_with('-') { -size } else { size };
    if allowed.contains(&value) {
        Ok(value)
    } else {
        Err(out_of_range())
    }
}

/// A whole number of the smallest step written as a decimal: 12 500 with three decimals is `12.5`.
#[must_use]
pub fn unscaled(value: i64, digits: u32) -> String {
    let one = 10_u64.saturating_pow(digits.min(18));
    let size = value.unsigned_abs();
    let sign = if value < 0 { "-" } else { "" };
    let kept = usize::try_from(digits).unwrap_or(0);
    let fraction = format!("{:0>kept$}", size % one);
    match fraction.trim_end_matches('0') {
        "" => format!("{sign}{}", size / one),
        fraction => format!("{sign}{}.{fraction}", size / one),
    }
}

fn shortened(text: &str) -> String {
    const SHOWN: usize = 40;
    if text.chars().count() <= SHOWN {
        return text.to_owned();
    }
    text.chars().take(SHOWN).chain("...".chars()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// 72.5 bar in millibar is 72 500; a figure finer than a millibar is refused, not rounded.
    #[test]
    fn a_decimal_is_read_exactly_or_refused() {
        assert_eq!(scaled("72.5", 3, 1000..=100_000), Ok(72_500));
        assert_eq!(scaled(" -3.050 ", 2, -1000..=0), Ok(-305));
        assert_eq!(scaled("7", 0, 1..=60), Ok(7));
        let told = |text: &str| scaled(text, 3, 1000..=100_000).map_err(|e| e.to_string());
        assert_eq!(
            told("72.1234"),
            Err("'72.1234' has too many decimals; give at most 3 decimals".to_owned())
        );
        assert_eq!(
            told("720"),
            Err("720 is out of range; give 1 to 100".to_owned())
        );
        for wrong in ["", "-", ".", "1.", ".5", "1,5", "1e3", "+4", "0x1", "NaN"] {
            assert!(
                matches!(told(wrong), Err(text) if text.contains("is no number")),
                "{wrong}"
            );
        }
        assert_eq!(
            told("99999999999999999999999"),
            Err("99999999999999999999999 is out of range; give 1 to 100".to_owned())
        );
    }

    proptest! {
        /// Writing a value and reading it again gives the same value.
        #[test]
        fn what_is_written_reads_back(value: i64, digits in 0_u32..7) {
            prop_assume!(value != i64::MIN);
            prop_assert_eq!(scaled(&unscaled(value, digits), digits, i64::MIN..=i64::MAX), Ok(value));
        }

        /// No text makes it panic.
        #[test]
        fn any_text_is_read_or_refused(text: String, digits in 0_u32..7) {
            let _ = scaled(&text, digits, -1000..=1000);
        }
    }

    /// What is on hand is never overstated and what is needed never understated.
    #[test]
    fn on_hand_rounds_down_and_need_rounds_up() {
        let mass = Milligrams(6_480_400); // 6 480.4 g
        assert_eq!(mass.grams_on_hand(), 6480);
        assert_eq!(mass.grams_needed(), 6481);
        assert_eq!(Milligrams::from_grams(5).grams_needed(), 5);
        assert_eq!(Milligrams(-3).grams_on_hand(), 0);
    }
}
