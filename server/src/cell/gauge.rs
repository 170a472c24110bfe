//! What is read off the cell, and for how long a reading is good.

use mendpost_core::word_enum;

word_enum! {
    /// A kind of reading.
    Gauge {
        /// Of a bank, absolute, in millibar.
        BankPressure = "bank-pressure",
        /// Of a bank, in thousandths of a degree Celsius.
        BankTemperature = "bank-temperature",
        /// In the tank, in millilitres.
        Fuel = "fuel",
        /// Bore of the throat, in micrometres.
        NozzleBore = "nozzle-bore",
        /// What the heater takes at full heat, in watts.
        HeaterPower = "heater-power",
        /// Over the collector's filter elements, in pascals.
        CollectorDrop = "collector-drop",
        /// Until the compressor's service, in minutes of running.
        CompressorService = "compressor-service",
        /// Of a furnace, in thousandths of a degree Celsius.
        FurnaceTemperature = "furnace-temperature",
    }
}

const HOUR: i64 = 60;
const DAY: i64 = 24 * HOUR;

impl Gauge {
    /// Minutes after which it is to be read again (common practice, no source). A furnace counts
    /// only while it is in work.
    pub const fn good_for_min(self) -> i64 {
        match self {
            Gauge::BankPressure | Gauge::BankTemperature | Gauge::Fuel => 12 * HOUR,
            Gauge::CollectorDrop => DAY,
            Gauge::CompressorService => 7 * DAY,
            Gauge::NozzleBore => 14 * DAY,
            Gauge::HeaterPower => 30 * DAY,
            Gauge::FurnaceTemperature => HOUR,
        }
    }

    /// Whether a reading of this time is to be taken again.
    pub const fn is_stale(self, read_ms: i64, now_ms: i64) -> bool {
        now_ms - read_ms > self.good_for_min() * 60_000
    }

    /// As the page calls it.
    pub const fn word(self) -> &'static str {
        match self {
            Gauge::BankPressure => "bank pressure",
            Gauge::BankTemperature => "bank temperature",
            Gauge::Fuel => "fuel",
            Gauge::NozzleBore => "nozzle bore",
            Gauge::HeaterPower => "heater power",
            Gauge::CollectorDrop => "collector drop",
            Gauge::CompressorService => "compressor hours",
            Gauge::FurnaceTemperature => "furnace in work",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A bank is good for 12 h and not a millisecond longer.
    #[test]
    fn a_reading_is_good_to_its_hour() {
        let half_a_day = 12 * 3_600_000;
        assert!(!Gauge::BankPressure.is_stale(0, half_a_day));
        assert!(Gauge::BankPressure.is_stale(0, half_a_day + 1));
        assert!(!Gauge::HeaterPower.is_stale(0, half_a_day + 1));
    }
}
