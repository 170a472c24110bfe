use super::state::State;
use super::{Bar, Gas, GasError};

/// The gas after it has expanded to a lower pressure with no heat from outside: same entropy.
///
/// # Errors
/// [`GasError::TooCold`] where the gas would be colder than 90 K, the least of GERG-2008's normal
/// range, or may turn liquid; [`GasError::NoState`] if the search does not end, which no test has seen.
pub(super) fn expanded(gas: Gas, rest: &State, to: Bar) -> Result<State, GasError> {
    let mut state = rest.clone();
    let mut target = rest.bar();
    while target > to.get() {
        target = to.get().max(target * STAGE);
        settle(&mut state, target, rest.entropy()).ok_or(GasError::NoState {
            gas,
            bar: target,
            celsius: rest.kelvin() - 273.15,
        })?;
        refuse_if_cold(gas, &state, to)?;
    }
    Ok(state)
}

/// Pressures fall by no more than this at a time, so that each search starts close.
const STAGE: f64 = 0.7;

/// Newton's method along and across the isentrope, for a pressure in bar and an entropy; none if
/// it does not end.
fn settle(state: &mut State, target: f64, entropy: f64) -> Option<()> {
    for _ in 0..MAX_STEPS {
        let pressure_off = (state.bar() / target).ln();
        let entropy_off = (state.entropy() - entropy) / state.cv();
        let pascal = state.bar() * 1e5;
        let by_heat = state.pressure_by_temperature() * state.kelvin() / pascal * entropy_off;
        let stiffness = state.density() * state.speed_of_sound().powi(2) / pascal;
        let density_step = (by_heat - pressure_off) / stiffness;
        let heating = state.pressure_by_temperature() / (state.density() * state.cv());
        let temperature_step = heating * density_step - entropy_off;
        state.move_to(
            state.kelvin() * temperature_step.exp(),
            state.density() * density_step.exp(),
        );
        if density_step.abs() < TOLERANCE && temperature_step.abs() < TOLERANCE {
            return Some(());
        }
    }
    None
}

const MAX_STEPS: usize = 60;
/// Relative step at which the search ends.
const TOLERANCE: f64 = 1e-8;

/// Once liquid forms, more of it does on the way down, so any stage may refuse for all below it.
fn refuse_if_cold(gas: Gas, state: &State, to: Bar) -> Result<(), GasError> {
    let kelvin = state.kelvin();
    let is_gas = may_be_dew(gas, kelvin).is_none_or(|dew| state.bar() < dew);
    if kelvin >= COLDEST_KELVIN && is_gas {
        return Ok(());
    }
    Err(GasError::TooCold {
        gas,
        bar: to.get(),
        celsius: kelvin - 273.15,
    })
}

const COLDEST_KELVIN: f64 = 90.0;

/// The pressure in bar from which the gas may turn liquid; none above its critical temperature.
///
/// Corresponding states: ln(p / critical p) = 7/3 ln 10 (1 + acentric factor) (1 - critical T / T),
/// which meets the definition of the acentric factor at 0.7; 20 % are taken off for its error and
/// for air, whose dew point lies below its bubble point. Critical points from handbooks.
fn may_be_dew(gas: Gas, kelvin: f64) -> Option<f64> {
    let (critical_kelvin, critical_bar, acentric) = match gas {
        Gas::Nitrogen => (126.2, 33.96, 0.037),
        Gas::Helium => (5.2, 2.28, -0.38),
        Gas::Argon => (150.7, 48.63, 0.0),
        Gas::Air => (132.6, 37.86, 0.034),
    };
    let slope = 7.0 / 3.0 * std::f64::consts::LN_10 * (1.0 + acentric);
    let boiling: f64 = critical_bar * (slope * (1.0 - critical_kelvin / kelvin)).exp();
    (kelvin < critical_kelvin).then_some(0.8 * boiling)
}
