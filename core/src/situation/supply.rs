//! Gas, fuel, and what is on its way.

use crate::code::{BankCode, DeliveryCode, PowderCode};
use crate::gas::Gas;
use chrono::{DateTime, Utc};

/// Gas in bottles that stand open together.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Bank {
    /// Its code.
    pub code: BankCode,
    /// What is in it.
    pub gas: Gas,
    /// How many bottles.
    pub bottles: i64,
    /// Water volume of one bottle, in millilitres.
    pub bottle_ml: i64,
    /// Pressure as last read, absolute, in millibar.
    pub pressure_mbar: i64,
    /// Gas temperature as last read, in thousandths of a degree Celsius.
    pub temperature_mc: i64,
    /// When it was read.
    pub read_at: DateTime<Utc>,
    /// Who read it.
    pub read_by: String,
    /// Pressure lost in regulator, hose and heater, in millibar.
    pub drop_mbar: i64,
    /// What leaves it without spraying: leaks and purges, in grams a day.
    pub steady_g_per_day: i64,
}

/// The air compressor.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Compressor {
    /// Free air delivered, in litres per minute at inlet conditions.
    pub free_air_l_per_min: i64,
    /// Highest pressure, absolute, in millibar.
    pub max_mbar: i64,
    /// Inlet temperature, in degrees Celsius.
    pub inlet_c: i64,
    /// Power while it runs, in watts.
    pub power_w: i64,
    /// Minutes of running left to the next service; none if nobody counts.
    pub service_in_min: Option<i64>,
    /// The vessel behind it; none if there is none, or nobody told.
    pub receiver: Option<Receiver>,
}

/// A vessel that a compressor fills, up to its highest pressure.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Receiver {
    /// Water volume, in millilitres.
    pub volume_ml: i64,
    /// Pressure at which the compressor starts again, absolute, in millibar.
    pub low_mbar: i64,
}

/// The generating set and its fuel.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fuel {
    /// Fuel on hand, in millilitres.
    pub on_hand_ml: i64,
    /// When it was read.
    pub read_at: DateTime<Utc>,
    /// Who read it.
    pub read_by: String,
    /// What the set may give, in watts.
    pub rated_w: i64,
    /// Fuel for each kilowatt-hour given, in millilitres.
    pub ml_per_kwh: i64,
    /// Fuel for each hour of running and kilowatt rated, in millilitres.
    pub idle_ml_per_h_kw: i64,
    /// What the camp takes all the time, in watts.
    pub camp_w: i64,
}

/// Something that a delivery brings.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Brings {
    /// Powder of one lot.
    Powder {
        /// What.
        powder: PowderCode,
        /// How much, in grams.
        grams: i64,
        /// Its use-by date, if told.
        use_by: Option<DateTime<Utc>>,
    },
    /// Full bottles for a bank.
    Gas {
        /// Which bank.
        bank: BankCode,
        /// How many bottles.
        bottles: i64,
        /// Pressure at which they were filled, absolute, in millibar.
        pressure_mbar: i64,
    },
    /// Fuel for the set.
    Fuel {
        /// How much, in millilitres.
        ml: i64,
    },
    /// Anything else, in words: parts, nozzles, gloves.
    Other {
        /// What.
        what: String,
    },
}

/// A delivery expected.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Delivery {
    /// Its code.
    pub code: DeliveryCode,
    /// How it comes: a boat, an aircraft.
    pub name: String,
    /// When it is expected.
    pub expected: DateTime<Utc>,
    /// When it comes at the latest; none if nobody would say.
    pub latest: Option<DateTime<Utc>>,
    /// What it may carry, in kilograms; none if not known.
    pub payload_kg: Option<i64>,
    /// What it brings.
    pub brings: Vec<Brings>,
}

/// The most days that are planned ahead.
pub const MOST_PLAN_DAYS: i64 = 60;

/// The trip after next: of those expected the second one. None if fewer are known.
#[must_use]
pub fn trip_after_next(deliveries: &[Delivery]) -> Option<&Delivery> {
    let mut trips: Vec<&Delivery> = deliveries.iter().collect();
    trips.sort_by_key(|trip| (trip.expected, &trip.code));
    trips.get(1).copied()
}

/// How many days are planned ahead: as many as told, or to the trip after next if that comes later.
///
/// They are [`MOST_PLAN_DAYS`] at the most. What that trip brings may be used `receiving_min` minutes after its
/// landing.
#[must_use]
pub fn days_ahead(
    told: i64,
    now: DateTime<Utc>,
    deliveries: &[Delivery],
    receiving_min: i64,
) -> i64 {
    let minutes = trip_after_next(deliveries).map_or(0, |trip| {
        (trip.expected - now).num_minutes() + receiving_min
    });
    told.max((minutes + 1439).div_euclid(1440))
        .min(MOST_PLAN_DAYS.max(told))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(n: i64) -> DateTime<Utc> {
        DateTime::UNIX_EPOCH + chrono::TimeDelta::days(n)
    }

    fn trip(code: &str, expected: DateTime<Utc>) -> Delivery {
        Delivery {
            code: code.parse().expect("a code"),
            name: "boat".to_owned(),
            expected,
            latest: None,
            payload_kg: None,
            brings: vec![],
        }
    }

    /// Fourteen days are told. With trips on day 6 and day 9 fourteen it stays; with the second one on day 20
    /// and an hour to take in what it brought, day 20 is over: 21. Of day 90 no more than 60 are planned, and
    /// with one trip alone nobody knows the one after next.
    #[test]
    fn a_plan_reaches_to_the_trip_after_next() {
        let ahead = |days: &[i64]| {
            let trips: Vec<Delivery> = days.iter().map(|n| trip("T", day(*n))).collect();
            days_ahead(14, day(0), &trips, 60)
        };
        assert_eq!(ahead(&[6, 9]), 14);
        assert_eq!(ahead(&[20, 6]), 21);
        assert_eq!(ahead(&[6, 30, 20]), 21);
        assert_eq!(ahead(&[6, 90]), 60);
        assert_eq!(ahead(&[40]), 14);
    }
}
