//! The spray cell and the stations beside it.

use crate::catalogue::Envelope;
use crate::code::{PowderCode, StationCode};
use chrono::{DateTime, Utc};
use std::collections::BTreeMap;

/// A stretch during which the cell or some slots of a station cannot be used.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Closed {
    /// From.
    pub from: DateTime<Utc>,
    /// To, not included.
    pub to: DateTime<Utc>,
    /// Slots taken away; for the cell, all of it.
    pub slots: i64,
    /// Why.
    pub reason: String,
}

/// The spray booth with nozzle, feeder and heater.
#[derive(Debug, Clone, PartialEq)]
pub struct Cell {
    /// Its name.
    pub name: String,
    /// When what is under the nozzle now is done; none if it is free.
    pub free_from: Option<DateTime<Utc>>,
    /// Powder in the feeder; none if it is clean and empty.
    pub feeder: Option<PowderCode>,
    /// Extra minutes for the first stage of an attended period.
    pub warm_up_min: i64,
    /// Minutes to top up, or to swap lots of one powder.
    pub same_powder_min: i64,
    /// Minutes to change powder where no other figure is given.
    pub default_changeover_min: i64,
    /// Minutes to change from one powder to another.
    pub changeover_min: BTreeMap<(PowderCode, PowderCode), i64>,
    /// The largest part that goes in, in millimetres.
    pub booth_mm: Envelope,
    /// The heaviest part that its manipulator turns, in grams.
    pub max_part_g: i64,
    /// Throat of the nozzle as last gauged, in micrometres.
    pub throat_um: i64,
    /// Discharge coefficient of the nozzle, in thousandths.
    pub discharge_permille: i64,
    /// Carrier gas through the feeder, in thousandths of the main flow.
    pub carrier_permille: i64,
    /// Highest nozzle pressure, absolute, in millibar.
    pub max_mbar: i64,
    /// Highest gas temperature, in degrees Celsius.
    pub max_c: i64,
    /// Share of the heater's power that reaches the gas, in thousandths.
    pub heater_permille: i64,
    /// The most that the heater takes now, in watts: as measured last, or as built; none if nobody
    /// told.
    pub heater_w: Option<i64>,
    /// The diverging part of the nozzle; none if nobody told.
    pub divergent: Option<Divergent>,
    /// Bore at which the nozzle is changed, in micrometres.
    pub worn_um: Option<i64>,
    /// Pressure drop at which the collector's filter elements are changed, in pascals.
    pub collector_limit_pa: Option<i64>,
    /// Powder that stays in the feeder when it runs dry, in grams.
    pub heel_g: i64,
    /// How fast bottles are drawn, in thousandths: 0 so slowly that they keep their temperature,
    /// 1000 so fast that all the cooling stays in them.
    pub fast_permille: i64,
    /// Power of extraction, manipulator and chiller while it sprays, in watts.
    pub extraction_w: i64,
    /// When it cannot be used.
    pub closed: Vec<Closed>,
}

/// The diverging part of a nozzle, a straight cone from the throat on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Divergent {
    /// Bore at its exit, in micrometres.
    pub exit_um: i64,
    /// From throat to exit, in micrometres.
    pub length_um: i64,
}

/// A furnace, mill, bench.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Station {
    /// Its code.
    pub code: StationCode,
    /// Its name.
    pub name: String,
    /// How many operations at a time.
    pub slots: i64,
    /// It holds one load at a time: up to `slots` parts of one cycle, put in and taken out together.
    pub batch: bool,
    /// Power while it works, in watts.
    pub power_w: i64,
    /// When it, or some of its slots, cannot be used.
    pub closed: Vec<Closed>,
}
