//! Numbers with their unit: finite and within bounds from the moment they exist.

use super::range::{OutOfRange, whole_down, whole_up, within};

macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident, $quantity:literal, $unit:literal, $min:literal ..= $max:literal) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
        pub struct $name(f64);

        impl $name {
            #[doc = concat!("Takes ", stringify!($min), " to ", stringify!($max), " ", $unit, ".")]
            ///
            /// # Errors
            /// [`OutOfRange`] for anything else, NaN and infinity included.
            pub fn new(given: f64) -> Result<Self, OutOfRange> {
                within($quantity, $unit, given, $min..=$max).map(Self)
            }

            #[doc = concat!("The bare number in ", $unit, ".")]
            #[must_use]
            pub const fn get(self) -> f64 {
                self.0
            }
        }
    };
}

quantity!(
    /// Absolute pressure in bar.
    ///
    /// A gauge reads 1 bar less at sea level; see [`Bar::from_gauge`].
    Bar, "pressure", "bar absolute", 0.1..=400.0
);
quantity!(
    /// Temperature in degrees Celsius.
    Celsius, "temperature", "C", -100.0..=1300.0
);
quantity!(
    /// Density in kilograms per cubic metre.
    KgPerM3, "density", "kg/m3", 0.0..=5000.0
);
quantity!(
    /// Mass flow in kilograms per hour.
    KgPerHour, "mass flow", "kg/h", 0.0..=100_000.0
);
quantity!(
    /// Volume flow in cubic metres per hour at 0 C and 1.01325 bar.
    NormalM3PerHour, "normal volume flow", "m3/h", 0.0..=1_000_000.0
);
quantity!(
    /// Power in kilowatts.
    Kilowatts, "power", "kW", 0.0..=100_000.0
);
quantity!(
    /// Fuel flow in litres per hour.
    LitresPerHour, "fuel flow", "l/h", 0.0..=100_000.0
);
quantity!(
    /// How many times longer spraying takes because gas has to be waited for; 1 is no wait.
    Stretch, "stretch", "times", 1.0..=100.0
);

impl Bar {
    /// The absolute pressure of a gauge reading, with the air pressure at the gauge.
    ///
    /// # Errors
    /// [`OutOfRange`] if the sum is outside what a [`Bar`] takes.
    pub fn from_gauge(gauge_bar: f64, air: Bar) -> Result<Self, OutOfRange> {
        Self::new(gauge_bar + air.0)
    }
}

impl Celsius {
    pub(crate) fn kelvin(self) -> f64 {
        self.0 + 273.15
    }
}

impl KgPerHour {
    /// Grams that flow in so many minutes, rounded up; negative minutes count as none.
    #[must_use]
    #[expect(
        clippy::cast_precision_loss,
        reason = "minutes of a plan stay far below 2^53"
    )]
    pub fn grams_in(self, minutes: i64) -> i64 {
        whole_up(self.0 * 1000.0 / 60.0 * minutes.max(0) as f64)
    }

    /// Minutes that so many grams last, rounded down; a negative mass counts as none.
    #[must_use]
    #[expect(
        clippy::cast_precision_loss,
        reason = "the gas of a site stays far below 2^53 grams"
    )]
    pub fn minutes_of(self, grams: i64) -> i64 {
        if grams <= 0 {
            return 0;
        }
        whole_down(grams as f64 * 60.0 / 1000.0 / self.0)
    }
}

impl Stretch {
    /// No waiting: the supply is at least the demand.
    pub const NONE: Stretch = Stretch(1.0);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_gauge_reads_less_than_the_absolute_pressure_by_that_of_the_air() {
        let air = Bar::new(1.01325).expect("air");
        let bank = Bar::from_gauge(200.0, air).expect("bank");
        assert!((bank.get() - 201.01325).abs() < 1e-12);
        assert!(Bar::from_gauge(f64::NAN, air).is_err());
    }

    #[test]
    fn gas_used_is_flow_times_minutes() {
        // 79.97 kg/h for 17 min is 22 658.2 g.
        let flow = KgPerHour::new(79.97).expect("flow");
        assert_eq!(flow.grams_in(17), 22_659);
        assert_eq!(flow.grams_in(-3), 0);
        // 22 658 g / 79.97 kg/h is 16.9999 min, a gram more than 17.
        assert_eq!(flow.minutes_of(22_658), 16);
        assert_eq!(flow.minutes_of(22_659), 17);
        assert_eq!(flow.minutes_of(-1), 0);
    }
}
