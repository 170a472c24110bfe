use super::carrier::Carrier;
use super::drag::Meeting;
use super::window::{metal_density, metal_heat_capacity};
use super::{DepositError, DragLaw};
use crate::gas::isentropic::{density_ratio, machs_at_area, pressure_ratio, temperature_ratio};
use crate::gas::range::within;
use crate::gas::{Bar, Celsius, Gas};

/// One sphere of powder as it enters the throat.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Particle {
    diameter_um: f64,
    kg_per_m3: f64,
    heat_capacity: f64,
    celsius: f64,
}

impl Particle {
    /// A diameter of 1 to 200 um, a density of 500 to 25 000 kg/m3, a heat capacity of 50 to
    /// 5000 J/(kg K), and the powder's temperature of -60 to 1200 C.
    ///
    /// # Errors
    /// [`DepositError::OutOfRange`] for anything else.
    pub fn new(
        diameter_um: f64,
        density_kg_per_m3: f64,
        cp_j_per_kg_k: f64,
        powder: Celsius,
    ) -> Result<Particle, DepositError> {
        Ok(Particle {
            diameter_um: within("particle diameter", "um", diameter_um, 1.0..=200.0)?,
            kg_per_m3: metal_density(density_kg_per_m3)?,
            heat_capacity: metal_heat_capacity(cp_j_per_kg_k)?,
            celsius: within("powder temperature", "C", powder.get(), -60.0..=1200.0)?,
        })
    }
}

/// The diverging part of a nozzle: a straight cone from throat to exit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cone {
    throat_mm: f64,
    exit_mm: f64,
    length_mm: f64,
}

/// How gas and particle leave the nozzle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Arrival {
    /// Gas velocity at the exit, in m/s.
    pub gas_exit_m_s: f64,
    /// Gas pressure at the exit, absolute, in bar.
    pub gas_exit_bar: f64,
    /// Particle velocity at the exit, in m/s.
    pub particle_m_s: f64,
    /// Particle temperature at the exit, in degrees Celsius.
    pub particle_c: f64,
}

impl Cone {
    /// A throat of 0.5 to 10 mm bore as measured, an exit of 1.01 to 5 times that, and 5 to 500 mm
    /// from the one to the other.
    ///
    /// # Errors
    /// [`DepositError::OutOfRange`] for anything else.
    pub fn new(throat_mm: f64, exit_mm: f64, divergent_mm: f64) -> Result<Cone, DepositError> {
        within("throat bore", "mm", throat_mm, 0.5..=10.0)?;
        within(
            "exit bore",
            "mm",
            exit_mm,
            1.01 * throat_mm..=5.0 * throat_mm,
        )?;
        within(
            "length of the divergent part",
            "mm",
            divergent_mm,
            5.0..=500.0,
        )?;
        Ok(Cone {
            throat_mm,
            exit_mm,
            length_mm: divergent_mm,
        })
    }

    /// What becomes of a particle between throat and exit, by the one-dimensional model.
    ///
    /// Isentropic flow of a perfect gas with a heat-capacity ratio of 7/5 or 5/3, no friction at
    /// the wall, few enough particles not to slow the gas, one sphere with uniform temperature
    /// (Dykhuizen & Smith 1998, J. Therm. Spray Technol. 7:205). It starts at 0.1 of the speed of
    /// sound in the throat; heat passes by Ranz & Marshall 1952 from the recovery temperature,
    /// and viscosity follows Sutherland. The shock before the part is left out. Measured
    /// velocities lie about 7 % lower (Champagne, Dinavahi & Leyman 2011, ARL-TR-5683), and the
    /// two drag laws up to 11 % apart.
    ///
    /// Allowed: 3 to 100 bar absolute, -30 to 1200 C at rest.
    ///
    /// # Errors
    /// [`DepositError::OutOfRange`] outside these bounds, [`DepositError::NozzleNotFull`] if a
    /// normal shock would stand inside against the air at sea level.
    pub fn accelerate(
        &self,
        gas: Gas,
        bar: Bar,
        celsius: Celsius,
        particle: &Particle,
        law: DragLaw,
    ) -> Result<Arrival, DepositError> {
        within("nozzle pressure", "bar absolute", bar.get(), 3.0..=100.0)?;
        within(
            "gas temperature at the nozzle",
            "C",
            celsius.get(),
            -30.0..=1200.0,
        )?;
        let path = Path {
            cone: *self,
            carrier: Carrier::of(gas),
            rest_pa: bar.get() * 1e5,
            rest_kelvin: celsius.kelvin(),
            particle: *particle,
            law,
        };
        let exit_mach = path.exit_mach()?;
        let [particle_m_s, kelvin] = path.settled(exit_mach)?;
        Ok(Arrival {
            gas_exit_m_s: path.gas_at(exit_mach).velocity,
            gas_exit_bar: bar.get() * pressure_ratio(path.carrier.gamma, exit_mach),
            particle_m_s,
            particle_c: kelvin - KELVIN_AT_0_C,
        })
    }
}

const KELVIN_AT_0_C: f64 = 273.15;

/// Share of the throat's speed of sound at which particles enter it.
const START: f64 = 0.1;

/// Everything that stays the same along the way; the way itself is told by the Mach number, in
/// which nothing is steep at the throat.
struct Path {
    cone: Cone,
    carrier: Carrier,
    rest_pa: f64,
    rest_kelvin: f64,
    particle: Particle,
    law: DragLaw,
}

/// The gas at one place: K, kg/m3, m/s.
struct Stream {
    kelvin: f64,
    density: f64,
    velocity: f64,
}

impl Path {
    /// Refuses a nozzle that the gas does not fill: behind a normal shock at its exit (NACA Report
    /// 1135, equation 93) the pressure must reach that of the air.
    fn exit_mach(&self) -> Result<f64, DepositError> {
        let gamma = self.carrier.gamma;
        let area = (self.cone.exit_mm / self.cone.throat_mm).powi(2);
        let mach = machs_at_area(gamma, area).map_or(1.0, |[_, fast]| fast);
        let shock = (2.0 * gamma * mach * mach - (gamma - 1.0)) / (gamma + 1.0);
        let least_pa = 101_325.0 / (shock * pressure_ratio(gamma, mach));
        if self.rest_pa < least_pa {
            return Err(DepositError::NozzleNotFull {
                bar: self.rest_pa / 1e5,
                exit_mm: self.cone.exit_mm,
                least: least_pa / 1e5,
            });
        }
        Ok(mach)
    }

    /// Velocity and temperature in K at the exit: steps are halved until that changes neither by
    /// more than 1 in 10 000.
    fn settled(&self, exit_mach: f64) -> Result<[f64; 2], DepositError> {
        let throat_sound = self.gas_at(1.0).velocity;
        let start = [START * throat_sound, self.particle.celsius + KELVIN_AT_0_C];
        let with = |steps| {
            integrate(1.0..exit_mach, steps, start, |mach, now| {
                self.slope(mach, now)
            })
        };
        let mut steps = FEWEST_STEPS;
        let mut coarse = with(steps);
        while steps < MOST_STEPS {
            steps *= 2;
            let fine = with(steps);
            let near = |a: f64, b: f64| (a / b - 1.0).abs() < 1e-4;
            if near(coarse[0], fine[0]) && near(coarse[1], fine[1]) {
                return Ok(fine);
            }
            coarse = fine;
        }
        Err(DepositError::PathNotSettled {
            diameter_um: self.particle.diameter_um,
            steps,
        })
    }

    fn gas_at(&self, mach: f64) -> Stream {
        let Carrier {
            gamma,
            gas_constant,
            ..
        } = self.carrier;
        let kelvin = self.rest_kelvin * temperature_ratio(gamma, mach);
        let rest_density = self.rest_pa / (gas_constant * self.rest_kelvin);
        Stream {
            kelvin,
            density: rest_density * density_ratio(gamma, mach),
            velocity: mach * self.carrier.speed_of_sound(kelvin),
        }
    }

    /// Change of velocity and temperature with the gas's Mach number.
    fn slope(&self, mach: f64, [velocity, kelvin]: [f64; 2]) -> [f64; 2] {
        let gas = self.gas_at(mach);
        let Carrier { gamma, prandtl, .. } = self.carrier;
        let diameter = self.particle.diameter_um * 1e-6;
        let inertia = self.particle.kg_per_m3 * diameter;
        let sound = self.carrier.speed_of_sound(gas.kelvin);
        let lag = gas.velocity - velocity;
        let relative_mach = (lag.abs() / sound).max(AT_REST);
        let reynolds =
            gas.density * relative_mach * sound * diameter / self.carrier.viscosity(gas.kelvin);
        let drag = self.law.coefficient(Meeting {
            reynolds,
            mach: relative_mach,
            wall_ratio: kelvin / gas.kelvin,
            gamma,
        });
        let push = 0.75 * drag * gas.density * lag * lag.abs() / inertia;

        let root_prandtl = prandtl.cbrt();
        let nusselt = 2.0 + 0.6 * reynolds.sqrt() * root_prandtl;
        let recovery =
            gas.kelvin * (1.0 + root_prandtl * (gamma - 1.0) / 2.0 * relative_mach.powi(2));
        let transfer = nusselt * self.carrier.conductivity(gas.kelvin) / diameter;
        let warming =
            6.0 * transfer * (recovery - kelvin) / (inertia * self.particle.heat_capacity);

        let metres = self.metres_per_mach(mach);
        [push / velocity * metres, warming / velocity * metres]
    }

    /// How far along the cone the Mach number rises by one: the bore goes with the root of the area,
    /// whose logarithm rises by (M^2 - 1) / (M (1 + (gamma - 1) / 2 M^2)).
    fn metres_per_mach(&self, mach: f64) -> f64 {
        let gamma = self.carrier.gamma;
        let bore = self.cone.throat_mm * crate::gas::isentropic::area_ratio(gamma, mach).sqrt();
        let widening = (mach * mach - 1.0) * temperature_ratio(gamma, mach) / (2.0 * mach) * bore;
        widening / (self.cone.exit_mm - self.cone.throat_mm) * self.cone.length_mm / 1000.0
    }
}

/// Keeps the drag laws away from a division by zero when particle and gas are equally fast.
const AT_REST: f64 = 1e-6;
const FEWEST_STEPS: u32 = 32;
const MOST_STEPS: u32 = 1 << 16;

/// Classical Runge-Kutta steps of the fourth order.
fn integrate(
    over: std::ops::Range<f64>,
    steps: u32,
    start: [f64; 2],
    slope: impl Fn(f64, [f64; 2]) -> [f64; 2],
) -> [f64; 2] {
    let step = (over.end - over.start) / f64::from(steps);
    let ahead = |[v, t]: [f64; 2], by: f64, [dv, dt]: [f64; 2]| [v + by * dv, t + by * dt];
    let mut now = start;
    for index in 0..steps {
        let at = over.start + step * f64::from(index);
        let first = slope(at, now);
        let second = slope(at + step / 2.0, ahead(now, step / 2.0, first));
        let third = slope(at + step / 2.0, ahead(now, step / 2.0, second));
        let fourth = slope(at + step, ahead(now, step, third));
        for (share, part) in [(1.0, first), (2.0, second), (2.0, third), (1.0, fourth)] {
            now = ahead(now, step / 6.0 * share, part);
        }
    }
    now
}

#[cfg(test)]
mod tests;
