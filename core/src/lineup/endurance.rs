//! How long the site can spray at a setting: gas above the floor, fuel, the compressor's service.

use super::gate::Shut;
use super::need::{
    GasSource, Jet, Reckoning, Setting, Supply, bank, compressor, generator, no_figure,
    steady_fuel_ml_per_h, told, within_heater, within_set,
};
use super::supply::{leaked_g, pace};
use crate::code::BankCode;
use crate::gas::range::{whole_down, whole_up};
use crate::gas::{Bar, Celsius, Receiver};
use crate::situation::{self, Situation};

/// How long the site can spray at one setting, with what is on hand.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Endurance {
    /// Where the gas comes from: of several banks the lowest that still gives some, or the fullest.
    pub source: GasSource,
    /// What that must hold, absolute, in millibar: nozzle pressure and what is lost on the way.
    pub floor_mbar: i64,
    /// What it holds, or what the compressor reaches, absolute, in millibar.
    pub have_mbar: i64,
    /// Gas set aside for leaks and purges until the next bottles, in grams, of all banks.
    pub aside_g: i64,
    /// Gas above the floors beyond that, in grams, of all banks one after another; none where the
    /// compressor gives it.
    pub usable_g: Option<i64>,
    /// Each bank of the gas, in the order in which they are used up.
    pub banks: Vec<BankLeft>,
    /// Gas that flows, carrier included, in grams per hour.
    pub flow_g_per_h: i64,
    /// Minutes of flow until the bank is at its floor or the compressor due for its service; none
    /// if neither ends it.
    pub minutes: Option<i64>,
    /// How much longer spraying takes because the compressor must catch up, in thousandths; 1000 where
    /// nothing waits.
    pub stretch_permille: i64,
    /// How spraying and waiting take turns, where the compressor has a receiver and does not keep up.
    pub cycle: Option<Turns>,
    /// Power while it sprays, without the camp, in watts.
    pub power_w: i64,
    /// Of these, what the heater takes.
    pub heater_w: i64,
    /// Fuel for an hour of flow, the camp's included, in millilitres.
    pub fuel_ml_per_h: i64,
    /// Minutes of flow until the tank is empty.
    pub fuel_minutes: i64,
}

/// What one bank gives above its floor, drawn in one go, before leaks are set aside.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BankLeft {
    /// Which.
    pub bank: BankCode,
    /// What it holds, absolute, in millibar.
    pub have_mbar: i64,
    /// What it must hold, absolute, in millibar.
    pub floor_mbar: i64,
    /// Grams if it is drawn so slowly that it stays warm.
    pub slow_g: i64,
    /// Grams if it is drawn so fast that all the cooling stays in it; none where it would get too cold
    /// to reckon.
    pub fast_g: Option<i64>,
    /// Grams at the site's pace: what the plan counts on.
    pub usable_g: i64,
}

/// Minutes of spraying and of waiting that take turns.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Turns {
    /// From a full receiver to an empty one, rounded down.
    pub spray_min: i64,
    /// Until it is full again, rounded up.
    pub refill_min: i64,
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
    within_heater(situation, setting, endurance.heater_w)?;
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
    let gas = GasLeft::of(situation, setting, supply, &jet)?;
    let steady_kw = supply.steady_kw(situation);
    let kwh_per_h = steady_kw * jet.stretch.get() + jet.heater_kw;
    let camp_ml = steady_fuel_ml_per_h(situation) as f64 * jet.stretch.get();
    let cell_ml = told(told(generator(situation))?.marginal_millilitres(kwh_per_h))?;
    let fuel_ml_per_h = whole_up(camp_ml) + cell_ml;
    Ok(Endurance {
        source: gas.source,
        floor_mbar: gas.floor_mbar,
        have_mbar: gas.have_mbar,
        aside_g: gas.aside_g,
        usable_g: gas.usable_g,
        banks: gas.banks,
        flow_g_per_h: whole_up(jet.flow.get() * 1000.0),
        minutes: gas.minutes,
        stretch_permille: whole_up(jet.stretch.get() * 1000.0),
        cycle: turns(situation, supply, &jet)?,
        heater_w: jet.heater_w(),
        power_w: whole_up((steady_kw + jet.heater_kw) * 1000.0),
        fuel_ml_per_h,
        fuel_minutes: situation.fuel.on_hand_ml.saturating_mul(60) / fuel_ml_per_h.max(1),
    })
}

struct GasLeft {
    source: GasSource,
    floor_mbar: i64,
    have_mbar: i64,
    aside_g: i64,
    usable_g: Option<i64>,
    banks: Vec<BankLeft>,
    minutes: Option<i64>,
}

impl GasLeft {
    fn of(
        situation: &Situation,
        setting: Setting,
        supply: &Supply,
        jet: &Jet,
    ) -> Reckoning<GasLeft> {
        match supply {
            Supply::Compressor(c) => Ok(GasLeft {
                source: GasSource::Compressor,
                floor_mbar: setting.pressure_mbar,
                have_mbar: c.max_mbar,
                aside_g: 0,
                usable_g: None,
                banks: Vec::new(),
                minutes: c
                    .service_in_min
                    .map(|left| whole_down(left as f64 / jet.stretch.get())),
            }),
            Supply::Banks(banks) => Self::of_banks(situation, setting, banks, jet),
        }
    }

    fn of_banks(
        situation: &Situation,
        setting: Setting,
        banks: &[&situation::Bank],
        jet: &Jet,
    ) -> Reckoning<GasLeft> {
        let (mut left, mut aside_g, mut usable_g) = (Vec::new(), 0, 0);
        for stand in banks {
            let here = BankLeft::of(situation, stand, setting.pressure_mbar + stand.drop_mbar)?;
            let leaked = leaked_g(situation, stand);
            aside_g += leaked;
            usable_g += (here.usable_g - leaked).max(0);
            left.push(here);
        }
        let first = left.iter().find(|b| b.usable_g > 0).or(left.last());
        let first = first.cloned().ok_or("no bank")?;
        Ok(GasLeft {
            source: GasSource::Bank(first.bank),
            floor_mbar: first.floor_mbar,
            have_mbar: first.have_mbar,
            aside_g,
            usable_g: Some(usable_g),
            banks: left,
            minutes: Some(jet.flow.minutes_of(usable_g)),
        })
    }
}

impl BankLeft {
    fn of(situation: &Situation, stand: &situation::Bank, floor_mbar: i64) -> Reckoning<Self> {
        let floor = told(Bar::new(floor_mbar as f64 / 1000.0))?;
        let bank = told(bank(stand))?;
        Ok(Self {
            bank: stand.code.clone(),
            have_mbar: stand.pressure_mbar,
            floor_mbar,
            slow_g: told(bank.usable_grams(floor))?,
            fast_g: bank.usable_fast_grams(floor).ok(),
            usable_g: told(bank.usable_grams_at(pace(situation), floor))?,
        })
    }
}

fn turns(situation: &Situation, supply: &Supply, jet: &Jet) -> Reckoning<Option<Turns>> {
    let Supply::Compressor(c) = supply else {
        return Ok(None);
    };
    let Some(vessel) = c.receiver else {
        return Ok(None);
    };
    let bar = |mbar: i64| told(Bar::new(mbar as f64 / 1000.0));
    let receiver = told(Receiver::new(
        vessel.volume_ml as f64 / 1000.0,
        bar(c.max_mbar)?,
        bar(vessel.low_mbar)?,
        told(Celsius::new(c.inlet_c as f64))?,
    ))?;
    let cycle = told(compressor(situation, c)?.cycle(&receiver, jet.flow))?;
    Ok(cycle.map(|cycle| Turns {
        spray_min: whole_down(cycle.spray_min),
        refill_min: whole_up(cycle.refill_min),
    }))
}
