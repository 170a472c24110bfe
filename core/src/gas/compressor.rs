use super::range::within;
use super::{
    Bar, Celsius, Gas, GasError, KgPerHour, Kilowatts, MOLAR_GAS_CONSTANT, Stretch, density,
    isa_pressure_bar,
};

/// A displacement compressor: the same volume of inlet air at any altitude, hence less mass.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Compressor {
    max_bar: Bar,
    inlet_bar: Bar,
    inlet_kelvin: f64,
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
        let inlet_bar = isa_pressure_bar(altitude_m)?;
        let inlet_kelvin = inlet_c + 273.15;
        let supply =
            free_air_m3_per_min * 60.0 * inlet_bar.get() * 1e5 / (r_of_air() * inlet_kelvin);
        Ok(Compressor {
            max_bar,
            inlet_bar,
            inlet_kelvin,
            supply: KgPerHour::new(supply)?,
        })
    }

    /// Mass of air delivered.
    #[must_use]
    pub const fn kg_per_h(&self) -> KgPerHour {
        self.supply
    }

    /// Power of the ideal machine that delivers as much at the highest pressure: isentropic stages of
    /// equal pressure ratio, cooled back to the inlet temperature between them, air as a perfect gas
    /// of heat-capacity ratio 1.4.
    ///
    /// A real machine takes more at its shaft: common practice, no source, 1.3 to 1.6 times as much.
    /// Source: textbook stage work, as Cengel & Boles, Thermodynamics, section 7-11.
    ///
    /// # Errors
    /// [`GasError::OutOfRange`] unless 1 to 6 stages.
    pub fn ideal_kw(&self, stages: u8) -> Result<Kilowatts, GasError> {
        within("number of stages", "(each)", f64::from(stages), 1.0..=6.0)?;
        let ratio = (self.max_bar.get() / self.inlet_bar.get()).max(1.0);
        let joules_per_kg = stage_work(self.inlet_kelvin, ratio, f64::from(stages), RATIO_OF_AIR);
        Ok(Kilowatts::new(joules_per_kg * self.supply.get() / 3.6e6)?)
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

    /// Power at the shaft of a machine of this overall efficiency (0.2 to 1) against the ideal one of
    /// [`Compressor::ideal_kw`].
    ///
    /// # Errors
    /// [`GasError::OutOfRange`] outside these bounds.
    pub fn shaft_kw(&self, stages: u8, efficiency: f64) -> Result<Kilowatts, GasError> {
        within("overall efficiency", "(of 1)", efficiency, 0.2..=1.0)?;
        Ok(Kilowatts::new(self.ideal_kw(stages)?.get() / efficiency)?)
    }

    /// The share of time that can be spent spraying, 0 to 1: supply over demand, whatever the
    /// receiver's size; 1 where the machine keeps up.
    #[must_use]
    pub fn duty(&self, demand: KgPerHour) -> f64 {
        if demand <= self.supply {
            return 1.0;
        }
        self.supply.get() / demand.get()
    }

    /// How much longer spraying takes at a demand above the supply: the inverse of
    /// [`Compressor::duty`].
    ///
    /// # Errors
    /// [`GasError::OutOfRange`] if it would take more than 100 times as long.
    pub fn stretch(&self, demand: KgPerHour) -> Result<Stretch, GasError> {
        Ok(Stretch::new(1.0 / self.duty(demand))?)
    }

    /// How spraying and waiting take turns with a receiver; none where the machine keeps up.
    ///
    /// While it sprays the receiver loses demand less supply, while it waits it gains the supply.
    ///
    /// # Errors
    /// [`GasError::NoState`] if the equation of state fails, which no test has seen.
    pub fn cycle(&self, receiver: &Receiver, demand: KgPerHour) -> Result<Option<Cycle>, GasError> {
        let short = demand.get() - self.supply.get();
        if short <= 0.0 {
            return Ok(None);
        }
        let kg = receiver.buffer_kg()?;
        Ok(Some(Cycle {
            spray_min: kg / short * 60.0,
            refill_min: kg / self.supply.get() * 60.0,
        }))
    }
}

/// A vessel of compressed air between two pressures, at the temperature of its surroundings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Receiver {
    water_volume_l: f64,
    high: Bar,
    low: Bar,
    celsius: Celsius,
}

impl Receiver {
    /// A vessel of 1 to 100 000 l, full at `high`, empty to its user at `low`, at -40 to 60 C.
    ///
    /// # Errors
    /// [`GasError::OutOfRange`] outside these bounds, or if `low` is not below `high`.
    pub fn new(
        water_volume_l: f64,
        high: Bar,
        low: Bar,
        celsius: Celsius,
    ) -> Result<Receiver, GasError> {
        let volume = 1.0..=100_000.0;
        within("volume of the receiver", "l", water_volume_l, volume)?;
        within(
            "temperature of the receiver",
            "C",
            celsius.get(),
            -40.0..=60.0,
        )?;
        let below = 0.1..=high.get() - 0.01;
        within(
            "low pressure of the receiver",
            "bar absolute",
            low.get(),
            below,
        )?;
        Ok(Receiver {
            water_volume_l,
            high,
            low,
            celsius,
        })
    }

    /// Kilograms between the two pressures, by the real gas.
    fn buffer_kg(&self) -> Result<f64, GasError> {
        let at = |bar| density(Gas::Air, bar, self.celsius);
        let difference = at(self.high)?.get() - at(self.low)?.get();
        Ok(difference * self.water_volume_l / 1000.0)
    }
}

/// Minutes of spraying and of waiting that take turns.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cycle {
    /// From a full receiver to an empty one.
    pub spray_min: f64,
    /// From an empty receiver to a full one, without spraying.
    pub refill_min: f64,
}

/// Heat-capacity ratio of air near room temperature.
const RATIO_OF_AIR: f64 = 1.4;

fn r_of_air() -> f64 {
    MOLAR_GAS_CONSTANT / Gas::Air.molar_mass() * 1000.0
}

/// Joules for a kilogram of air through so many stages of the overall pressure ratio, each along
/// p v^n = constant and beginning at the same temperature.
fn stage_work(kelvin: f64, ratio: f64, stages: f64, n: f64) -> f64 {
    let slope = (n - 1.0) / n;
    stages / slope * r_of_air() * kelvin * (ratio.powf(slope / stages) - 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Cengel & Boles, Thermodynamics, example 7-13: air from 100 to 900 kPa at 300 K takes
    /// 263.2 kJ/kg in one isentropic stage, 246.4 with n = 1.3, and 215.3 in two such stages.
    #[test]
    fn compressing_takes_what_the_textbook_example_says() {
        for (stages, n, kj_per_kg) in [(1.0, 1.4, 263.2), (1.0, 1.3, 246.4), (2.0, 1.3, 215.3)] {
            let got = stage_work(300.0, 9.0, stages, n) / 1000.0;
            assert!((got / kj_per_kg - 1.0).abs() < 0.001, "{stages} {n}: {got}");
        }
    }

    /// Borgnakke & Sonntag, Fundamentals of Thermodynamics, problem 12.29: 100 kPa and 290 K to
    /// 1600 kPa in two stages, 141.6 kJ/kg each.
    #[test]
    fn each_of_two_stages_takes_half() {
        let got = stage_work(290.0, 16.0, 2.0, 1.4) / 2000.0;
        assert!((got / 141.6 - 1.0).abs() < 0.002, "{got}");
    }

    /// 5 m3/min at sea level and 15 C are 367.5 kg/h. To 40 bar over the air's pressure, three stages
    /// take 367.0 kJ/kg (worked out by hand from the same formula): 367.5 x 367.0 / 3600 = 37.46 kW;
    /// two stages take more.
    #[test]
    fn more_stages_take_less() {
        let to = Bar::new(41.013_25).expect("pressure");
        let five = Compressor::new(5.0, to, 0.0, 15.0).expect("compressor");
        let three = five.ideal_kw(3).expect("power").get();
        assert!((three - 37.46).abs() < 0.05, "{three}");
        assert!(five.ideal_kw(2).expect("power").get() > three);
        assert!(five.ideal_kw(0).is_err() && five.ideal_kw(7).is_err());
    }

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
        assert!((small.duty(demand) - 0.625).abs() < 1e-12);
        assert!((small.stretch(demand).expect("stretch").get() - 1.6).abs() < 1e-12);
    }

    /// 1 m3 between 60 and 50 bar holds, ideal and at 20 C, 1 m3 x 10e5 Pa / (287.05 x 293.15) =
    /// 11.884 kg. At 80 kg/h wanted of 50 that lasts 11.884 / 30 h = 1426 s, and 11.884 / 50 h = 856 s
    /// fill it again; real air is 1.5 % denser there (z 0.985). Spraying 0.625 of the time all the same.
    #[test]
    fn a_receiver_sets_the_length_of_the_turns_and_not_their_share() {
        let small =
            Compressor::new(0.680_3, Bar::new(60.0).expect("bar"), 0.0, 15.0).expect("compressor");
        let supply = small.kg_per_h().get();
        let demand = KgPerHour::new(supply * 80.0 / 50.0).expect("flow");
        let (high, low) = (Bar::new(60.0).expect("bar"), Bar::new(50.0).expect("bar"));
        let warm = Celsius::new(20.0).expect("c");
        let receiver = Receiver::new(1000.0, high, low, warm).expect("receiver");
        let cycle = small
            .cycle(&receiver, demand)
            .expect("state")
            .expect("a cycle");
        assert!(
            (cycle.spray_min * 60.0 / 1426.0 - 1.0).abs() < 0.02,
            "{cycle:?}"
        );
        assert!(
            (cycle.refill_min * 60.0 / 856.0 - 1.0).abs() < 0.02,
            "{cycle:?}"
        );
        let share = cycle.spray_min / (cycle.spray_min + cycle.refill_min);
        assert!((share - small.duty(demand)).abs() < 1e-12);
        assert_eq!(small.cycle(&receiver, small.kg_per_h()), Ok(None));
        assert!(Receiver::new(1000.0, low, high, warm).is_err());
    }

    /// Two thirds as good as the ideal machine takes half as much again.
    #[test]
    fn the_shaft_takes_more_than_the_ideal_machine() {
        let machine = compressor(0.0, 15.0);
        let ideal = machine.ideal_kw(3).expect("power").get();
        let shaft = machine.shaft_kw(3, 2.0 / 3.0).expect("power").get();
        assert!((shaft / ideal - 1.5).abs() < 1e-12);
        assert!(machine.shaft_kw(3, 0.0).is_err());
    }

    #[test]
    fn a_modest_nozzle_does_not_wait() {
        let demand = KgPerHour::new(100.0).expect("flow");
        assert_eq!(compressor(0.0, 15.0).stretch(demand), Ok(Stretch::NONE));
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
