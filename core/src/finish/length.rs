//! Lengths of finished parts, exact in both units: an inch is 25.4 mm by definition.

use crate::word_enum;
use serde::{Deserialize, Serialize};
use std::fmt;

word_enum! {
    /// A unit in which a drawing gives lengths.
    Unit {
        /// Millimetres.
        Millimetre = "mm",
        /// Inches of 25.4 mm (international yard and pound agreement, 1959).
        Inch = "in",
    }
}

impl Unit {
    /// How many decimals a length in this unit may have: tenths of a micrometre, and a hundredth of a
    /// thousandth of an inch.
    #[must_use]
    pub const fn places(self) -> usize {
        match self {
            Self::Millimetre => 4,
            Self::Inch => 5,
        }
    }

    /// The finest step that can be typed, in nanometres.
    const fn step_nm(self) -> i64 {
        match self {
            Self::Millimetre => 100,
            Self::Inch => 254,
        }
    }

    /// The unit that it could be mistaken for.
    #[must_use]
    pub const fn other(self) -> Self {
        match self {
            Self::Millimetre => Self::Inch,
            Self::Inch => Self::Millimetre,
        }
    }
}

/// A length in nanometres, so that neither unit is rounded.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default, Serialize, Deserialize)]
pub struct Length(pub i64);

/// Why a text is no length.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum LengthFault {
    /// Nothing was given: a blank is never 'fine'.
    #[error("enter what was found; a blank counts for nothing")]
    Missing,
    /// No figure.
    #[error("'{given}' is no length; use figures with at most one point or comma")]
    NotNumber {
        /// The text as given.
        given: String,
    },
    /// Finer than is kept.
    #[error("'{given}' is finer than can be kept; use at most {places} figures after the point")]
    TooFine {
        /// The text as given.
        given: String,
        /// How many are allowed.
        places: usize,
    },
    /// Longer than any part.
    #[error("'{given}' {unit} is too long; enter at most {} {unit}", .most.in_unit(*.unit))]
    TooLong {
        /// The text as given.
        given: String,
        /// Its unit.
        unit: Unit,
        /// What is allowed.
        most: Length,
    },
}

impl Length {
    /// No part here is longer: 100 m.
    pub const MOST: Self = Self(100_000_000_000);

    /// A length as it is typed: figures with a point or a comma, in a unit that is named beside it.
    ///
    /// # Errors
    /// What is wrong with it.
    pub fn parse(text: &str, unit: Unit) -> Result<Self, LengthFault> {
        let given: String = text.chars().filter(|c| !c.is_whitespace()).collect();
        if given.is_empty() {
            return Err(LengthFault::Missing);
        }
        let not_number = || LengthFault::NotNumber {
            given: given.clone(),
        };
        let plain = given.replace(',', ".");
        let (sign, figures) = match plain.strip_prefix('-') {
            Some(rest) => (-1, rest),
            None => (1, plain.as_str()),
        };
        let (head, tail) = figures.split_once('.').unwrap_or((figures, ""));
        let is_figures = |part: &str| part.bytes().all(|byte| byte.is_ascii_digit());
        if (head.is_empty() && tail.is_empty()) || !is_figures(head) || !is_figures(tail) {
            return Err(not_number());
        }
        let (tail, places) = (tail.trim_end_matches('0'), unit.places());
        if tail.len() > places {
            return Err(LengthFault::TooFine { given, places });
        }
        let steps = format!("{head}{tail:0<places$}").parse::<i64>().ok();
        let nm = steps.and_then(|steps| steps.checked_mul(unit.step_nm()));
        let too_long = LengthFault::TooLong {
            given: given.clone(),
            unit,
            most: Self::MOST,
        };
        match nm {
            Some(nm) if nm <= Self::MOST.0 => Ok(Self(sign * nm)),
            _ => Err(too_long),
        }
    }

    /// Its figure in a unit, without zeros that say nothing; inches to the nearest hundredth of a thousandth.
    #[must_use]
    pub fn in_unit(self, unit: Unit) -> String {
        match unit {
            Unit::Millimetre => figures(self.0, 6),
            Unit::Inch => {
                let half = self.0.signum() * (unit.step_nm() / 2);
                figures((self.0 + half) / unit.step_nm(), unit.places())
            }
        }
    }

    /// In the unit in which it was typed, with the other one beside it: '2.3622 in, 59.99988 mm'.
    #[must_use]
    pub fn both(self, unit: Unit) -> String {
        let other = unit.other();
        format!(
            "{} {unit}, {} {other}",
            self.in_unit(unit),
            self.in_unit(other)
        )
    }

    /// How far it is from another.
    #[must_use]
    pub const fn apart(self, other: Self) -> Self {
        Self((self.0 - other.0).abs())
    }
}

impl fmt::Display for Length {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} mm", self.in_unit(Unit::Millimetre))
    }
}

/// A whole number of steps of 1 / 10^places, without zeros that say nothing.
pub(super) fn figures(value: i64, places: usize) -> String {
    let sign = if value < 0 { "-" } else { "" };
    let digits = format!("{:0>width$}", value.unsigned_abs(), width = places + 1);
    let (head, tail) = digits.split_at(digits.len() - places);
    match tail.trim_end_matches('0') {
        "" => format!("{sign}{head}"),
        tail => format!("{sign}{head}.{tail}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// 2.3622 in are 2.3622 * 25.4 mm = 59.99988 mm, and 60.01 mm are 60.01 / 25.4 = 2.362598 in.
    #[test]
    fn an_inch_is_25_4_mm() {
        let inches = Length::parse("2.3622", Unit::Inch).expect("a length");
        assert_eq!(inches, Length(59_999_880));
        assert_eq!(inches.both(Unit::Inch), "2.3622 in, 59.99988 mm");
        let mm = Length::parse("60,01", Unit::Millimetre).expect("a length");
        assert_eq!(mm.both(Unit::Millimetre), "60.01 mm, 2.3626 in");
    }

    #[test]
    fn what_is_no_length_is_told_with_what_is_allowed() {
        let told = |text: &str, unit| Length::parse(text, unit).map_err(|e| e.to_string());
        let mm = Unit::Millimetre;
        for (text, fault) in [
            (" ", "enter what was found; a blank counts for nothing"),
            (
                "ok",
                "'ok' is no length; use figures with at most one point or comma",
            ),
            (
                "1.2.3",
                "'1.2.3' is no length; use figures with at most one point or comma",
            ),
            (
                "1.00001",
                "'1.00001' is finer than can be kept; use at most 4 figures after the point",
            ),
            ("100001", "'100001' mm is too long; enter at most 100000 mm"),
            (
                "99999999999999999999",
                "'99999999999999999999' mm is too long; enter at most 100000 mm",
            ),
        ] {
            assert_eq!(told(text, mm), Err(fault.to_owned()));
        }
        assert_eq!(told("-0.5", mm), Ok(Length(-500_000)));
        assert_eq!(
            told("1.000010", mm),
            Err(
                "'1.000010' is finer than can be kept; use at most 4 figures after the point"
                    .to_owned()
            )
        );
        assert_eq!(told("1.0000000", mm), Ok(Length(1_000_000)));
    }

    proptest! {
        /// What was typed comes back as it was typed, in either unit.
        #[test]
        fn a_length_comes_back_as_it_was_typed(steps in -100_000_000_i64..100_000_000, inch in any::<bool>()) {
            let unit = if inch { Unit::Inch } else { Unit::Millimetre };
            let typed = figures(steps, unit.places());
            let length = Length::parse(&typed, unit).expect("a length");
            prop_assert_eq!(length.in_unit(unit), typed);
        }
    }
}
