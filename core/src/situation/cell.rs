//! The spray cell and the stations beside it.

use crate::catalogue::Envelope;
use crate::code::{PowderCode, StationCode};
use crate::quantity::Milligrams;
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
    /// How many grams of it are in the feeder; none if nobody knows, and then its heel counts as there.
    pub feeder_g: Option<i64>,
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

impl Cell {
    /// Grams of a powder that fill the heel before any of it is sprayed: what the heel lacks of them.
    #[must_use]
    pub fn heel_to_fill_g(&self, powder: &PowderCode) -> i64 {
        match self.feeder_g {
            _ if self.feeder.as_ref() != Some(powder) => self.heel_g,
            Some(grams) => (self.heel_g - grams).max(0),
            None => 0,
        }
    }

    /// What can be sprayed of `of_lot`, if the feeder holds `in_all`: its share of what is beyond the heel, which is
    /// as mixed as the rest.
    #[must_use]
    pub fn beyond_heel(&self, of_lot: Milligrams, in_all: Milligrams) -> Milligrams {
        let beyond = in_all.0 - Milligrams::from_grams(self.heel_g).0;
        if of_lot.0 <= 0 || beyond <= 0 {
            return Milligrams(0);
        }
        let share = i128::from(of_lot.0) * i128::from(beyond) / i128::from(in_all.0.max(1));
        Milligrams(i64::try_from(share).unwrap_or(0))
    }
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
