use super::DepositError;
use crate::gas::range::within;

/// Velocity in m/s of a particle that starts at rest in gas of constant velocity, density and
/// drag coefficient.
///
/// With v the particle's and V the gas velocity, ln((V - v) / V) + v / (V - v) = K, where the path
/// number K is 3 Cd (density of the gas) (path) / (4 (diameter) (density of the particle)).
/// Dykhuizen & Smith 1998, J. Therm. Spray Technol. 7:205 (structure of the equation from
/// memory). A check on [`super::Cone::accelerate`].
///
/// # Errors
/// [`DepositError::OutOfRange`] unless 1 to 10 000 m/s and a path number of 0 to 1000.
pub fn velocity_in_steady_gas(gas_m_s: f64, path_number: f64) -> Result<f64, DepositError> {
    within("gas velocity", "m/s", gas_m_s, 1.0..=10_000.0)?;
    within("path number", "(of 1)", path_number, 0.0..=1000.0)?;
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..HALVINGS {
        let share = f64::midpoint(low, high);
        if (1.0_f64 - share).ln() + share / (1.0 - share) < path_number {
            low = share;
        } else {
            high = share;
        }
    }
    Ok(gas_m_s * low)
}

const HALVINGS: usize = 50;

/// Mach number of the gas at which its drag on a particle is largest, along an expansion from
/// rest, for a particle of so many times the local speed of sound.
///
/// M = (u + sqrt(u^2 + 8)) / 2; the Mach number of the gas relative to the particle is then 2 / M
/// and depends on no property of the gas. Grujicic et al. 2003, Proc. Inst. Mech. Eng. B
/// 217:1603, state that independence (equation derived here; volume and page from memory).
///
/// # Errors
/// [`DepositError::OutOfRange`] unless the particle has 0 to 10 times the speed of sound.
pub fn best_mach(particle_mach: f64) -> Result<f64, DepositError> {
    let u = within(
        "particle velocity over the speed of sound",
        "(of 1)",
        particle_mach,
        0.0..=10.0,
    )?;
    Ok(f64::midpoint(u, (u * u + 8.0).sqrt()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::gas::isentropic::{density_ratio, temperature_ratio};

    /// v / V by path number, solved apart from this code with scipy; tolerance 1e-5.
    #[test]
    fn the_closed_form_has_its_values() {
        for (path_number, share) in [
            (0.01, 0.129_05),
            (0.1, 0.340_47),
            (0.5, 0.575_85),
            (1.0, 0.682_16),
            (2.0, 0.778_04),
            (5.0, 0.876_40),
        ] {
            let got = velocity_in_steady_gas(1000.0, path_number).expect("within bounds");
            assert!((got / 1000.0 - share).abs() < 1e-5, "{path_number}: {got}");
        }
    }

    /// Copper of 22 um, 8960 kg/m3, over 0.1 m of gas at 1000 m/s and 3 kg/m3, Cd 0.8: K = 3 x 0.8 x
    /// 3 x 0.1 / (4 x 22e-6 x 8960) = 0.72 / 0.78848 = 0.91315 and v = 668.613 m/s.
    #[test]
    fn a_worked_case_gives_its_velocity() {
        let path_number: f64 = 3.0 * 0.8 * 3.0 * 0.1 / (4.0 * 22e-6 * 8960.0);
        assert!((path_number - 0.913_15).abs() < 1e-5);
        let got = velocity_in_steady_gas(1000.0, path_number).expect("within bounds");
        assert!((got - 668.613).abs() < 1e-3, "{got}");
    }

    /// u = 0 gives the root of 2, u = 1 gives 2; to 1e-4.
    #[test]
    fn the_best_mach_number_has_its_values() {
        for (particle_mach, expected) in [
            (0.0, std::f64::consts::SQRT_2),
            (0.5, 1.6861),
            (1.0, 2.0),
            (2.0, 2.7321),
        ] {
            let got = best_mach(particle_mach).expect("within bounds");
            assert!((got - expected).abs() < 1e-4, "{got}");
        }
    }

    /// The same by trying: of all Mach numbers along the expansion, the one with the largest
    /// density times relative velocity squared, whichever the gas.
    #[test]
    fn trying_every_mach_number_finds_the_same_best() {
        for gamma in [1.4, 5.0 / 3.0] {
            for particle in [0.0, 0.3, 0.6, 0.9] {
                // Velocities over the speed of sound at rest.
                let sound = |mach| temperature_ratio(gamma, mach).sqrt();
                let drag = |mach: f64| {
                    let lag = mach * sound(mach) - particle;
                    density_ratio(gamma, mach) * lag * lag.abs()
                };
                let best = (1000..40_000)
                    .map(|step| f64::from(step) / 1e4)
                    .max_by(|&a, &b| drag(a).total_cmp(&drag(b)))
                    .expect("some");
                let expected = best_mach(particle / sound(best)).expect("within bounds");
                assert!((best - expected).abs() < 2e-4, "{best}, not {expected}");
            }
        }
    }

    #[test]
    fn absurd_numbers_are_refused() {
        assert!(velocity_in_steady_gas(f64::NAN, 1.0).is_err());
        assert!(velocity_in_steady_gas(1000.0, -1.0).is_err());
        assert!(best_mach(f64::INFINITY).is_err());
    }
}
