//! What a pressure gauge shows: bar or psi, over the air or absolute.

use mendpost_core::gas::isa_pressure_bar;
use mendpost_core::word_enum;

use crate::form::{FieldError, decimal};

word_enum! {
    /// The scale of a pressure gauge.
    Scale {
        /// Bar over the air, as most gauges have it.
        BarGauge = "bar-gauge",
        /// Bar over nothing.
        BarAbsolute = "bar-absolute",
        /// Pounds per square inch over the air.
        PsiGauge = "psi-gauge",
        /// Pounds per square inch over nothing.
        PsiAbsolute = "psi-absolute",
    }
}

const LEAST_MBAR: i64 = 100;
const MOST_MBAR: i64 = 400_000;

impl Scale {
    /// As the choice says it.
    pub const fn word(self) -> &'static str {
        match self {
            Scale::BarGauge => "bar, 0 in open air",
            Scale::BarAbsolute => "bar absolute",
            Scale::PsiGauge => "psi, 0 in open air",
            Scale::PsiAbsolute => "psi absolute",
        }
    }

    /// What was typed, as absolute pressure in millibar.
    pub fn mbar(self, typed: &str, altitude_m: i64) -> Result<i64, FieldError> {
        let air = match self {
            Scale::BarGauge | Scale::PsiGauge => air_mbar(altitude_m),
            Scale::BarAbsolute | Scale::PsiAbsolute => 0,
        };
        let (least, most) = ((LEAST_MBAR - air).max(0), MOST_MBAR - air);
        let shown = match self {
            Scale::BarGauge | Scale::BarAbsolute => decimal(typed, 3, least..=most)?,
            Scale::PsiGauge | Scale::PsiAbsolute => {
                let least = (least * PER_MBAR + PER_MPSI - 1) / PER_MPSI;
                let most = most * PER_MBAR / PER_MPSI;
                (decimal(typed, 3, least..=most)? * PER_MPSI + PER_MBAR / 2) / PER_MBAR
            }
        };
        Ok(shown + air)
    }
}

/// A pound of force on a square inch is 0.453 592 37 kg x 9.806 65 m/s2 / (0.0254 m)^2, which is
/// 6894.757 Pa: of this unit, a thousandth of a psi has so many.
const PER_MPSI: i64 = 6_894_757;
/// And a millibar, which is 100 Pa, so many.
const PER_MBAR: i64 = 100_000_000;

/// What a gauge reads less than the absolute pressure, in millibar: the standard air of the altitude.
#[expect(
    clippy::cast_precision_loss,
    clippy::cast_possible_truncation,
    reason = "about a thousand millibar"
)]
pub fn air_mbar(altitude_m: i64) -> i64 {
    isa_pressure_bar(altitude_m as f64).map_or(1013, |air| (air.get() * 1000.0).round() as i64)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A supply near 35 bar is about 500 psi (common practice, no source): 500 x 0.068 947 57 =
    /// 34.474 bar, and over the air of the sea's height 1.013 more.
    #[test]
    fn psi_and_bar_are_the_same_pressure() {
        assert_eq!(Scale::PsiAbsolute.mbar("500", 0), Ok(34_474));
        assert_eq!(Scale::PsiGauge.mbar("500", 0), Ok(35_487));
        assert_eq!(Scale::BarGauge.mbar("34.474", 0), Ok(35_487));
        assert_eq!(Scale::BarAbsolute.mbar("35,487", 0), Ok(35_487));
        // 1 bar is 14.504 psi: 14.504 x 68.947 57 = 1000.02.
        assert_eq!(Scale::PsiAbsolute.mbar("14.504", 0), Ok(1000));
    }

    /// At 2000 m the air has 795 mbar, not 1013.
    #[test]
    fn a_gauge_reads_less_where_the_air_is_thin() {
        assert_eq!(Scale::BarGauge.mbar("60", 2000), Ok(60_795));
        assert_eq!(Scale::BarGauge.mbar("60", 0), Ok(61_013));
    }

    /// 400 bar are 5801.5 psi; each bound is told in the scale that was typed in.
    #[test]
    fn bounds_are_those_of_the_scale() {
        assert_eq!(Scale::PsiAbsolute.mbar("5801", 0), Ok(399_965));
        let told =
            |scale: Scale, typed| scale.mbar(typed, 0).expect_err("out of range").to_string();
        assert!(told(Scale::PsiAbsolute, "5802").contains("enter 1.451 to 5801.5"));
        assert!(told(Scale::BarAbsolute, "401").contains("enter 0.1 to 400"));
        assert!(told(Scale::PsiGauge, "-1").contains("enter 0 to 57"));
    }
}
