//! Coupons sprayed beside a part: what the approver expects of the deposit, and what was found.

use super::length::figures;
use super::tool::Measures;
use crate::word_enum;
use serde::Serialize;
use std::fmt;
use std::str::FromStr;

word_enum! {
    /// What is found of a coupon.
    Property {
        /// Bond strength, in megapascal; pulled off as ASTM C633 has it.
        Strength = "strength",
        /// Vickers hardness, at a load.
        Hardness = "hardness",
        /// Density against that of the solid metal, in per cent.
        Density = "density",
        /// Share of the pores in a section, in per cent.
        Porosity = "porosity",
    }
}

word_enum! {
    /// In which condition it was tested.
    Condition {
        /// As it came from the nozzle.
        AsSprayed = "as-sprayed",
        /// After the furnace.
        HeatTreated = "heat-treated",
    }
}

impl Property {
    /// What a tool for it measures.
    #[must_use]
    pub const fn measures(self) -> Measures {
        match self {
            Self::Strength => Measures::Strength,
            Self::Hardness => Measures::Hardness,
            Self::Density | Self::Porosity => Measures::Share,
        }
    }

    /// The most that can be found, in thousandths of its unit.
    #[must_use]
    pub const fn most(self) -> i64 {
        match self {
            Self::Strength => 2_000_000,
            Self::Hardness => 3_000_000,
            Self::Density | Self::Porosity => 100_000,
        }
    }
}

/// What the approver of a recipe expects of its coupons; figures in thousandths of the property's unit.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Expected {
    /// What is found.
    pub property: Property,
    /// In which condition.
    pub condition: Condition,
    /// The least that is accepted.
    pub least: Option<i64>,
    /// The most that is accepted.
    pub most: Option<i64>,
    /// The load of a hardness, in grams-force; none for the others.
    pub load_gf: Option<i64>,
}

/// What was found of a coupon.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Measured {
    /// What.
    pub property: Property,
    /// In which condition.
    pub condition: Condition,
    /// The figure, in thousandths of the property's unit.
    pub figure: i64,
    /// The load of a hardness, in grams-force.
    pub load_gf: Option<i64>,
}

/// Why nothing can be held against an expectation.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ExpectedFault {
    /// Anything would do.
    #[error("give the least, the most, or both")]
    Anything,
    /// Nothing would do.
    #[error("the least is above the most; exchange them")]
    Crossed,
    /// Beyond what can be found.
    #[error("{} is out of range; enter 0 to {}", figures(*.given, 3), figures(*.most, 3))]
    OutOfRange {
        /// The figure given.
        given: i64,
        /// What is allowed.
        most: i64,
    },
    /// A hardness without a load says nothing, and nothing else has one.
    #[error("a hardness has a load, from 1 gf to 100 kgf, and nothing else has one")]
    Load,
    /// A text that is not written as expectations are.
    #[error(
        "'{given}' is no expectation; write it as 'strength as-sprayed: at least 30 MPa', 'hardness as-sprayed: 110 to 160 HV0.3' or 'porosity heat-treated: at most 2 %'"
    )]
    Text {
        /// The text as given.
        given: String,
    },
}

impl Expected {
    /// Itself, if something can be held against it.
    ///
    /// # Errors
    /// What is wrong with it.
    pub fn checked(self) -> Result<Self, ExpectedFault> {
        let most = self.property.most();
        let given = [self.least, self.most].into_iter().flatten();
        if let Some(given) = given.into_iter().find(|given| !(0..=most).contains(given)) {
            return Err(ExpectedFault::OutOfRange { given, most });
        }
        match (self.least, self.most) {
            (None, None) => return Err(ExpectedFault::Anything),
            (Some(least), Some(most)) if least > most => return Err(ExpectedFault::Crossed),
            _ => (),
        }
        let loaded = self
            .load_gf
            .is_some_and(|load| (1..=100_000).contains(&load));
        match (self.property == Property::Hardness) == self.load_gf.is_some()
            && (self.load_gf.is_none() || loaded)
        {
            true => Ok(self),
            false => Err(ExpectedFault::Load),
        }
    }

    /// Whether a result is of what is expected here: hardness at another load is another figure.
    #[must_use]
    pub fn is_of(&self, measured: &Measured) -> bool {
        self.property == measured.property
            && self.condition == measured.condition
            && self.load_gf == measured.load_gf
    }

    /// Whether a figure is accepted; on a limit it is.
    #[must_use]
    pub fn accepts(&self, figure: i64) -> bool {
        self.least.is_none_or(|least| least <= figure)
            && self.most.is_none_or(|most| figure <= most)
    }

    /// Its limits with their unit: 'at least 30 MPa', '110 to 160 HV0.3'.
    #[must_use]
    pub fn limits(&self) -> String {
        let figure = |value| figures(value, 3);
        let limits = match (self.least, self.most) {
            (Some(least), Some(most)) => format!("{} to {}", figure(least), figure(most)),
            (Some(least), None) => format!("at least {}", figure(least)),
            (None, most) => format!("at most {}", most.map_or_else(String::new, figure)),
        };
        format!("{limits} {}", unit(self.property, self.load_gf))
    }
}

impl Measured {
    /// The figure with its unit: '32.5 MPa', '118 HV0.3'.
    #[must_use]
    pub fn with_unit(&self) -> String {
        let unit = unit(self.property, self.load_gf);
        format!("{} {unit}", figures(self.figure, 3))
    }
}

/// 'HV0.3' is Vickers hardness at 0.3 kgf (ISO 6507-1).
fn unit(property: Property, load_gf: Option<i64>) -> String {
    let load = load_gf.map(|load| figures(load, 3)).unwrap_or_default();
    format!("{}{load}", property.measures().unit())
}

/// The expectations that a result misses.
pub fn missed<'a>(
    expected: &'a [Expected],
    measured: &Measured,
) -> impl Iterator<Item = &'a Expected> {
    let measured = measured.clone();
    let missed = move |it: &&Expected| it.is_of(&measured) && !it.accepts(measured.figure);
    expected.iter().filter(missed)
}

/// As sheets have it: 'strength as-sprayed: at least 30 MPa'.
impl fmt::Display for Expected {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}: {}", self.property, self.condition, self.limits())
    }
}

impl FromStr for Expected {
    type Err = ExpectedFault;

    fn from_str(text: &str) -> Result<Self, ExpectedFault> {
        let read = || {
            let (what, limits) = text.split_once(':')?;
            let (property, condition) = what.trim().split_once(' ')?;
            let property: Property = property.parse().ok()?;
            let condition = condition.trim().parse().ok()?;
            let (limits, unit) = limits.trim().rsplit_once(' ')?;
            let load = unit.strip_prefix(property.measures().unit())?;
            let load_gf = match load {
                "" => None,
                load => Some(thousandths(load)?),
            };
            let (least, most) = match limits.split_once(" to ") {
                Some((least, most)) => (Some(thousandths(least)?), Some(thousandths(most)?)),
                None => match limits.split_once("at least ") {
                    Some((_, least)) => (Some(thousandths(least)?), None),
                    None => (None, Some(thousandths(limits.strip_prefix("at most ")?)?)),
                },
            };
            Some(Self {
                property,
                condition,
                least,
                most,
                load_gf,
            })
        };
        let fault = || ExpectedFault::Text {
            given: text.to_owned(),
        };
        read().ok_or_else(fault)?.checked()
    }
}

/// A figure with at most three decimals, in thousandths.
fn thousandths(text: &str) -> Option<i64> {
    let (head, tail) = text.trim().split_once('.').unwrap_or((text.trim(), ""));
    let plain = |part: &str| part.bytes().all(|byte| byte.is_ascii_digit());
    match !head.is_empty() && head.len() < 12 && tail.len() <= 3 && plain(head) && plain(tail) {
        true => format!("{head}{tail:0<3}").parse().ok(),
        false => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn expected(text: &str) -> Expected {
        text.parse().expect("an expectation")
    }

    fn found(property: Property, figure: i64, load_gf: Option<i64>) -> Measured {
        Measured {
            property,
            condition: Condition::AsSprayed,
            figure,
            load_gf,
        }
    }

    /// 29.9 MPa misses 30, and 30 does not; a hardness at 10 kgf says nothing of one at 0.3.
    #[test]
    fn a_miss_is_outside_the_limits_at_the_same_load() {
        let all = [
            expected("strength as-sprayed: at least 30 MPa"),
            expected("hardness as-sprayed: 110 to 160 HV0.3"),
        ];
        let misses = |measured: Measured| missed(&all, &measured).count();
        assert_eq!(misses(found(Property::Strength, 29_900, None)), 1);
        assert_eq!(misses(found(Property::Strength, 30_000, None)), 0);
        assert_eq!(misses(found(Property::Hardness, 161_000, Some(300))), 1);
        assert_eq!(misses(found(Property::Hardness, 161_000, Some(10_000))), 0);
        let told = found(Property::Hardness, 118_000, Some(300)).with_unit();
        assert_eq!(told, "118 HV0.3");
    }

    /// In another condition it is another figure: as sprayed says nothing of after the furnace.
    #[test]
    fn the_condition_belongs_to_what_is_expected() {
        let after = expected("porosity heat-treated: at most 2 %");
        let before = found(Property::Porosity, 3_000, None);
        assert!(!after.is_of(&before));
    }

    #[test]
    fn what_is_no_expectation_is_told() {
        let told = |text: &str| text.parse::<Expected>().map_err(|e| e.to_string());
        for (text, fault) in [
            (
                "strength as-sprayed: 40 to 30 MPa",
                "the least is above the most; exchange them",
            ),
            (
                "porosity as-sprayed: at most 101 %",
                "101 is out of range; enter 0 to 100",
            ),
            (
                "hardness as-sprayed: at least 110 HV",
                "a hardness has a load, from 1 gf to 100 kgf, and nothing else has one",
            ),
            (
                "strength as-sprayed: at least 30 MPa5",
                "a hardness has a load, from 1 gf to 100 kgf, and nothing else has one",
            ),
        ] {
            assert_eq!(told(text), Err(fault.to_owned()));
        }
        for text in [
            "strong",
            "strength cold: at least 3 MPa",
            "strength as-sprayed: at least 3 bar",
            "porosity as-sprayed: about 2 %",
        ] {
            assert!(
                told(text).is_err_and(|fault| fault.contains("is no expectation")),
                "{text}"
            );
        }
    }

    proptest! {
        /// As a sheet has it, an expectation is read as it was.
        #[test]
        fn an_expectation_comes_back_as_it_was_written(
            least in prop::option::of(0_i64..50_000),
            more in prop::option::of(0_i64..50_000),
            load in 1_i64..100_000,
            property in prop::sample::select(Property::ALL),
        ) {
            let most = more.map(|more| least.unwrap_or(0) + more);
            prop_assume!(least.is_some() || most.is_some());
            let load_gf = (property == Property::Hardness).then_some(load);
            let expected = Expected { property, condition: Condition::HeatTreated, least, most, load_gf };
            prop_assert_eq!(expected.to_string().parse(), Ok(expected));
        }
    }
}
