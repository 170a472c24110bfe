use crate::gas::{Gas, MOLAR_GAS_CONSTANT};

/// The gas as the nozzle model takes it: perfect, with one ratio of heat capacities.
#[derive(Debug, Clone, Copy)]
pub(super) struct Carrier {
    /// 7/5 for nitrogen and air, 5/3 for helium and argon.
    pub(super) gamma: f64,
    /// In J/(kg K).
    pub(super) gas_constant: f64,
    /// Viscosity times heat capacity over conductivity.
    pub(super) prandtl: f64,
    viscosity: Viscosity,
}

#[derive(Debug, Clone, Copy)]
enum Viscosity {
    Sutherland { at_273: f64, kelvin: f64 },
    Power { at_273: f64, exponent: f64 },
}

impl Carrier {
    pub(super) fn of(gas: Gas) -> Carrier {
        let (gamma, prandtl, viscosity) = match gas {
            Gas::Nitrogen => (1.4, DIATOMIC_PRANDTL, sutherland(1.663e-5, 107.0)),
            Gas::Air => (1.4, DIATOMIC_PRANDTL, sutherland(1.716e-5, 111.0)),
            Gas::Argon => (5.0 / 3.0, MONATOMIC_PRANDTL, sutherland(2.125e-5, 144.0)),
            Gas::Helium => (5.0 / 3.0, MONATOMIC_PRANDTL, HELIUM),
        };
        Carrier {
            gamma,
            gas_constant: MOLAR_GAS_CONSTANT / gas.molar_mass() * 1000.0,
            prandtl,
            viscosity,
        }
    }

    pub(super) fn speed_of_sound(self, kelvin: f64) -> f64 {
        (self.gamma * self.gas_constant * kelvin).sqrt()
    }

    /// In Pa s; nothing of it depends on pressure.
    pub(super) fn viscosity(self, kelvin: f64) -> f64 {
        let warmth = kelvin / 273.0;
        match self.viscosity {
            Viscosity::Sutherland { at_273, kelvin: s } => {
                at_273 * warmth.powf(1.5) * (273.0 + s) / (kelvin + s)
            }
            Viscosity::Power { at_273, exponent } => at_273 * warmth.powf(exponent),
        }
    }

    /// In W/(m K).
    pub(super) fn conductivity(self, kelvin: f64) -> f64 {
        let cp = self.gamma / (self.gamma - 1.0) * self.gas_constant;
        self.viscosity(kelvin) * cp / self.prandtl
    }
}

/// The usual value for air near room temperature (from memory of handbooks); the reference
/// equations give 0.70 to 0.755 for nitrogen and air at 150 to 1000 K.
const DIATOMIC_PRANDTL: f64 = 0.71;
/// Eucken's relation, 4 gamma / (9 gamma - 5), at 5/3.
const MONATOMIC_PRANDTL: f64 = 2.0 / 3.0;

/// Constants of White, "Viscous Fluid Flow", table 1-2, from memory.
const HELIUM: Viscosity = Viscosity::Power {
    at_273: 1.865e-5,
    exponent: 0.666,
};

/// Viscosity in Pa s at 273 K and Sutherland's constant in K, from the same table and memory.
const fn sutherland(at_273: f64, kelvin: f64) -> Viscosity {
    Viscosity::Sutherland { at_273, kelvin }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Viscosity in 1e-6 Pa s at 1 bar and 150, 300, 600, 1000 K, computed with `CoolProp` 8.0.
    /// Tolerance 4.5 %, most of it hot; drag feels less than half of that.
    #[test]
    fn viscosity_is_near_that_of_the_reference_equations() {
        let rows = [
            (Gas::Nitrogen, [10.08, 17.89, 29.58, 41.54]),
            (Gas::Air, [10.38, 18.54, 30.77, 43.28]),
            (Gas::Helium, [12.50, 19.93, 32.22, 46.16]),
            (Gas::Argon, [12.26, 22.74, 39.00, 55.69]),
        ];
        for (gas, by_temperature) in rows {
            for (kelvin, expected) in [150.0, 300.0, 600.0, 1000.0]
                .into_iter()
                .zip(by_temperature)
            {
                let off = Carrier::of(gas).viscosity(kelvin) * 1e6 / expected - 1.0;
                assert!(off.abs() < 0.045, "{gas} {kelvin} K: {:+.2} %", off * 100.0);
            }
        }
    }
}
