//! Gas, from the bottle to the throat: density, flow, heat, banks, compressor, generator.
//!
//! Pressures are absolute, in bar; temperatures in degrees Celsius. Every number is checked
//! when it enters, so nothing in here sees NaN or infinity, and nothing panics.

mod argon;
mod atmosphere;
mod bank;
mod compressor;
mod draw;
mod error;
mod expansion;
mod generator;
mod heat;
pub mod isentropic;
mod nozzle;
pub(crate) mod range;
mod state;
pub mod unit;

use crate::word_enum;

pub use atmosphere::isa_pressure_bar;
pub use bank::Bank;
pub use compressor::{Compressor, Cycle, Receiver};
pub use draw::Pace;
pub use error::GasError;
pub use generator::GeneratorSet;
pub use heat::{heat_from_bank_kw, heat_kw};
pub use nozzle::Nozzle;
pub use range::OutOfRange;
pub use state::density;
pub use unit::{
    Bar, Celsius, KgPerHour, KgPerM3, Kilowatts, LitresPerHour, NormalM3PerHour, Stretch,
};

/// The molar gas constant in J/(mol K), exact since the 2019 revision of the SI.
pub const MOLAR_GAS_CONSTANT: f64 = 8.314_462_618;

word_enum! {
    /// A gas that carries powder.
    Gas {
        /// Nitrogen.
        Nitrogen = "nitrogen",
        /// Helium.
        Helium = "helium",
        /// Argon.
        Argon = "argon",
        /// Compressed dry air: 78.087 % nitrogen, 20.9476 % oxygen, 0.934 % argon and 0.0314 %
        /// carbon dioxide by mole, after ISO 2533:1975 with its traces counted as nitrogen.
        Air = "air",
    }
}

impl Gas {
    /// Molar mass in g/mol, as GERG-2008 has it; that of air follows from its composition.
    #[must_use]
    pub const fn molar_mass(self) -> f64 {
        match self {
            Gas::Nitrogen => 28.013_4,
            Gas::Helium => 4.002_602,
            Gas::Argon => 39.948,
            Gas::Air => {
                0.780_870 * 28.013_4
                    + 0.209_476 * 31.998_8
                    + 0.009_340 * 39.948
                    + 0.000_314 * 44.009_5
            }
        }
    }
}

#[cfg(test)]
mod tests;
