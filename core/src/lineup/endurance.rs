//! How long the site can spray at a setting: gas above the floor, fuel, the compressor's service.

use super::gate::Shut;
use super::need::{
    GasSource, Jet, Reckoning, Setting, Supply, bank, generator, no_figure, steady_fuel_ml_per_h,
    told, within_set,
};
use super::supply::landing;
use crate::gas::Bar;
use crate::gas::range::{whole_down, whole_up};
use crate::situation::{self, Brings, Situation};

/// How long the site can spray at one setting, with what is on hand.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Endurance {
    /// Where the gas comes from.
    pub source: GasSource,
    /// What the source must hold, absolute, in millibar: nozzle pressure and what is lost on the way.
    pub floor_mbar: i64,
    /// What it holds, or what the compressor reaches, absolute, in millibar.
    pub have_mbar: i64,
    /// Gas set aside for leaks and purges until the next bottles, in grams.
    pub aside_g: i64,
    /// Gas above the floor beyond that, in grams; none where the compressor gives it.
    pub usable_g: Option<i64>,
    /// Gas that flows, carrier included, in grams per hour.
    pub flow_g_per_h: i64,
    /// Minutes of flow until the bank is at its floor or the compressor due for its service; none
    /// if neither ends it.
    pub minutes: Option<i64>,
    /// Power while it sprays, without the camp, in watts.
    pub power_w: i64,
    /// Fuel for an hour of flow, the camp's included, in millilitres.
    pub fuel_ml_per_h: i64,
    /// Minutes of flow until the tank is empty.
    pub fuel_minutes: i64,
}

/// How long the site can spray at a setting.
///
/// Minutes are those during which gas flows. Where the compressor gives less than the nozzle
/// takes, it runs on between them: its service and the fuel count that time as well.
///
/// # Errors
/// The gate: no such gas, beyond the cell, too little power, or figures that give no answer.
pub fn endurance(situation: &Situation, setting: Setting) -> Result<Endurance, Shut> {
    let supply = Supply::of(situation, setting)?;
    let endurance = reckon(situation, setting, &supply).map_err(no_figure)?;
    within_set(situation, endurance.power_w)?;
    Ok(endurance)
}

/// Minutes until the tank is empty if the camp alone draws on it; none if it takes nothing.
#[must_use]
pub fn camp_fuel_minutes(situation: &Situation) -> Option<i64> {
    let per_hour = steady_fuel_ml_per_h(situation);
    (per_hour > 0).then(|| situation.fuel.on_hand_ml.saturating_mul(60) / per_hour)
}

fn reckon(situation: &Situation, setting: Setting, supply: &Supply) -> Reckoning<Endurance> {
    let jet = Jet::of(situation, setting, supply)?;
    let floor_mbar = supply.source_mbar(setting.pressure_mbar);
    let aside_g = match supply {
        Supply::Bank(stand) => set_aside_g(situation, stand),
        Supply::Compressor(_) => 0,
    };
    let (have_mbar, usable_g, minutes) = match supply {
        Supply::Bank(stand) => {
            let floor = told(Bar::new(floor_mbar as f64 / 1000.0))?;
            let above = told(told(bank(stand))?.usable_grams(floor))?;
            let usable = (above - aside_g).max(0);
            let minutes = jet.flow.minutes_of(usable);
            (stand.pressure_mbar, Some(usable), Some(minutes))
        }
        Supply::Compressor(c) => {
            let minutes = c
                .service_in_min
                .map(|left| whole_down(left as f64 / jet.stretch.get()));
            (c.max_mbar, None, minutes)
        }
    };
    let steady_kw = supply.steady_kw(situation);
    let kwh_per_h = steady_kw * jet.stretch.get() + jet.heater_kw;
    let camp_ml = steady_fuel_ml_per_h(situation) as f64 * jet.stretch.get();
    let cell_ml = told(told(generator(situation))?.marginal_millilitres(kwh_per_h))?;
    let fuel_ml_per_h = whole_up(camp_ml) + cell_ml;
    Ok(Endurance {
        source: supply.source(),
        floor_mbar,
        have_mbar,
        aside_g,
        usable_g,
        flow_g_per_h: whole_up(jet.flow.get() * 1000.0),
        minutes,
        power_w: whole_up((steady_kw + jet.heater_kw) * 1000.0),
        fuel_ml_per_h,
        fuel_minutes: situation.fuel.on_hand_ml.saturating_mul(60) / fuel_ml_per_h.max(1),
    })
}

/// What leaves a bank without spraying until its next bottles may be used, or the end of the plan.
fn set_aside_g(situation: &Situation, stand: &situation::Bank) -> i64 {
    let brings_gas =
        |brings: &Brings| matches!(brings, Brings::Gas { bank, .. } if *bank == stand.code);
    let next = situation
        .deliveries
        .iter()
        .filter(|delivery| delivery.brings.iter().any(brings_gas))
        .map(|delivery| landing(situation, delivery))
        .min();
    let minutes = next.map_or(situation.horizon(), |at| at.min(situation.horizon()));
    let lost = stand.steady_g_per_day.saturating_mul(minutes.max(0));
    (lost + 1439).div_euclid(1440)
}
