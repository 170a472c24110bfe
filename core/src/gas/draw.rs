use super::range::within;
use super::state::State;
use super::{Bar, Celsius, Gas, GasError, MOLAR_GAS_CONSTANT};

/// How fast bottles are drawn: the share of a fast draw's cooling that is still in the gas when
/// the draw ends.
///
/// 0 is a draw so slow that the walls keep the gas at its temperature (isothermal), 1 one so fast
/// that no heat reaches it (adiabatic). The truth lies between and depends on bottles, weather and
/// flow; no published figure was found, so a site states its own.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Pace(f64);

impl Pace {
    /// So slow that the gas keeps its temperature.
    pub const SLOW: Pace = Pace(0.0);
    /// So fast that no heat reaches the gas.
    pub const FAST: Pace = Pace(1.0);

    /// Takes 0 (slow) to 1 (fast).
    ///
    /// # Errors
    /// [`GasError::OutOfRange`] for anything else.
    pub fn new(given: f64) -> Result<Pace, GasError> {
        Ok(Pace(within(
            "pace of the draw",
            "(of 1)",
            given,
            0.0..=1.0,
        )?))
    }

    /// The bare number.
    #[must_use]
    pub const fn get(self) -> f64 {
        self.0
    }
}

/// What bottles held before a draw.
#[derive(Debug, Clone, Copy)]
pub(super) enum Before {
    /// A density, in kg/m3.
    Density(f64),
    /// So much more than afterwards, in kg/m3: the mass drawn over the water volume.
    More(f64),
}

impl Before {
    fn density(self, after: f64) -> f64 {
        match self {
            Before::Density(before) => before.max(after),
            Before::More(drawn) => after + drawn,
        }
    }
}

/// The density in kg/m3 at which a draw at a pace must end so that the pressure is just `floor` then.
///
/// The temperature at the end is that of the bottles less the pace's share of what they would have
/// cooled along the isentrope. Below the critical temperature, where liquid forms and its heat holds the
/// temperature up, the gas is reckoned to cool on without it, down to 90 K: colder than the truth, so it
/// yields less. What is left ends no colder than critical.
///
/// # Errors
/// [`GasError::NoState`] if the equation of state or the search fails: far beyond 400 bar.
pub(super) fn end_density(
    gas: Gas,
    celsius: Celsius,
    floor: Bar,
    before: Before,
    pace: Pace,
) -> Result<f64, GasError> {
    let no_state = || GasError::NoState {
        gas,
        bar: floor.get(),
        celsius: celsius.get(),
    };
    let slow = State::at(gas, floor, celsius)?.density();
    if pace == Pace::SLOW {
        return Ok(slow);
    }
    let mut draw = Draw {
        warm_kelvin: celsius.kelvin(),
        critical: Critical::of(gas),
        pace: pace.get(),
        state: State::at(gas, floor, celsius)?.with_energy(),
        fast_kelvin: None,
    };
    // Secant in logarithms, in which pressure is nearly a straight line of density.
    let (mut last, mut here) = (slow.ln(), slow.ln() + FIRST_STEP);
    let target = floor.get().ln();
    let mut last_off = draw.bar_at(last.exp(), before).ok_or_else(no_state)?.ln() - target;
    for _ in 0..MAX_STEPS {
        let off = draw.bar_at(here.exp(), before).ok_or_else(no_state)?.ln() - target;
        let step = -off * (here - last) / (off - last_off);
        if off.abs() < TOLERANCE || step.abs() < TOLERANCE {
            return Ok(here.exp().max(slow));
        }
        if !step.is_finite() {
            break;
        }
        (last, last_off) = (here, off);
        here += step.clamp(-0.5, 0.5);
    }
    Err(no_state())
}

const FIRST_STEP: f64 = 0.05;
const MAX_STEPS: usize = 40;
/// Relative: a gram of ten tonnes.
const TOLERANCE: f64 = 1e-7;

struct Draw {
    warm_kelvin: f64,
    critical: Critical,
    pace: f64,
    state: State,
    /// Where the isentrope ended last: the next end lies close.
    fast_kelvin: Option<f64>,
}

impl Draw {
    /// Pressure in bar at the end of a draw that leaves this density; none if the search fails.
    fn bar_at(&mut self, after: f64, before: Before) -> Option<f64> {
        let fast = self.fast_kelvin(before.density(after), after)?;
        self.fast_kelvin = Some(fast);
        let kelvin = self.warm_kelvin - self.pace * (self.warm_kelvin - fast);
        self.state.move_to(kelvin.max(self.critical.kelvin), after);
        let bar = self.state.bar();
        (bar.is_finite() && bar > 0.0).then_some(bar)
    }

    /// Temperature in K at the end of the isentrope from one density to another.
    fn fast_kelvin(&mut self, before: f64, after: f64) -> Option<f64> {
        self.state.move_to(self.warm_kelvin, before);
        let entropy = self.state.entropy();
        self.state.move_to(self.critical.kelvin, after);
        let beyond = self.state.entropy() - entropy;
        if beyond > 0.0 {
            let colder = self.critical.kelvin * (-beyond / self.critical.cv_low).exp();
            return Some(colder.max(COLDEST_KELVIN));
        }
        let mut kelvin = self.fast_kelvin.unwrap_or(self.warm_kelvin);
        for _ in 0..MAX_STEPS {
            kelvin = kelvin.clamp(self.critical.kelvin, self.warm_kelvin);
            self.state.move_to(kelvin, after);
            let step = (entropy - self.state.entropy()) / self.state.cv();
            if !step.is_finite() {
                return None;
            }
            let next = (kelvin * step.exp()).clamp(self.critical.kelvin, self.warm_kelvin);
            if (next / kelvin - 1.0).abs() < TOLERANCE {
                return Some(next);
            }
            kelvin = next;
        }
        None
    }
}

/// In K: the least of GERG-2008's normal range.
const COLDEST_KELVIN: f64 = 90.0;

/// From where on liquid may form.
#[derive(Debug, Clone, Copy)]
struct Critical {
    /// Critical temperature, from handbooks.
    kelvin: f64,
    /// The least heat capacity at constant volume, in J/(kg K): that of the ideal gas.
    cv_low: f64,
}

impl Critical {
    fn of(gas: Gas) -> Critical {
        let (kelvin, freedoms) = match gas {
            Gas::Nitrogen => (126.2, 5.0),
            Gas::Helium => (COLDEST_KELVIN, 3.0),
            Gas::Argon => (150.7, 3.0),
            Gas::Air => (132.6, 5.0),
        };
        let r = MOLAR_GAS_CONSTANT / gas.molar_mass() * 1000.0;
        Critical {
            kelvin,
            cv_low: freedoms / 2.0 * r,
        }
    }
}

#[cfg(test)]
mod tests;
