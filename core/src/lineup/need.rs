//! What a stage takes here, with this nozzle, this gas and this set.

use super::efficiency::stage_efficiency;
use super::gate::{Gate, Opens, Shut};
use super::supply::{bank_floor_g, content_g};
use crate::catalogue::{Pace, Spray};
use crate::code::BankCode;
use crate::deposit::{PowderNeed, Quantile, Spraying};
use crate::gas::range::whole_up;
use crate::gas::{
    self, Bar, Celsius, Compressor, Gas, GeneratorSet, KgPerHour, Kilowatts, Nozzle, Stretch,
    heat_from_bank_kw, heat_kw,
};
use crate::situation::{self, Situation};
use serde::{Deserialize, Serialize};

/// Where the gas of a stage comes from.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum GasSource {
    /// The compressor, while it runs.
    Compressor,
    /// Bottles.
    Bank(BankCode),
}

/// What a stage takes here.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct StageNeed {
    /// Powder to load, in grams: fed at the site's quantile, lost at starts and stops, coupon.
    pub powder_g: i64,
    /// Minutes that it holds the cell, handling included, put right by how long it took before.
    pub minutes: i64,
    /// The same by the recipe's figures alone; 0 in what was stored before this was told apart.
    #[serde(default)]
    pub reckoned_min: i64,
    /// Minutes during which gas flows.
    pub gas_min: i64,
    /// Where the gas comes from; of several banks the one that serves it.
    pub source: GasSource,
    /// Gas, in grams.
    pub gas_g: i64,
    /// Pressure that the source must hold, absolute, in millibar.
    pub source_mbar: i64,
    /// Fuel, in millilitres.
    pub fuel_ml: i64,
    /// Power while it sprays, in watts, without the camp.
    pub power_w: i64,
    /// Of these, what the heater takes.
    #[serde(default)]
    pub heater_w: i64,
}

/// What a stage takes here, or the gate that no figure can be given for.
///
/// # Errors
/// The gate: no such gas, beyond the cell, too little power, or figures that give no answer.
pub fn stage_need(situation: &Situation, spray: &Spray) -> Result<StageNeed, Shut> {
    let setting = Setting::of(spray);
    let supply = Supply::of(situation, setting)?;
    let figures = Figures::of(situation, spray, &supply).map_err(no_figure)?;
    let need = figures.need(situation, spray, &supply).map_err(no_figure)?;
    within_heater(situation, setting, need.heater_w)?;
    within_set(situation, need.power_w)?;
    Ok(need)
}

/// The highest gas temperature that the heater holds at this gas and pressure, in degrees Celsius, up to
/// what the cell stands; none if nobody told what the heater gives, or nothing can be worked out.
#[must_use]
pub fn holds_c(situation: &Situation, setting: Setting) -> Option<i64> {
    let most_w = situation.cell.heater_w?;
    let takes = |temperature_c| {
        let at = Setting {
            temperature_c,
            ..setting
        };
        let supply = Supply::of(situation, at).ok()?;
        let jet = Jet::of(situation, at, &supply).ok()?;
        Some(jet.heater_w())
    };
    let (mut held, mut beyond) = (AMBIENT_C, situation.cell.max_c + 1);
    takes(held)?;
    while beyond - held > 1 {
        let middle = held + (beyond - held) / 2;
        if takes(middle)? <= most_w {
            held = middle;
        } else {
            beyond = middle;
        }
    }
    Some(held)
}

/// From here on a heater may be asked for something.
const AMBIENT_C: i64 = 80;

pub(super) fn within_heater(
    situation: &Situation,
    setting: Setting,
    need_w: i64,
) -> Result<(), Shut> {
    let Some(most_w) = situation.cell.heater_w.filter(|most| need_w > *most) else {
        return Ok(());
    };
    let gate = Gate::Heater {
        need_w,
        most_w,
        holds_c: holds_c(situation, setting),
    };
    let watts = need_w - most_w;
    Err(Shut::new(gate, Opens::MoreHeat { watts }))
}

/// Gas, pressure and temperature at the nozzle.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Setting {
    /// What flows.
    pub gas: Gas,
    /// Nozzle pressure, absolute, in millibar.
    pub pressure_mbar: i64,
    /// Gas temperature before the nozzle, in degrees Celsius.
    pub temperature_c: i64,
}

impl Setting {
    /// That of a stage.
    #[must_use]
    pub const fn of(spray: &Spray) -> Self {
        Self {
            gas: spray.gas,
            pressure_mbar: spray.pressure_mbar,
            temperature_c: spray.temperature_c,
        }
    }
}

pub(super) fn within_set(situation: &Situation, power_w: i64) -> Result<(), Shut> {
    let (taken, most) = (power_w + situation.fuel.camp_w, situation.fuel.rated_w);
    if taken <= most {
        return Ok(());
    }
    let gate = Gate::Power {
        need_w: taken,
        most_w: most,
    };
    let watts = taken - most;
    Err(Shut::new(gate, Opens::LessPower { watts }))
}

fn within_cell(situation: &Situation, setting: Setting) -> Result<(), Shut> {
    let cell = &situation.cell;
    if setting.pressure_mbar <= cell.max_mbar && setting.temperature_c <= cell.max_c {
        return Ok(());
    }
    Err(Shut::new(
        Gate::BeyondCell {
            need_mbar: setting.pressure_mbar,
            most_mbar: cell.max_mbar,
            need_c: setting.temperature_c,
            most_c: cell.max_c,
        },
        Opens::OtherFigures,
    ))
}

pub(super) type Reckoning<T> = Result<T, String>;

pub(super) fn no_figure(why: String) -> Shut {
    Shut::new(Gate::NoFigure { why }, Opens::OtherFigures)
}

pub(super) fn told<T, E: std::fmt::Display>(result: Result<T, E>) -> Reckoning<T> {
    result.map_err(|e| e.to_string())
}

/// Where the gas of a spray comes from: air from the compressor where that reaches the pressure,
/// everything else from banks, of which the lowest that still holds a draw serves it.
pub(super) enum Supply<'a> {
    Compressor(&'a situation::Compressor),
    /// All of this gas, the lowest pressure first; never empty.
    Banks(Vec<&'a situation::Bank>),
}

impl<'a> Supply<'a> {
    pub(super) fn of(situation: &'a Situation, setting: Setting) -> Result<Self, Shut> {
        within_cell(situation, setting)?;
        let compressor = situation
            .compressor
            .as_ref()
            .filter(|_| setting.gas == Gas::Air);
        if let Some(c) = compressor.filter(|c| c.max_mbar >= setting.pressure_mbar) {
            return Ok(Self::Compressor(c));
        }
        let banks = banks_of(situation, setting.gas);
        match (banks.is_empty(), compressor) {
            (false, _) => Ok(Self::Banks(banks)),
            (true, Some(c)) => Err(Shut::new(
                Gate::BeyondCell {
                    need_mbar: setting.pressure_mbar,
                    most_mbar: c.max_mbar,
                    need_c: setting.temperature_c,
                    most_c: situation.cell.max_c,
                },
                Opens::OtherFigures,
            )),
            (true, None) => Err(Shut::new(
                Gate::NoGas { gas: setting.gas },
                Opens::GetGas { gas: setting.gas },
            )),
        }
    }

    /// Where so many grams would be taken from now, and what that must hold for so much at the nozzle,
    /// in millibar: the lowest bank that holds them, or the fullest if none does.
    pub(super) fn source(
        &self,
        situation: &Situation,
        grams: i64,
        nozzle_mbar: i64,
    ) -> (GasSource, i64) {
        let Self::Banks(banks) = self else {
            return (GasSource::Compressor, nozzle_mbar);
        };
        let holds = |b: &&&situation::Bank| {
            let floor = bank_floor_g(situation, b, grams, nozzle_mbar + b.drop_mbar);
            content_g(b) >= floor.saturating_add(grams)
        };
        let taken = banks.iter().find(holds).or_else(|| banks.last());
        taken.map_or((GasSource::Compressor, nozzle_mbar), |b| {
            let floor_mbar = nozzle_mbar + b.drop_mbar;
            (GasSource::Bank(b.code.clone()), floor_mbar)
        })
    }

    /// Power that does not depend on the flow: extraction, and the compressor where it runs.
    pub(super) const fn steady_kw(&self, situation: &Situation) -> f64 {
        let compressor_w = match self {
            Self::Compressor(c) => c.power_w,
            Self::Banks(_) => 0,
        };
        thousandths(compressor_w + situation.cell.extraction_w)
    }

    /// Power into the gas to bring it from its source to this.
    ///
    /// Of several banks the fullest counts: its gas comes coldest from the regulator.
    fn heat(&self, gas: Gas, bar: Bar, hot: Celsius, flow: KgPerHour) -> Reckoning<Kilowatts> {
        match self {
            Self::Compressor(c) => {
                let inlet = told(Celsius::new(c.inlet_c as f64))?;
                told(heat_kw(gas, bar, inlet, hot, flow))
            }
            Self::Banks(banks) => {
                let fullest = banks.last().ok_or("no bank")?;
                let held = thousandths(fullest.pressure_mbar).clamp(bar.get(), 400.0);
                let held = told(Bar::new(held))?;
                let cold = told(Celsius::new(thousandths(fullest.temperature_mc)))?;
                told(heat_from_bank_kw(gas, (held, cold), bar, hot, flow))
            }
        }
    }
}

/// The banks of a gas, the lowest pressure first: the order in which they are used up.
pub(super) fn banks_of(situation: &Situation, gas: Gas) -> Vec<&situation::Bank> {
    let mut banks: Vec<_> = situation.banks.iter().filter(|b| b.gas == gas).collect();
    banks.sort_by_key(|b| b.pressure_mbar);
    banks
}

struct Figures {
    powder_g: i64,
    spraying: Spraying,
    jet: Jet,
}

/// What flows while it sprays, carrier gas included, and what heats it.
pub(super) struct Jet {
    pub(super) flow: KgPerHour,
    /// How much longer it takes because the compressor must catch up.
    pub(super) stretch: Stretch,
    pub(super) heater_kw: f64,
}

impl Jet {
    pub(super) fn of(situation: &Situation, setting: Setting, supply: &Supply) -> Reckoning<Self> {
        let cell = &situation.cell;
        let nozzle = told(Nozzle::new(
            thousandths(cell.throat_um),
            thousandths(cell.discharge_permille),
        ))?;
        let bar = told(Bar::new(thousandths(setting.pressure_mbar)))?;
        let hot = told(Celsius::new(setting.temperature_c as f64))?;
        let main = told(nozzle.flow_kg_per_h(setting.gas, bar, hot))?;
        let flow = told(KgPerHour::new(
            main.get() * (1.0 + thousandths(cell.carrier_permille)),
        ))?;
        let stretch = match supply {
            Supply::Banks(_) => Stretch::NONE,
            Supply::Compressor(c) => told(compressor(situation, c)?.stretch(flow))?,
        };
        let heat = supply.heat(setting.gas, bar, hot, main)?;
        Ok(Self {
            flow,
            stretch,
            heater_kw: heat.get() / thousandths(cell.heater_permille),
        })
    }

    pub(super) fn heater_w(&self) -> i64 {
        whole_up(self.heater_kw * 1000.0)
    }
}

impl Figures {
    fn of(situation: &Situation, spray: &Spray, supply: &Supply) -> Reckoning<Self> {
        let efficiency = told(stage_efficiency(situation, spray))?
            .predicted
            .efficiency;
        let quantile = told(Quantile::new(thousandths(situation.site.need_permille)))?;
        let powder = told(PowderNeed::new(
            spray.deposited_g as f64,
            efficiency,
            quantile,
            spray.start_stop_loss_g as f64,
            spray.coupon_g as f64,
        ))?;
        let jet = Jet::of(situation, Setting::of(spray), supply)?;
        let heel_g = situation.cell.heel_to_fill_g(&spray.powder);
        let powder = told(powder.with_heel(heel_g as f64))?;
        let powder_g = powder.load_grams();
        let spraying = told(Spraying::new(
            powder.spray_grams(),
            spray.feed_g_per_min as f64,
            jet.stretch,
            spray.handling_min,
        ))?;
        Ok(Self {
            powder_g,
            spraying,
            jet,
        })
    }

    fn need(&self, situation: &Situation, spray: &Spray, supply: &Supply) -> Reckoning<StageNeed> {
        let reckoned_min = self.spraying.cell_minutes().max(1);
        let minutes = Pace::of(&spray.timed).minutes(reckoned_min);
        let gas_min = self.spraying.spray_minutes() + spray.gas_only_min;
        let steady_kw = supply.steady_kw(situation);
        let kwh = (steady_kw * minutes as f64 + self.jet.heater_kw * gas_min as f64) / 60.0;
        let gas_g = self.jet.flow.grams_in(gas_min);
        let (source, source_mbar) = supply.source(situation, gas_g, spray.pressure_mbar);
        Ok(StageNeed {
            powder_g: self.powder_g,
            minutes,
            reckoned_min,
            gas_min,
            source,
            gas_g,
            source_mbar,
            fuel_ml: told(told(generator(situation))?.marginal_millilitres(kwh))?,
            power_w: whole_up((steady_kw + self.jet.heater_kw) * 1000.0),
            heater_w: self.jet.heater_w(),
        })
    }
}

/// Fuel of a step, in millilitres: its station's power for its minutes.
pub(super) fn step_fuel_ml(situation: &Situation, power_w: i64, minutes: i64) -> i64 {
    let kwh = power_w as f64 / 1000.0 * minutes as f64 / 60.0;
    generator(situation)
        .and_then(|set| set.marginal_millilitres(kwh))
        .unwrap_or(0)
}

/// What the camp takes from the fuel each hour, in millilitres, whatever the cell does.
#[must_use]
pub fn steady_fuel_ml_per_h(situation: &Situation) -> i64 {
    let fuel = &situation.fuel;
    let idle = fuel.idle_ml_per_h_kw.saturating_mul(fuel.rated_w);
    let camp = fuel.ml_per_kwh.saturating_mul(fuel.camp_w);
    (idle.saturating_add(camp) + 999).div_euclid(1000)
}

/// The set as the reckoning of fuel sees it.
pub(super) fn generator(situation: &Situation) -> Result<GeneratorSet, gas::GasError> {
    let fuel = &situation.fuel;
    GeneratorSet::new(
        thousandths(fuel.rated_w),
        thousandths(fuel.ml_per_kwh),
        thousandths(fuel.idle_ml_per_h_kw),
    )
}

pub(super) fn compressor(
    situation: &Situation,
    c: &situation::Compressor,
) -> Reckoning<Compressor> {
    told(Compressor::new(
        thousandths(c.free_air_l_per_min),
        told(Bar::new(thousandths(c.max_mbar)))?,
        situation.site.altitude_m as f64,
        c.inlet_c as f64,
    ))
}

/// The bank as the reckoning of gas sees it.
///
/// # Errors
/// If a reading lies outside what the equation of state holds for.
pub fn bank(bank: &situation::Bank) -> Result<gas::Bank, gas::GasError> {
    gas::Bank::new(
        bank.gas,
        thousandths(bank.bottle_ml) * bank.bottles as f64,
        Bar::new(thousandths(bank.pressure_mbar))?,
        Celsius::new(thousandths(bank.temperature_mc))?,
    )
}

const fn thousandths(value: i64) -> f64 {
    value as f64 / 1000.0
}
