use super::range::within;
use super::state::State;
use super::{Bar, Celsius, Gas, GasError, KgPerHour, Kilowatts};

/// Power to heat a gas stream at constant pressure: mass flow times the difference in enthalpy.
///
/// Heater losses are extra. Allowed: 1 to 100 bar absolute, -60 to 1200 C. GERG-2008 is stated
/// to 427 C only; beyond that its ideal-gas heat capacity (Jaeschke & Schley 1995) carries the
/// result, and the reference tests hold it against `CoolProp` up to 1000 C.
///
/// # Errors
/// [`GasError::OutOfRange`] outside these bounds, [`GasError::Cooling`] if `to` is below `from`.
pub fn heat_kw(
    gas: Gas,
    bar: Bar,
    from: Celsius,
    to: Celsius,
    flow: KgPerHour,
) -> Result<Kilowatts, GasError> {
    within("heater pressure", "bar absolute", bar.get(), 1.0..=100.0)?;
    within(
        "gas temperature before the heater",
        "C",
        from.get(),
        -60.0..=1200.0,
    )?;
    within(
        "gas temperature after the heater",
        "C",
        to.get(),
        -60.0..=1200.0,
    )?;
    if to < from {
        return Err(GasError::Cooling {
            from: from.get(),
            to: to.get(),
        });
    }
    let enthalpy =
        |celsius| Ok::<_, GasError>(State::at(gas, bar, celsius)?.with_energy().enthalpy());
    let joules_per_kg = enthalpy(to)? - enthalpy(from)?;
    Ok(Kilowatts::new(joules_per_kg.max(0.0) * flow.get() / 3.6e6)?)
}
