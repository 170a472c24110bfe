//! A dimension with its limits, and what was found of it.

use super::length::{Length, LengthFault, Unit};
use serde::Serialize;
use std::fmt;
use std::str::FromStr;

/// One dimension of a finished part, as its recipe's approver signed it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Dimension {
    /// What is measured and where, in the crew's words; each name once in a recipe.
    pub name: String,
    /// What the drawing gives; the limits may lie beside it, as for a fit with play.
    pub nominal: Length,
    /// The least that is accepted.
    pub lower: Length,
    /// The most that is accepted.
    pub upper: Length,
    /// In which unit the drawing gives it.
    pub unit: Unit,
}

/// How a found length lies to its limits.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Finding {
    /// On or between the limits.
    Within,
    /// Below the lower one, by so much.
    Under(Length),
    /// Above the upper one, by so much.
    Over(Length),
}

/// Why something is no dimension.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum DimensionFault {
    /// Without a name, with too long a name, or with a sign in it that parts dimensions in a sheet.
    #[error(
        "'{given}' is no name of a dimension; use 1 to {NAME_MAX} characters without ':' and '|'"
    )]
    Name {
        /// The text as given.
        given: String,
    },
    /// Nothing is between its limits.
    #[error("the lower limit, {lower}, is above the upper one, {upper}; exchange them")]
    Crossed {
        /// The lower limit.
        lower: Length,
        /// The upper limit.
        upper: Length,
    },
    /// Limits so far from the nominal that one of them is in the other unit.
    #[error("{limit} is far from {nominal}: give all three in one unit")]
    FarFromNominal {
        /// The limit.
        limit: Length,
        /// The nominal.
        nominal: Length,
    },
    /// A text that is not written as dimensions are.
    #[error("'{given}' is no dimension; write it as 'bore: 60 (59.99 to 60.03) mm'")]
    Text {
        /// The text as given.
        given: String,
    },
    /// A figure of it.
    #[error(transparent)]
    Length(#[from] LengthFault),
}

/// The longest name, in characters.
const NAME_MAX: usize = 60;

impl Dimension {
    /// A dimension that can be measured against.
    ///
    /// # Errors
    /// What is wrong with it.
    pub fn new(
        name: &str,
        [nominal, lower, upper]: [Length; 3],
        unit: Unit,
    ) -> Result<Self, DimensionFault> {
        let name = name.trim();
        let control = |c: char| c.is_control() || ":|".contains(c);
        if name.is_empty() || name.chars().count() > NAME_MAX || name.contains(control) {
            return Err(DimensionFault::Name {
                given: name.to_owned(),
            });
        }
        if lower > upper {
            return Err(DimensionFault::Crossed { lower, upper });
        }
        let far = |limit: &Length| limit.apart(nominal).0 > nominal.0.abs().max(NEAR_NM);
        if let Some(limit) = [lower, upper].into_iter().find(|limit| far(limit)) {
            return Err(DimensionFault::FarFromNominal { limit, nominal });
        }
        Ok(Self {
            name: name.to_owned(),
            nominal,
            lower,
            upper,
            unit,
        })
    }

    /// How a found length lies to the limits; on a limit is within it.
    #[must_use]
    pub fn judge(&self, found: Length) -> Finding {
        if found < self.lower {
            Finding::Under(found.apart(self.lower))
        } else if found > self.upper {
            Finding::Over(found.apart(self.upper))
        } else {
            Finding::Within
        }
    }

    /// What was found if it was read in the other unit than it was typed in, where that explains it: it is
    /// within a tenth of the nominal then, and is not as typed.
    ///
    /// A dimension typed in inches as millimetres is a mistake that has hurt people (common practice, no
    /// source, as to the tenth).
    #[must_use]
    pub fn in_other_unit(&self, found: Length, typed: Unit) -> Option<Length> {
        let near = |length: Length| {
            length.apart(self.nominal).0.saturating_mul(10) <= self.nominal.0.abs()
        };
        let other = match typed {
            Unit::Millimetre => found.0.checked_mul(254)? / 10,
            Unit::Inch => found.0.checked_mul(10)? / 254,
        };
        let other = Length(other);
        (!near(found) && near(other)).then_some(other)
    }

    /// Its limits in its own unit: '59.99 to 60.03 mm'.
    #[must_use]
    pub fn limits(&self) -> String {
        let unit = self.unit;
        let (lower, upper) = (self.lower.in_unit(unit), self.upper.in_unit(unit));
        format!("{lower} to {upper} {unit}")
    }
}

/// Limits may be so far from a nominal of nothing, such as run-out: 25 mm.
const NEAR_NM: i64 = 25_000_000;

/// As sheets have it: 'bore: 60 (59.99 to 60.03) mm'.
impl fmt::Display for Dimension {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let unit = self.unit;
        let [nominal, lower, upper] =
            [self.nominal, self.lower, self.upper].map(|length| length.in_unit(unit));
        write!(f, "{}: {nominal} ({lower} to {upper}) {unit}", self.name)
    }
}

impl FromStr for Dimension {
    type Err = DimensionFault;

    fn from_str(text: &str) -> Result<Self, DimensionFault> {
        let no_dimension = || DimensionFault::Text {
            given: text.to_owned(),
        };
        let parts = || {
            let (name, rest) = text.split_once(':')?;
            let (nominal, rest) = rest.split_once('(')?;
            let (limits, unit) = rest.split_once(')')?;
            let (lower, upper) = limits.split_once(" to ")?;
            let unit: Unit = unit.trim().parse().ok()?;
            Some((name, [nominal, lower, upper], unit))
        };
        let (name, figures, unit) = parts().ok_or_else(no_dimension)?;
        let length = |text| Length::parse(text, unit);
        let [nominal, lower, upper] = figures;
        let lengths = [length(nominal)?, length(lower)?, length(upper)?];
        Self::new(name, lengths, unit)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn bore() -> Dimension {
        "bore: 60 (59.99 to 60.03) mm".parse().expect("a dimension")
    }

    fn mm(text: &str) -> Length {
        Length::parse(text, Unit::Millimetre).expect("a length")
    }

    /// 60.03 is on the limit; 60.04 is 0.01 mm over it, and 59.98 0.01 mm under the other.
    #[test]
    fn a_limit_belongs_to_what_is_accepted() {
        let bore = bore();
        assert_eq!(bore.judge(mm("60.03")), Finding::Within);
        assert_eq!(bore.judge(mm("59.99")), Finding::Within);
        assert_eq!(bore.judge(mm("60.04")), Finding::Over(mm("0.01")));
        assert_eq!(bore.judge(mm("59.98")), Finding::Under(mm("0.01")));
    }

    /// 2.363 typed as millimetres is 60.02 mm if it was read in inches: near 60 that way, and nowhere near
    /// it as typed. 59 mm is off, and in inches it would be 1.5 m: nothing explains it but the part.
    #[test]
    fn a_figure_in_the_other_unit_is_noticed() {
        let bore = bore();
        let read = bore.in_other_unit(mm("2.363"), Unit::Millimetre);
        assert_eq!(read, Some(mm("60.0202")));
        let typed = Length::parse("60.02", Unit::Inch).expect("a length");
        assert_eq!(bore.in_other_unit(typed, Unit::Inch), Some(mm("60.02")));
        assert_eq!(bore.in_other_unit(mm("59"), Unit::Millimetre), None);
        assert_eq!(bore.in_other_unit(mm("60.01"), Unit::Millimetre), None);
    }

    /// A shaft runs with play in a bearing of 60 mm: both limits are below the nominal.
    #[test]
    fn limits_may_lie_beside_the_nominal() {
        let shaft = "journal: 60 (59.94 to 59.97) mm".parse::<Dimension>();
        assert_eq!(
            shaft.map(|shaft| shaft.judge(mm("60"))),
            Ok(Finding::Over(mm("0.03")))
        );
        assert!("run-out: 0 (0 to 0.05) mm".parse::<Dimension>().is_ok());
    }

    #[test]
    fn what_is_no_dimension_is_told() {
        let told = |text: &str| text.parse::<Dimension>().map_err(|e| e.to_string());
        for (text, fault) in [
            (
                "bore 60",
                "'bore 60' is no dimension; write it as 'bore: 60 (59.99 to 60.03) mm'",
            ),
            (
                ": 60 (59 to 61) mm",
                "'' is no name of a dimension; use 1 to 60 characters without ':' and '|'",
            ),
            (
                "bore: 60 (61 to 59) mm",
                "the lower limit, 61 mm, is above the upper one, 59 mm; exchange them",
            ),
            (
                "bore: x (59 to 61) mm",
                "'x' is no length; use figures with at most one point or comma",
            ),
            (
                "bore: 60 (59 to 1524) mm",
                "1524 mm is far from 60 mm: give all three in one unit",
            ),
        ] {
            assert_eq!(told(text), Err(fault.to_owned()));
        }
    }

    proptest! {
        /// As a sheet has it, a dimension is read as it was; exactly what lies on or between its limits is
        /// within them, in whichever unit it was found.
        #[test]
        fn within_is_neither_under_nor_over(
            nominal in 1_000_i64..1_000_000,
            below in 0_i64..1_000,
            above in 0_i64..1_000,
            off in -2_000_i64..2_000,
            inch in any::<bool>(),
        ) {
            let (unit, step) = if inch { (Unit::Inch, 254) } else { (Unit::Millimetre, 100) };
            let at = |steps: i64| Length(steps * step);
            let limits = [at(nominal), at(nominal - below), at(nominal + above)];
            let dimension = Dimension::new("outer size", limits, unit).expect("a dimension");
            prop_assert_eq!(&dimension.to_string().parse::<Dimension>().expect("as it was"), &dimension);
            let within = (-below..=above).contains(&off);
            prop_assert_eq!(dimension.judge(at(nominal + off)) == Finding::Within, within);
        }
    }
}
