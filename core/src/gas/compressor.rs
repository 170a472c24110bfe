use super::range::within;
use super::{Bar, Gas, GasError, KgPerHour, MOLAR_GAS_CONSTANT, Stretch, isa_pressure_bar};

/// A displacement compressor: the same volume of inlet air at any altitude, hence less mass.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Compressor {
    max_bar: Bar,
    supply: KgPerHour,
}

impl Compressor {
    /// Takes free air delivery (0.01 to 100 m3/min, referred to inlet conditions as in ISO 1217,
    /// dry), the highest delivery pressure, the site's altitude and the inlet temperature
    /// (-40 to 60 C).
    ///
    /// Free air delivery is volume as it is sucked in, so its mass is FAD p / (R T) with the
    /// standard atmosphere's pressure at that altitude. Moisture is left out: it takes up to some
    /// 4 % of the volume in hot wet air.
    ///
    /// # Errors
    /// [`GasError::OutOfRange`] outside these bounds.
    pub fn new(
        free_air_m3_per_min: f64,
        max_bar: Bar,
        altitude_m: f64,
        inlet_c: f64,
    ) -> Result<Compressor, GasError> {
        within(
            "free air delivery",
            "m3/min",
            free_air_m3_per_min,
            0.01..=100.0,
        )?;
        within(
            "inlet temperature of the compressor",
            "C",
            inlet_c,
            -40.0..=60.0,
        )?;
        let inlet_pa = isa_pressure_bar(altitude_m)?.get() * 1e5;
        let r = MOLAR_GAS_CONSTANT / Gas::Air.molar_mass() * 1000.0;
        let supply = free_air_m3_per_min * 60.0 * inlet_pa / (r * (inlet_c + 273.15));
        Ok(Compressor {
            max_bar,
            supply: KgPerHour::new(supply)?,
        })
    }

    /// Mass of air delivered.
    #[must_use]
    pub const fn kg_per_h(&self) -> KgPerHour {
        self.supply
    }

    /// The highest pressure that it delivers at.
    #[must_use]
    pub const fn max_bar(&self) -> Bar {
        self.max_bar
    }

    /// Whether it can hold so much pressure: the recipe's plus the drop of regulator and hose.
    #[must_use]
    pub fn reaches(&self, bar: Bar) -> bool {
        bar <= self.max_bar
    }

    /// How much longer spraying takes at a demand above the supply.
    ///
    /// Over a full cycle of spraying and refilling the share of time spent spraying is supply
    /// over demand, whatever the receiver's size.
    ///
    /// # Errors
    /// [`GasError::OutOfRange`] if it would take more than 100 times as long.
    pub fn duty(&self, demand: KgPerHour) -> Result<Stretch, GasError> {
        Ok(Stretch::new((demand.get() / self.supply.get()).max(1.0))?)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn compressor(altitude_m: f64, inlet_c: f64) -> Compressor {
        let max_bar = Bar::new(60.0).expect("pressure");
        Compressor::new(5.0, max_bar, altitude_m, inlet_c).expect("compressor")
    }

    /// 5 m3/min at 0 m and 15 C: 300 m3/h x 101 325 Pa / (287.05 J/(kg K) x 288.15 K)
    /// = 367.5 kg/h. The other rows follow with ISO 2533 pressures; tolerance 0.05 kg/h.
    #[test]
    fn the_same_volume_is_less_mass_up_high_and_in_heat() {
        let rows = [
            (0.0, 15.0, 367.5),
            (0.0, 35.0, 343.6),
            (1000.0, 8.5, 333.5),
            (1000.0, 35.0, 304.8),
            (2000.0, 2.0, 301.9),
            (3000.0, -4.5, 272.7),
            (3000.0, 35.0, 237.8),
            (4000.0, -11.0, 245.7),
            (4000.0, 35.0, 209.1),
        ];
        for (altitude_m, inlet_c, kg_per_h) in rows {
            let got = compressor(altitude_m, inlet_c).kg_per_h().get();
            assert!(
                (got - kg_per_h).abs() < 0.05,
                "{altitude_m} m: {got}, not {kg_per_h}"
            );
        }
    }

    /// 80 kg/h wanted of 50 kg/h: spraying 0.625 of the time, so 1.6 times as long.
    #[test]
    fn a_thirstier_nozzle_stretches_the_spraying() {
        let small =
            Compressor::new(0.680_3, Bar::new(60.0).expect("bar"), 0.0, 15.0).expect("compressor");
        let supply = small.kg_per_h().get();
        let demand = KgPerHour::new(supply * 80.0 / 50.0).expect("flow");
        assert!((small.duty(demand).expect("duty").get() - 1.6).abs() < 1e-12);
    }

    #[test]
    fn a_modest_nozzle_does_not_wait() {
        let demand = KgPerHour::new(100.0).expect("flow");
        assert_eq!(compressor(0.0, 15.0).duty(demand), Ok(Stretch::NONE));
    }

    #[test]
    fn a_pressure_above_its_own_is_out_of_reach() {
        let compressor = compressor(0.0, 15.0);
        assert!(compressor.reaches(Bar::new(60.0).expect("bar")));
        assert!(!compressor.reaches(Bar::new(60.1).expect("bar")));
    }

    #[test]
    fn absurd_readings_are_refused() {
        let bar = Bar::new(60.0).expect("bar");
        for (air, altitude, inlet) in [(0.0, 0.0, 15.0), (5.0, f64::NAN, 15.0), (5.0, 0.0, 400.0)] {
            assert!(Compressor::new(air, bar, altitude, inlet).is_err());
        }
    }
}
