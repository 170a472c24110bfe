//! What a stage's particles do in this nozzle, before any powder is fed.

use super::need::Setting;
use crate::code::PowderCode;
use crate::deposit::{
    Arrival, BondModel, Cone, DepositError, DragLaw, Metal, Outlook, Particle, VelocityRatio,
};
use crate::gas::range::whole_down;
use crate::gas::{Bar, Celsius, OutOfRange, isa_pressure_bar};
use crate::powder::Solid;
use crate::situation::{Divergent, Situation};

/// What one particle of the powder's middle size does at a setting, and what that says.
///
/// It says nothing of efficiency, strength or bond.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Flight {
    /// Gas velocity at the exit, in m/s.
    pub gas_m_s: i64,
    /// Particle velocity at the exit, in m/s, by the drag law of Carlson & Hoglund.
    pub carlson_hoglund_m_s: i64,
    /// The same by Henderson's.
    pub henderson_m_s: i64,
    /// Particle temperature at the exit, in degrees Celsius, midway between the two laws.
    pub particle_c: i64,
    /// Above it half of the powder or more is expected to stay, in m/s.
    pub critical_m_s: i64,
    /// Above it particles wear the part away, in m/s.
    pub erosion_m_s: i64,
    /// Whose critical velocity it is.
    pub model: BondModel,
    /// Velocity midway between the two laws over the critical one, in thousandths.
    pub ratio_permille: i64,
    /// 15 % less.
    pub low_permille: i64,
    /// 15 % more.
    pub high_permille: i64,
    /// What the ratio says.
    pub outlook: Outlook,
    /// What its low and its high end say. Where they differ, the uncertainty crosses a limit.
    pub reach: [Outlook; 2],
    /// Pressure of the gas at the exit, absolute, in millibar.
    pub exit_mbar: i64,
    /// That of the air around, in millibar.
    pub air_mbar: i64,
}

/// Why nothing can be said of the flight.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum NoFlight {
    /// Exit bore and length of the diverging part are not on record.
    #[error(
        "exit bore and length of the nozzle's diverging part are not on record; enter both among \
         the site's figures"
    )]
    NoDivergent,
    /// What the powder is made of is not on record.
    #[error(
        "density, strength, melting point, heat capacity and size of {powder} are not on record; \
         enter them among the site's powders"
    )]
    NoMetal {
        /// The powder.
        powder: PowderCode,
    },
    /// The reckoning refused a figure.
    #[error(transparent)]
    Refused(#[from] DepositError),
}

impl From<OutOfRange> for NoFlight {
    fn from(error: OutOfRange) -> Self {
        Self::Refused(error.into())
    }
}

impl Flight {
    /// Whether the gas may leave the wall before the exit: there it is below 0.4 of the air around
    /// (Summerfield's criterion, from memory), and the velocities are then too high.
    #[must_use]
    pub const fn may_leave_wall(&self) -> bool {
        self.exit_mbar * 10 < self.air_mbar * 4
    }

    /// Whether the uncertainty of the ratio reaches past a limit of the words.
    #[must_use]
    pub fn is_open(&self) -> bool {
        self.reach[0] != self.reach[1]
    }
}

/// The flight of a powder at a setting through a throat of so many micrometres.
///
/// One particle of the middle size enters the throat at 20 C: feeders are not heated, and what it
/// takes up before the throat is left out (common practice, no source). Model and limits as in
/// [`Cone::accelerate`] and [`Metal::window`].
///
/// # Errors
/// [`NoFlight`] with the figure that is missing, or the reckoning's own error.
pub fn flight(
    situation: &Situation,
    powder: &PowderCode,
    setting: Setting,
    throat_um: i64,
) -> Result<Flight, NoFlight> {
    let divergent = situation.cell.divergent.ok_or(NoFlight::NoDivergent)?;
    let known = situation.powder(powder);
    let solid = known
        .and_then(|known| known.solid)
        .ok_or_else(|| NoFlight::NoMetal {
            powder: powder.clone(),
        })?;
    let throw = Throw::new(divergent, throat_um, setting, solid)?;
    let [slow, fast] = [DragLaw::CarlsonHoglund, DragLaw::Henderson].map(|law| throw.by(law));
    let air = isa_pressure_bar(situation.site.altitude_m as f64).map_or(SEA_LEVEL_BAR, Bar::get);
    told([slow?, fast?], solid, air)
}

const FEEDER_C: f64 = 20.0;
const SEA_LEVEL_BAR: f64 = 1.013_25;

/// A particle before it is thrown.
struct Throw {
    cone: Cone,
    setting: Setting,
    bar: Bar,
    hot: Celsius,
    particle: Particle,
}

impl Throw {
    fn new(
        divergent: Divergent,
        throat_um: i64,
        setting: Setting,
        solid: Solid,
    ) -> Result<Self, NoFlight> {
        let [throat, exit, length] =
            [throat_um, divergent.exit_um, divergent.length_um].map(|um| um as f64 / 1000.0);
        Ok(Self {
            cone: Cone::new(throat, exit, length)?,
            setting,
            bar: Bar::new(setting.pressure_mbar as f64 / 1000.0)?,
            hot: Celsius::new(setting.temperature_c as f64)?,
            particle: Particle::new(
                solid.size_um as f64,
                solid.density_kg_m3 as f64,
                solid.cp_j_kg_k as f64,
                Celsius::new(FEEDER_C)?,
            )?,
        })
    }

    fn by(&self, law: DragLaw) -> Result<Arrival, DepositError> {
        self.cone
            .accelerate(self.setting.gas, self.bar, self.hot, &self.particle, law)
    }
}

/// What two arrivals of one particle say, the first by Carlson & Hoglund.
fn told(arrivals: [Arrival; 2], solid: Solid, air_bar: f64) -> Result<Flight, NoFlight> {
    let [by_carlson, by_henderson] = arrivals;
    let midway = |of: fn(&Arrival) -> f64| f64::midpoint(of(&by_carlson), of(&by_henderson));
    let celsius = midway(|a| a.particle_c);
    let metal = Metal::new(
        solid.density_kg_m3 as f64,
        solid.strength_mpa as f64,
        solid.melting_c as f64,
        solid.cp_j_kg_k as f64,
    )?;
    let model = model(solid.size_um);
    let window = metal.window(Celsius::new(celsius)?, solid.size_um as f64, model)?;
    let ratio = window.ratio(midway(|a| a.particle_m_s))?;
    Ok(Flight {
        gas_m_s: nearest(by_carlson.gas_exit_m_s),
        carlson_hoglund_m_s: nearest(by_carlson.particle_m_s),
        henderson_m_s: nearest(by_henderson.particle_m_s),
        particle_c: nearest(celsius),
        critical_m_s: nearest(window.critical_m_s),
        erosion_m_s: nearest(window.erosion_m_s),
        model,
        ratio_permille: nearest(ratio.ratio * 1000.0),
        low_permille: nearest(ratio.low * 1000.0),
        high_permille: nearest(ratio.high * 1000.0),
        outlook: ratio.outlook(),
        reach: [ratio.low, ratio.high].map(VelocityRatio::outlook_at),
        exit_mbar: nearest(by_carlson.gas_exit_bar * 1000.0),
        air_mbar: nearest(air_bar * 1000.0),
    })
}

/// Schmidt 2006 is stated for 25 um. As long as the size law of Assadi 2011, d^-0.18, moves that by
/// less than 5 %, which is from 20 to 33 um, it stands; finer and coarser powders go by the law that
/// knows their size. Where they meet, the two differ by up to 6 %, well inside the 15.
const fn model(size_um: i64) -> BondModel {
    if size_um >= 20 && size_um <= 33 {
        BondModel::Schmidt2006
    } else {
        BondModel::Assadi2011
    }
}

fn nearest(value: f64) -> i64 {
    whole_down(value + 0.5)
}
