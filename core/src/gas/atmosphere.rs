use super::range::within;
use super::{Bar, GasError};

/// Air pressure of the International Standard Atmosphere at a geopotential altitude.
///
/// ISO 2533:1975 (as ICAO Doc 7488): p = 1.01325 bar x (T / 288.15 K)^(g / (R L)), with
/// T = 288.15 K - L H, L = 6.5 K/km, g = 9.80665 m/s2, R = 287.05287 J/(kg K). Allowed: -500 to
/// 6000 m. Real weather moves it by some 3 %.
///
/// # Errors
/// [`GasError::OutOfRange`] for any other altitude.
pub fn isa_pressure_bar(altitude_m: f64) -> Result<Bar, GasError> {
    within("altitude", "m", altitude_m, -500.0..=6000.0)?;
    let ratio = 1.0 - LAPSE_K_PER_M * altitude_m / SEA_LEVEL_K;
    Ok(Bar::new(
        SEA_LEVEL_BAR * ratio.powf(GRAVITY / (R_AIR * LAPSE_K_PER_M)),
    )?)
}

const SEA_LEVEL_BAR: f64 = 1.013_25;
const SEA_LEVEL_K: f64 = 288.15;
const LAPSE_K_PER_M: f64 = 0.0065;
const GRAVITY: f64 = 9.806_65;
const R_AIR: f64 = 287.052_87;

#[cfg(test)]
mod tests {
    use super::*;

    /// ISO 2533:1975, geopotential metres, to 0.01 hPa.
    #[test]
    fn the_standard_atmosphere_is_met_to_a_hundredth_of_a_hectopascal() {
        let rows = [
            (0.0, 1013.250),
            (1000.0, 898.746),
            (2000.0, 794.952),
            (3000.0, 701.085),
            (4000.0, 616.402),
        ];
        for (altitude_m, hpa) in rows {
            let got = isa_pressure_bar(altitude_m).expect("within").get() * 1000.0;
            assert!(
                (got - hpa).abs() < 0.01,
                "{altitude_m} m: {got} hPa, not {hpa}"
            );
        }
    }

    #[test]
    fn an_altitude_off_the_ground_is_refused() {
        for altitude_m in [f64::NAN, f64::INFINITY, -600.0, 50_000.0] {
            assert!(isa_pressure_bar(altitude_m).is_err());
        }
    }
}
