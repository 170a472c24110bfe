//! A setting as approved against what the cell gives of it today.

use super::need::{GasSource, Setting, holds_c};
use crate::gas::Gas;
use crate::situation::Situation;

/// What the cell gives of a setting today.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Conditions {
    /// The setting with pressure and temperature as far as they are reached.
    pub setting: Setting,
    /// Throat as last gauged, in micrometres.
    pub throat_um: i64,
    /// Everything that differs from the setting as approved; empty if nothing does.
    pub differences: Vec<Difference>,
}

/// One thing that is not as it was approved.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Difference {
    /// The throat is not as machined.
    Throat {
        /// As machined, in micrometres.
        machined_um: i64,
        /// As last gauged, in micrometres.
        gauged_um: i64,
    },
    /// Nothing here gives this gas; pressure and temperature are left as approved.
    NoGas {
        /// The gas.
        gas: Gas,
    },
    /// The pressure is not reached.
    Pressure {
        /// As approved, absolute, in millibar.
        asked_mbar: i64,
        /// What reaches the nozzle, absolute, in millibar.
        reached_mbar: i64,
        /// What ends it: bottles, compressor, or the cell itself if none.
        by: Option<GasSource>,
    },
    /// The temperature is not held.
    Temperature {
        /// As approved, in degrees Celsius.
        asked_c: i64,
        /// What the heater holds at the pressure reached, or the cell stands, in degrees Celsius.
        held_c: i64,
    },
}

/// What the cell gives of a setting today: throat worn, pressure limited by bottles less what is
/// lost on the way, by the compressor or by the cell, and temperature by heater and cell.
#[must_use]
pub fn conditions(situation: &Situation, setting: Setting, machined_um: i64) -> Conditions {
    let gauged_um = situation.cell.throat_um;
    let mut today = Conditions {
        setting,
        throat_um: gauged_um,
        differences: Vec::new(),
    };
    if gauged_um != machined_um {
        today.differences.push(Difference::Throat {
            machined_um,
            gauged_um,
        });
    }
    match reach(situation, setting.gas) {
        None => today
            .differences
            .push(Difference::NoGas { gas: setting.gas }),
        Some((source_mbar, source)) => {
            today.limit_pressure(situation.cell.max_mbar, source_mbar, source);
            today.limit_temperature(situation);
        }
    }
    today
}

impl Conditions {
    fn limit_pressure(&mut self, cell_mbar: i64, source_mbar: i64, source: GasSource) {
        let asked_mbar = self.setting.pressure_mbar;
        let by_cell = cell_mbar <= source_mbar;
        let reached_mbar = cell_mbar.min(source_mbar).max(0);
        if reached_mbar < asked_mbar {
            self.setting.pressure_mbar = reached_mbar;
            self.differences.push(Difference::Pressure {
                asked_mbar,
                reached_mbar,
                by: (!by_cell).then_some(source),
            });
        }
    }

    fn limit_temperature(&mut self, situation: &Situation) {
        let asked_c = self.setting.temperature_c;
        // The heater is asked at a temperature that the cell stands, or it would give no answer.
        self.setting.temperature_c = asked_c.min(situation.cell.max_c);
        let held_c = holds_c(situation, self.setting).map_or(self.setting.temperature_c, |held| {
            held.min(self.setting.temperature_c)
        });
        self.setting.temperature_c = held_c;
        if held_c < asked_c {
            let told = Difference::Temperature { asked_c, held_c };
            self.differences.push(told);
        }
    }
}

/// The most that a source of this gas gives at the nozzle, absolute, in millibar.
fn reach(situation: &Situation, gas: Gas) -> Option<(i64, GasSource)> {
    let banks = situation.banks.iter().filter(|b| b.gas == gas);
    let banks = banks.map(|b| {
        (
            b.pressure_mbar - b.drop_mbar,
            GasSource::Bank(b.code.clone()),
        )
    });
    let compressor = situation
        .compressor
        .iter()
        .filter(|_| gas == Gas::Air)
        .map(|c| (c.max_mbar, GasSource::Compressor));
    banks.chain(compressor).max_by_key(|(mbar, _)| *mbar)
}
