use super::DepositError;
use crate::gas::range::within;
use crate::gas::{Celsius, OutOfRange};
use crate::word_enum;

word_enum! {
    /// A published model of the velocity above which particles stay.
    BondModel {
        /// Assadi, Gartner, Stoltenhoff & Kreye 2003, Acta Mater. 51:4379 (formula from memory):
        /// 667 - 14 density (g/cm3) + 0.08 melting (C) + 0.1 strength (`MPa`) - 0.4 particle (C).
        /// Straight lines through copper: far too high for metals that melt low, such as zinc.
        Assadi2003 = "assadi-2003",
        /// Schmidt, Gartner, Assadi & Kreye 2006, Acta Mater. 54:729 (constants from memory):
        /// strength that falls with temperature, and heat to the melting point; for 25 um.
        Schmidt2006 = "schmidt-2006",
        /// Assadi et al. 2011, J. Therm. Spray Technol. 20:1161 (formula from memory): the same
        /// terms, with the particle's size.
        Assadi2011 = "assadi-2011",
    }
}

/// The metal of a powder, for the window of velocities in which it deposits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Metal {
    kg_per_m3: f64,
    strength_mpa: f64,
    melting_c: f64,
    heat_capacity: f64,
}

/// Velocities in m/s between which particles are expected to stay.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Window {
    /// Above it half of the powder or more is expected to stay.
    pub critical_m_s: f64,
    /// Above it particles wear the part away: twice the critical, which Schmidt 2006 gives
    /// and which is carried over to the other two models.
    pub erosion_m_s: f64,
}

impl Metal {
    /// A density of 500 to 25 000 kg/m3, a tensile strength of 1 to 3000 `MPa`, a melting point of
    /// 100 to 4000 C and a heat capacity of 50 to 5000 J/(kg K). The strength of a powder is rarely
    /// known; a factor of two moves the critical velocity by up to 20 %.
    ///
    /// # Errors
    /// [`DepositError::OutOfRange`] for anything else.
    pub fn new(
        density_kg_per_m3: f64,
        strength_mpa: f64,
        melting_c: f64,
        cp_j_per_kg_k: f64,
    ) -> Result<Metal, DepositError> {
        Ok(Metal {
            kg_per_m3: metal_density(density_kg_per_m3)?,
            strength_mpa: within("tensile strength", "MPa", strength_mpa, 1.0..=3000.0)?,
            melting_c: within("melting point", "C", melting_c, 100.0..=4000.0)?,
            heat_capacity: metal_heat_capacity(cp_j_per_kg_k)?,
        })
    }

    /// The window for particles of a temperature and a diameter in um.
    ///
    /// The diameter counts with `assadi-2011` only; the other two are stated for about 25 um.
    ///
    /// # Errors
    /// [`DepositError::OutOfRange`] unless the particle is at least 1 C below melting and 1 to
    /// 200 um; [`DepositError::NoCritical`] where the lines of `assadi-2003` run below zero.
    pub fn window(
        &self,
        particle: Celsius,
        diameter_um: f64,
        model: BondModel,
    ) -> Result<Window, DepositError> {
        let solid = -100.0..=self.melting_c - 1.0;
        let celsius = within("particle temperature", "C", particle.get(), solid)?;
        within("particle diameter", "um", diameter_um, 1.0..=200.0)?;
        let critical_m_s = match model {
            BondModel::Assadi2003 => self.assadi_2003(celsius),
            BondModel::Schmidt2006 => self.schmidt_2006(celsius),
            BondModel::Assadi2011 => self.assadi_2011(celsius, diameter_um),
        };
        if critical_m_s < SLOWEST {
            return Err(DepositError::NoCritical {
                model,
                found: critical_m_s,
            });
        }
        Ok(Window {
            critical_m_s,
            erosion_m_s: 2.0 * critical_m_s,
        })
    }

    fn assadi_2003(&self, celsius: f64) -> f64 {
        667.0 - 14.0 * self.kg_per_m3 / 1000.0 + 0.08 * self.melting_c + 0.1 * self.strength_mpa
            - 0.4 * celsius
    }

    fn schmidt_2006(&self, celsius: f64) -> f64 {
        (4.0 * 1.2 * self.strength_left(celsius, 20.0) + 0.3 * self.heat_to_melt(celsius)).sqrt()
    }

    fn assadi_2011(&self, celsius: f64, diameter_um: f64) -> f64 {
        let room_c = 293.0 - 273.15;
        let size = 0.64 * (diameter_um / 10.0).powf(-0.18);
        size * (self.heat_to_melt(celsius) + 16.0 * self.strength_left(celsius, room_c)).sqrt()
    }

    /// Strength over density in J/kg, falling in a line from room temperature to melting.
    fn strength_left(&self, celsius: f64, room_c: f64) -> f64 {
        let share = (self.melting_c - celsius) / (self.melting_c - room_c);
        self.strength_mpa * 1e6 / self.kg_per_m3 * share
    }

    /// In J/kg.
    fn heat_to_melt(&self, celsius: f64) -> f64 {
        self.heat_capacity * (self.melting_c - celsius)
    }
}

/// A density of the solid metal that a powder may have, in kg/m3.
pub(super) fn metal_density(kg_per_m3: f64) -> Result<f64, OutOfRange> {
    within(
        "density of the powder's metal",
        "kg/m3",
        kg_per_m3,
        500.0..=25_000.0,
    )
}

/// A heat capacity that a powder's metal may have, in J/(kg K).
pub(super) fn metal_heat_capacity(j_per_kg_k: f64) -> Result<f64, OutOfRange> {
    within(
        "heat capacity of the powder",
        "J/(kg K)",
        j_per_kg_k,
        50.0..=5000.0,
    )
}

/// In m/s; no metal is known to stay below it (common sense, no source).
const SLOWEST: f64 = 1.0;

/// Particle velocity over critical velocity, with how far it may be trusted.
///
/// Models and inputs leave it uncertain by 15 %. It orders settings; it is no efficiency, no
/// strength and no bond.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct VelocityRatio {
    /// The ratio itself, of 1.
    pub ratio: f64,
    /// 15 % less.
    pub low: f64,
    /// 15 % more.
    pub high: f64,
}

word_enum! {
    /// What a velocity ratio says about a setting before powder is fed.
    Outlook {
        /// Below 0.9: the powder is not likely to build.
        Unlikely = "unlikely to build",
        /// 0.9 to 1.2: spray a coupon first.
        Marginal = "marginal: spray a coupon first",
        /// 1.2 to 2: no objection.
        Clear = "no objection",
        /// Above 2: it may wear the part away.
        Erosion = "may wear the part away",
    }
}

impl Window {
    /// The ratio of a particle's velocity, 1 to 5000 m/s, to the critical one.
    ///
    /// # Errors
    /// [`DepositError::OutOfRange`] for any other velocity.
    pub fn ratio(&self, particle_m_s: f64) -> Result<VelocityRatio, DepositError> {
        let velocity = within("particle velocity", "m/s", particle_m_s, 1.0..=5000.0)?;
        let ratio = velocity / self.critical_m_s;
        Ok(VelocityRatio {
            ratio,
            low: ratio * (1.0 - VelocityRatio::UNCERTAINTY),
            high: ratio * (1.0 + VelocityRatio::UNCERTAINTY),
        })
    }
}

impl VelocityRatio {
    /// How far the ratio may be off either way, as a share of it (an estimate of spread between
    /// models, drag laws and handbook strengths, no single source).
    pub const UNCERTAINTY: f64 = 0.15;

    /// The band that the ratio falls into.
    #[must_use]
    pub fn outlook(&self) -> Outlook {
        Self::outlook_at(self.ratio)
    }

    /// The band that any ratio falls into (bounds are common practice, no source).
    #[must_use]
    pub fn outlook_at(ratio: f64) -> Outlook {
        match ratio {
            ratio if ratio < 0.9 => Outlook::Unlikely,
            ratio if ratio < 1.2 => Outlook::Marginal,
            ratio if ratio <= 2.0 => Outlook::Clear,
            _ => Outlook::Erosion,
        }
    }
}

#[cfg(test)]
mod tests;
