//! What a build does, in words.

use mendpost_core::build::{Cause, Reading};

use crate::form::plain_decimal as plain;
use crate::page::grams_exact;

/// Why spraying stopped, as a choice says it.
pub const fn cause_word(cause: Cause) -> &'static str {
    match cause {
        Cause::LayerEnd => "end of a layer: look",
        Cause::Measure => "measure the thickness",
        Cause::Powder => "fill the feeder",
        Cause::Gas => "change the bank",
        Cause::ShiftChange => "shift change: parked",
        Cause::Clog => "nozzle clogged",
        Cause::NozzleWorn => "nozzle worn",
        Cause::Feeder => "feeder blocked or pulsing",
        Cause::Heater => "heater does not hold",
        Cause::Collector => "collector loaded",
        Cause::Compressor => "compressor stands",
        Cause::Power => "power cut",
        Cause::Other => "something else",
    }
}

/// That it stopped, and why.
pub fn stopped(cause: Cause) -> String {
    format!("Stopped: {}", cause_word(cause))
}

/// What was read, in words.
pub const fn reading_word(reading: Reading) -> &'static str {
    match reading {
        Reading::Pressure => "gas before the nozzle",
        Reading::Temperature => "gas temperature",
        Reading::Heater => "heater",
        Reading::Feed => "feed",
        Reading::FeederLeft => "left in the feeder",
        Reading::Draught => "booth below outside",
        Reading::Humidity => "humidity",
        Reading::Oxygen => "oxygen",
        Reading::Thickness => "thickness",
    }
}

/// A reading with its unit.
pub fn reading_value(reading: Reading, value: i64) -> String {
    match reading {
        Reading::Pressure => format!("{} bar abs", plain(value, 3)),
        Reading::Temperature => format!("{} °C", plain(value, 3)),
        Reading::Heater => format!("{} kW", plain(value, 3)),
        Reading::Feed => format!("{}/min", grams_exact(value)),
        Reading::FeederLeft => grams_exact(value),
        Reading::Draught => format!("{value} Pa"),
        Reading::Humidity | Reading::Oxygen => format!("{} %", plain(value, 1)),
        Reading::Thickness => format!("{} mm", plain(value, 3)),
    }
}
