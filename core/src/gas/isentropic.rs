//! Isentropic flow of a calorically perfect gas (NACA Report 1135, 1953, equations 43 to 45, 80).
//!
//! `gamma` is the ratio of heat capacities, above 1; `mach` is at least 0.

/// Static over stagnation temperature.
#[must_use]
pub fn temperature_ratio(gamma: f64, mach: f64) -> f64 {
    1.0 / (1.0 + (gamma - 1.0) / 2.0 * mach * mach)
}

/// Static over stagnation pressure.
#[must_use]
pub fn pressure_ratio(gamma: f64, mach: f64) -> f64 {
    temperature_ratio(gamma, mach).powf(gamma / (gamma - 1.0))
}

/// Static over stagnation density.
#[must_use]
pub fn density_ratio(gamma: f64, mach: f64) -> f64 {
    temperature_ratio(gamma, mach).powf(1.0 / (gamma - 1.0))
}

/// Area over throat area; infinite at rest.
#[must_use]
pub fn area_ratio(gamma: f64, mach: f64) -> f64 {
    let base = 2.0 / (gamma + 1.0) / temperature_ratio(gamma, mach);
    base.powf((gamma + 1.0) / (2.0 * (gamma - 1.0))) / mach
}

/// The subsonic and the supersonic Mach number at an area over the throat area.
///
/// To 1e-8; none for a ratio below 1 or one that is not finite.
#[must_use]
pub fn machs_at_area(gamma: f64, area_over_throat: f64) -> Option<[f64; 2]> {
    let roots = (1.0..1e6)
        .contains(&area_over_throat)
        .then_some(())
        .map(|()| {
            [
                bisect(gamma, area_over_throat, 0.0, 1.0),
                bisect(gamma, area_over_throat, FASTEST, 1.0),
            ]
        });
    roots.filter(|[_, fast]| *fast < 0.999 * FASTEST)
}

/// Beyond what any nozzle reaches.
const FASTEST: f64 = 1000.0;

/// Between a Mach number where the area is too large and the throat, where it is not.
fn bisect(gamma: f64, area_over_throat: f64, mut wide: f64, mut narrow: f64) -> f64 {
    for _ in 0..BISECTIONS {
        let middle = f64::midpoint(wide, narrow);
        if area_ratio(gamma, middle) > area_over_throat {
            wide = middle;
        } else {
            narrow = middle;
        }
    }
    f64::midpoint(wide, narrow)
}

/// Halves 1000 down to 1e-12.
const BISECTIONS: usize = 50;

/// The constant C of the choked mass flow C A p0 / sqrt(R T0).
#[must_use]
pub fn choked_constant(gamma: f64) -> f64 {
    gamma.sqrt() * (2.0 / (gamma + 1.0)).powf((gamma + 1.0) / (2.0 * (gamma - 1.0)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn assert_near(got: f64, expected: f64, tolerance: f64) {
        assert!(
            (got - expected).abs() <= tolerance,
            "{got} is not {expected} +- {tolerance}"
        );
    }

    /// The formulas to 1e-6, for gamma 7/5 and 5/3; the values were computed apart from this
    /// code, and the simple ones by hand: at Mach 3 and 5/3, T/T0 = 1/4, p/p0 = 1/32, A/A* = 3.
    #[test]
    fn the_formulas_hold_to_a_millionth() {
        let rows = [
            (1.4, 1.0, [0.528_282, 0.633_938, 0.833_333, 1.0]),
            (1.4, 2.0, [0.127_805, 0.230_048, 0.555_556, 1.687_500]),
            (1.4, 3.0, [0.027_224, 0.076_226, 0.357_143, 4.234_568]),
            (1.4, 5.0, [0.001_890, 0.011_340, 0.166_667, 25.0]),
        ];
        for (gamma, mach, [pressure, density, temperature, area]) in rows {
            assert_near(pressure_ratio(gamma, mach), pressure, 1e-6);
            assert_near(density_ratio(gamma, mach), density, 1e-6);
            assert_near(temperature_ratio(gamma, mach), temperature, 1e-6);
            assert_near(area_ratio(gamma, mach), area, 1e-6);
        }
        let monatomic = [
            (1.0, 0.487_139, 0.75, 1.0),
            (2.0, 0.120_243, 0.428_571, 1.531_250),
            (3.0, 0.031_250, 0.25, 3.0),
            (5.0, 0.003_758, 0.107_143, 9.8),
        ];
        for (mach, pressure, temperature, area) in monatomic {
            assert_near(pressure_ratio(5.0 / 3.0, mach), pressure, 1e-6);
            assert_near(temperature_ratio(5.0 / 3.0, mach), temperature, 1e-6);
            assert_near(area_ratio(5.0 / 3.0, mach), area, 1e-6);
        }
    }

    /// NACA Report 1135, Table II (gamma 7/5): the printed digits to one unit in the fourth. The
    /// row of Mach 1 was read in a printed book of data; the others are from memory of the table.
    #[test]
    fn the_printed_rows_of_naca_1135_agree() {
        assert_near(pressure_ratio(1.4, 1.0), 0.5283, 1e-4);
        assert_near(density_ratio(1.4, 1.0), 0.6339, 1e-4);
        assert_near(temperature_ratio(1.4, 1.0), 0.8333, 1e-4);
        assert_near(area_ratio(1.4, 1.0), 1.0, 1e-4);
        assert_near(pressure_ratio(1.4, 2.0), 0.1278, 1e-4);
        assert_near(area_ratio(1.4, 2.0), 1.688, 1e-3);
        assert_near(pressure_ratio(1.4, 3.0), 0.027_22, 1e-5);
        assert_near(area_ratio(1.4, 3.0), 4.235, 1e-3);
    }

    /// A/A* back to both Mach numbers, the supersonic one to 1e-8: rows of the same formula, and
    /// 1.6875 by hand at Mach 2: ((1 + 0.2 x 4) / 1.2)^3 / 2 = 3.375 / 2.
    #[test]
    fn an_area_has_a_slow_and_a_fast_flow() {
        for (gamma, area, fast) in [
            (1.4, 1.6875, 2.0),
            (1.4, 25.0, 5.0),
            (5.0 / 3.0, 3.0, 3.0),
            (5.0 / 3.0, 9.8, 5.0),
        ] {
            let [slow, got] = machs_at_area(gamma, area).expect("wider than the throat");
            assert_near(got, fast, 1e-8);
            assert!(slow < 1.0);
            assert_near(area_ratio(gamma, slow), area, 1e-8);
        }
        for none in [0.999, 0.0, -1.0, f64::NAN, f64::INFINITY] {
            assert_eq!(machs_at_area(1.4, none), None, "{none}");
        }
    }

    /// C = 0.684731 for gamma 1.4 and 0.726184 for 5/3, from the formula of NACA Report 1135.
    #[test]
    fn the_choked_constant_is_known_to_a_millionth() {
        assert_near(choked_constant(1.4), 0.684_731, 1e-6);
        assert_near(choked_constant(5.0 / 3.0), 0.726_184, 1e-6);
    }

    /// Nitrogen, 2.0 mm, 50 bar, 773.15 K, gamma 1.4 by hand: A = 3.14159e-6 m2,
    /// R = 296.80 J/(kg K), so 0.684731 x 3.14159e-6 x 5e6 / sqrt(296.80 x 773.15)
    /// = 10.7557 / 479.03 = 0.022453 kg/s = 80.83 kg/h.
    #[test]
    fn the_ideal_flow_agrees_with_a_hand_check() {
        let area = std::f64::consts::PI / 4.0 * 0.002_f64.powi(2);
        let flow = choked_constant(1.4) * area * 5e6 / (296.80 * 773.15_f64).sqrt();
        assert_near(flow, 0.022_453, 1e-6);
        assert_near(flow * 3600.0, 80.83, 0.005);
    }
}
