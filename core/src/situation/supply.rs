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
