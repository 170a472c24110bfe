//! `mendpost calc`: one physical calculation, in and out as JSON, so that anyone can check it without the
//! pages.

mod demand;
mod efficiency;

use std::process::ExitCode;

use clap::{Args, ValueEnum};
use mendpost_core::deposit::{
    BondModel, Cone, DragLaw, Efficiency, Metal, Particle, PowderNeed, Quantile, deposited_grams,
};
use mendpost_core::gas::{
    Bank, Bar, Celsius, Compressor, Gas, GeneratorSet, KgPerHour, Kilowatts, MOLAR_GAS_CONSTANT,
    Nozzle, Pace, density, heat_from_bank_kw, heat_kw,
};
use serde::Deserialize;
use serde::de::DeserializeOwned;
use serde_json::{Value, json};

use super::{print, standard_input};

/// Work out one physical quantity; input and output are JSON objects
#[derive(Debug, Args)]
#[command(long_about = ABOUT)]
pub struct Arguments {
    /// What to work out
    #[arg(value_name = "NAME")]
    name: Name,
    /// Its input as JSON; '-' reads standard input
    #[arg(value_name = "JSON")]
    input: String,
}

/// What `--help` says: every calculation with its input, and what each assumes.
const ABOUT: &str = "\
Work out one physical quantity; input and output are JSON objects

Pressures are absolute; the unit of each value is in its name.

  gas-density    gas, bar, c
  nozzle-flow    gas, throat_mm, bar, c, [discharge]
  gas-heat       gas, bar, from_c, to_c, kg_per_h, [bank_bar]
  bank           gas, water_volume_l, bar, c, floor_bar, [pace]
  compressor     free_air_m3_min, altitude_m, inlet_c, to_bar, stages, [demand_kg_h],
                 [efficiency]
  particle       gas, bar, c, throat_mm, exit_mm, divergent_mm, diameter_um, density_kg_m3, cp_j_kg_k,
                 powder_c, [drag: carlson-hoglund, henderson]
  critical-velocity   density_kg_m3, strength_mpa, melting_c, cp_j_kg_k, particle_c, [diameter_um],
                 [model: assadi-2003, schmidt-2006, assadi-2011]
  powder-need    deposited_kg (or volume_cm3, solid_kg_m3, [porosity]), efficiency_mean, efficiency_sd, [quantile], [loss_kg], [coupon_kg],
                 [heel_kg]
  efficiency     approval_mean, approval_sd, builds (list of shares), [approval_builds: 4], [others: list],
                 [quantile]
  demand         parts (list of rate_per_day or failures and seen_days, kg_mean, [kg_sd]), days, [quantiles]
  fuel           rated_kw, load_kw, hours, [l_per_kwh], [idle_l_per_h_per_kw]

gas is nitrogen, helium, argon or air.

Density, heat and nozzle flow take the real gas by GERG-2008 (ISO 20765-2), argon by Tegeler, Span &
Wagner 1999. Beyond 427 C GERG-2008 is past its stated range; it is held against the reference equations
to 1000 C.

Nozzle flow is that of the choked throat, found on the isentrope of the real gas, times the discharge
coefficient (1 unless given), without carrier gas. The normal cubic metre is at 0 C and 1.01325 bar.

Heat is the rise in enthalpy at the pressure; with bank_bar the gas comes from a bank at from_c through
a regulator, which keeps the enthalpy. Losses of the heater are extra.

A bank is drawn so slowly that it keeps its temperature (usable_kg), or so fast that the rest cools along
its isentrope (usable_fast_kg; null where it would get too cold to reckon). With a pace from 0 (slow) to
1 (fast), usable_at_pace_kg is what it gives if that share of the cooling is left at the end.

The compressor draws the standard air of its altitude (ISO 2533) at the inlet temperature, dry. Its ideal
power is that of isentropic stages of equal pressure ratio with perfect intercooling, air as a perfect
gas of heat-capacity ratio 1.4; shaft_kw is that over an overall efficiency, if given. Duty is the share of
time that can be spent spraying: supply over demand, at most 1.

A particle is a sphere carried along the axis of a straight cone by a perfect gas that expands
isentropically, of heat-capacity ratio 7/5 (nitrogen, air) or 5/3 (helium, argon), viscosity by
Sutherland's law (a power law for helium). It starts at 0.1 of the throat's speed of sound, with drag by
Carlson & Hoglund 1964 unless given, and heat by Ranz & Marshall 1952.

Critical velocity is by the model named (schmidt-2006 unless given, 25 um), good to some 15 %; it says
nothing about efficiency, strength or bond.

Powder need is the deposited mass, or the volume with its allowance less its pores, over the efficiency that is reached in `quantile` of builds (0.95 unless
given) by a beta distribution of the mean and spread; to load are the losses and the heel as well.

Efficiency is learned by the conjugate analysis of the normal distribution: the approval counts as so many
builds, and mean and spread are those of the next build; `ln_odds_apart` is the logarithm of the odds
that the others differ from the builds.

Demand is what failures of the parts take in so many days: they come at random at the rate, or at one that is
known only as if so many failures had come in seen_days, and each takes a gamma-distributed amount, or always
the same without kg_sd. Of each quantile it says the least amount that is enough in that share of cases, by
Panjer's recursion on a lattice of some thousand steps.

Fuel is linear in the load: 0.25 l/kWh and 0.035 l/h per rated kW unless given, good to some 15 %.";

#[derive(Debug, Clone, Copy, ValueEnum)]
enum Name {
    GasDensity,
    NozzleFlow,
    GasHeat,
    Bank,
    Compressor,
    Particle,
    CriticalVelocity,
    PowderNeed,
    Efficiency,
    Demand,
    Fuel,
}

/// Prints the answer; what is wrong with the input becomes one line and exit code 2.
pub fn calc(arguments: &Arguments) -> ExitCode {
    print(answer(arguments))
}

fn answer(arguments: &Arguments) -> Result<Value, String> {
    let text = match arguments.input.as_str() {
        "-" => standard_input()?,
        given => given.to_owned(),
    };
    work_out(arguments.name, &text)
}

fn work_out(name: Name, text: &str) -> Result<Value, String> {
    match name {
        Name::GasDensity => gas_density(&input(text)?),
        Name::NozzleFlow => nozzle_flow(&input(text)?),
        Name::GasHeat => gas_heat(&input(text)?),
        Name::Bank => bank(&input(text)?),
        Name::Compressor => compressor(&input(text)?),
        Name::Particle => particle(&input(text)?),
        Name::CriticalVelocity => critical_velocity(&input(text)?),
        Name::PowderNeed => powder_need(&input(text)?),
        Name::Efficiency => efficiency::efficiency(&input(text)?),
        Name::Demand => demand::demand(&input(text)?),
        Name::Fuel => fuel(&input(text)?),
    }
}

/// Reads the input; a key that is missing, unknown or of another kind is named.
fn input<T: DeserializeOwned>(text: &str) -> Result<T, String> {
    let reader = &mut serde_json::Deserializer::from_str(text);
    serde_path_to_error::deserialize(reader).map_err(|error| {
        let (path, cause) = (error.path().to_string(), error.inner().to_string());
        let cause = cause.split(" at line ").next().unwrap_or_default();
        match path.as_str() {
            "." | "?" => format!("the input is not right: {cause}"),
            path => format!("{path} is not right: {cause}"),
        }
    })
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct GasDensity {
    gas: Gas,
    bar: f64,
    c: f64,
}

fn gas_density(input: &GasDensity) -> Result<Value, String> {
    let (bar, c) = (bar(input.bar)?, celsius(input.c)?);
    let density = density(input.gas, bar, c).map_err(said)?.get();
    // Kilograms per mole and pascals: z = p M / (rho R T).
    let ideal = bar.get() * 1e5 * input.gas.molar_mass()
        / 1000.0
        / (MOLAR_GAS_CONSTANT * (c.get() + ZERO_C));
    Ok(json!({ "kg_m3": density, "z": ideal / density }))
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct NozzleFlow {
    gas: Gas,
    throat_mm: f64,
    bar: f64,
    c: f64,
    #[serde(default = "one")]
    discharge: f64,
}

fn nozzle_flow(input: &NozzleFlow) -> Result<Value, String> {
    let nozzle = Nozzle::new(input.throat_mm, input.discharge).map_err(said)?;
    let flow = nozzle.flow_kg_per_h(input.gas, bar(input.bar)?, celsius(input.c)?);
    let flow = flow.map_err(said)?;
    let normal = flow.normal_m3_per_h(input.gas).map_err(said)?;
    Ok(json!({ "kg_per_h": flow.get(), "nm3_per_h": normal.get() }))
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct GasHeat {
    gas: Gas,
    bar: f64,
    from_c: f64,
    to_c: f64,
    kg_per_h: f64,
    bank_bar: Option<f64>,
}

fn gas_heat(input: &GasHeat) -> Result<Value, String> {
    let flow = KgPerHour::new(input.kg_per_h).map_err(said)?;
    let (from, to) = (celsius(input.from_c)?, celsius(input.to_c)?);
    let at = bar(input.bar)?;
    let heat = match input.bank_bar {
        Some(held) => heat_from_bank_kw(input.gas, (bar(held)?, from), at, to, flow),
        None => heat_kw(input.gas, at, from, to, flow),
    };
    let heat = heat.map_err(said)?;
    Ok(json!({ "kw": heat.get() }))
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct BankInput {
    gas: Gas,
    water_volume_l: f64,
    bar: f64,
    c: f64,
    floor_bar: f64,
    pace: Option<f64>,
}

fn bank(input: &BankInput) -> Result<Value, String> {
    let (read, c) = (bar(input.bar)?, celsius(input.c)?);
    let bank = Bank::new(input.gas, input.water_volume_l, read, c).map_err(said)?;
    let floor = bar(input.floor_bar)?;
    let usable = bank.usable_grams(floor).map_err(said)?;
    let mut answer = json!({
        "content_kg": kilograms(bank.content_grams()),
        "usable_kg": kilograms(usable),
        "usable_fast_kg": bank.usable_fast_grams(floor).ok().map(kilograms),
    });
    if let Some(pace) = input.pace {
        let pace = Pace::new(pace).map_err(said)?;
        let grams = bank.usable_grams_at(pace, floor).map_err(said)?;
        answer["usable_at_pace_kg"] = json!(kilograms(grams));
    }
    Ok(answer)
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct CompressorInput {
    free_air_m3_min: f64,
    altitude_m: f64,
    inlet_c: f64,
    to_bar: f64,
    stages: u8,
    #[serde(default)]
    demand_kg_h: f64,
    efficiency: Option<f64>,
}

fn compressor(input: &CompressorInput) -> Result<Value, String> {
    let to = bar(input.to_bar)?;
    let compressor = Compressor::new(input.free_air_m3_min, to, input.altitude_m, input.inlet_c);
    let compressor = compressor.map_err(said)?;
    let demand = KgPerHour::new(input.demand_kg_h).map_err(said)?;
    let power = compressor.ideal_kw(input.stages).map_err(said)?;
    let mut answer = json!({
        "kg_per_h": compressor.kg_per_h().get(),
        "ideal_kw": power.get(),
        "duty": compressor.duty(demand),
    });
    if let Some(efficiency) = input.efficiency {
        let shaft = compressor
            .shaft_kw(input.stages, efficiency)
            .map_err(said)?;
        answer["shaft_kw"] = json!(shaft.get());
    }
    Ok(answer)
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ParticleInput {
    gas: Gas,
    bar: f64,
    c: f64,
    throat_mm: f64,
    exit_mm: f64,
    divergent_mm: f64,
    diameter_um: f64,
    density_kg_m3: f64,
    cp_j_kg_k: f64,
    powder_c: f64,
    #[serde(default = "carlson_hoglund")]
    drag: DragLaw,
}

fn particle(input: &ParticleInput) -> Result<Value, String> {
    let cone = Cone::new(input.throat_mm, input.exit_mm, input.divergent_mm).map_err(said)?;
    let particle = Particle::new(
        input.diameter_um,
        input.density_kg_m3,
        input.cp_j_kg_k,
        celsius(input.powder_c)?,
    );
    let particle = particle.map_err(said)?;
    let (bar, c) = (bar(input.bar)?, celsius(input.c)?);
    let arrival = cone.accelerate(input.gas, bar, c, &particle, input.drag);
    let arrival = arrival.map_err(said)?;
    Ok(json!({
        "gas_exit_m_s": arrival.gas_exit_m_s,
        "particle_m_s": arrival.particle_m_s,
        "particle_c": arrival.particle_c,
    }))
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct CriticalVelocity {
    density_kg_m3: f64,
    strength_mpa: f64,
    melting_c: f64,
    cp_j_kg_k: f64,
    particle_c: f64,
    #[serde(default = "typical_um")]
    diameter_um: f64,
    #[serde(default = "schmidt_2006")]
    model: BondModel,
}

fn critical_velocity(input: &CriticalVelocity) -> Result<Value, String> {
    let metal = Metal::new(
        input.density_kg_m3,
        input.strength_mpa,
        input.melting_c,
        input.cp_j_kg_k,
    );
    let particle = celsius(input.particle_c)?;
    let window = metal
        .map_err(said)?
        .window(particle, input.diameter_um, input.model);
    let window = window.map_err(said)?;
    Ok(json!({
        "critical_m_s": window.critical_m_s,
        "erosion_m_s": window.erosion_m_s,
    }))
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct PowderNeedInput {
    deposited_kg: Option<f64>,
    volume_cm3: Option<f64>,
    solid_kg_m3: Option<f64>,
    #[serde(default)]
    porosity: f64,
    efficiency_mean: f64,
    efficiency_sd: f64,
    #[serde(default)]
    quantile: Option<f64>,
    #[serde(default)]
    loss_kg: f64,
    #[serde(default)]
    coupon_kg: f64,
    #[serde(default)]
    heel_kg: f64,
}

/// The mass that must stick: as given, or that of a volume less its pores.
fn deposited_g(input: &PowderNeedInput) -> Result<f64, String> {
    match (input.deposited_kg, input.volume_cm3, input.solid_kg_m3) {
        (Some(kg), None, None) => Ok(kg * 1000.0),
        (None, Some(volume), Some(solid)) => {
            let grams = deposited_grams(volume, solid, input.porosity).map_err(said)?;
            #[expect(clippy::cast_precision_loss, reason = "at most 25 000 t")]
            Ok(grams as f64)
        }
        _ => Err("give either deposited_kg, or volume_cm3 and solid_kg_m3".to_owned()),
    }
}

fn powder_need(input: &PowderNeedInput) -> Result<Value, String> {
    let efficiency = Efficiency::new(input.efficiency_mean, input.efficiency_sd).map_err(said)?;
    let quantile = match input.quantile {
        Some(given) => Quantile::new(given).map_err(said)?,
        None => Quantile::default(),
    };
    let [loss, coupon] = [input.loss_kg, input.coupon_kg].map(|kg| kg * 1000.0);
    let need = PowderNeed::new(deposited_g(input)?, efficiency, quantile, loss, coupon)
        .and_then(|need| need.with_heel(input.heel_kg * 1000.0));
    let need = need.map_err(said)?;
    Ok(json!({
        "fed_kg": kilograms(need.fed_grams()),
        "load_kg": kilograms(need.load_grams()),
    }))
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Fuel {
    rated_kw: f64,
    load_kw: f64,
    hours: f64,
    /// The middle of what published charts fit.
    #[serde(default = "litres_per_kwh")]
    l_per_kwh: f64,
    #[serde(default = "idle_litres")]
    idle_l_per_h_per_kw: f64,
}

fn fuel(input: &Fuel) -> Result<Value, String> {
    let set = GeneratorSet::new(input.rated_kw, input.l_per_kwh, input.idle_l_per_h_per_kw);
    let load = Kilowatts::new(input.load_kw).map_err(said)?;
    let per_hour = set.map_err(said)?.litres_per_h(load).map_err(said)?;
    if !(0.0..=MOST_HOURS).contains(&input.hours) {
        return Err(format!(
            "hours {} is out of range; allowed are 0 to {MOST_HOURS}",
            input.hours
        ));
    }
    Ok(json!({ "litres": per_hour.get() * input.hours }))
}

const ZERO_C: f64 = 273.15;
const MOST_HOURS: f64 = 10_000.0;

fn one() -> f64 {
    1.0
}

fn carlson_hoglund() -> DragLaw {
    DragLaw::CarlsonHoglund
}

fn schmidt_2006() -> BondModel {
    BondModel::Schmidt2006
}

/// The size for which the models that take none are stated.
fn typical_um() -> f64 {
    25.0
}

fn litres_per_kwh() -> f64 {
    0.25
}

fn idle_litres() -> f64 {
    0.035
}

fn bar(given: f64) -> Result<Bar, String> {
    Bar::new(given).map_err(said)
}

fn celsius(given: f64) -> Result<Celsius, String> {
    Celsius::new(given).map_err(said)
}

#[expect(
    clippy::cast_precision_loss,
    reason = "a bank holds far less than 2^53 grams"
)]
fn kilograms(grams: i64) -> f64 {
    grams as f64 / 1000.0
}

#[expect(
    clippy::needless_pass_by_value,
    reason = "the shape that map_err asks for"
)]
fn said(error: impl ToString) -> String {
    error.to_string()
}

#[cfg(test)]
mod tests;
