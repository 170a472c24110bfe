use proptest::prelude::*;

use super::*;

fn kg_per_m3(gas: Gas, bar: f64, celsius: f64) -> f64 {
    let bar = Bar::new(bar).expect("pressure");
    let celsius = Celsius::new(celsius).expect("temperature");
    density(gas, bar, celsius).expect("within bounds").get()
}

/// Density in kg/m3 at -20, 0, 20 and 40 C, computed with `CoolProp`'s reference equations.
/// Tolerance 0.1 % for nitrogen, 0.01 % for argon, 0.2 % for the others. The ideal law is up to 20 % off here.
#[test]
fn full_bottles_hold_what_the_reference_equations_say() {
    let rows = [
        (Gas::Nitrogen, 100.0, [138.24, 125.25, 114.84, 106.26]),
        (Gas::Nitrogen, 150.0, [204.48, 184.68, 168.93, 156.04]),
        (Gas::Nitrogen, 200.0, [263.59, 238.62, 218.54, 202.02]),
        (Gas::Nitrogen, 300.0, [357.51, 327.52, 302.44, 281.22]),
        (Gas::Helium, 100.0, [18.00, 16.75, 15.67, 14.71]),
        (Gas::Helium, 150.0, [26.31, 24.53, 22.98, 21.62]),
        (Gas::Helium, 200.0, [34.21, 31.96, 29.99, 28.25]),
        (Gas::Helium, 300.0, [48.94, 45.87, 43.17, 40.76]),
        (Gas::Argon, 100.0, [212.34, 189.99, 172.69, 158.77]),
        (Gas::Argon, 150.0, [328.07, 290.07, 261.48, 238.97]),
        (Gas::Argon, 200.0, [437.93, 386.21, 347.14, 316.45]),
        (Gas::Argon, 300.0, [614.76, 550.05, 498.03, 455.73]),
        (Gas::Air, 100.0, [145.50, 131.43, 120.26, 111.11]),
        (Gas::Air, 150.0, [217.23, 195.31, 178.08, 164.09]),
        (Gas::Air, 200.0, [281.93, 253.91, 231.65, 213.49]),
        (Gas::Air, 300.0, [384.87, 350.97, 322.85, 299.24]),
    ];
    for (gas, bar, by_temperature) in rows {
        let tolerance = match gas {
            Gas::Nitrogen => 0.001,
            Gas::Argon => 0.0001,
            Gas::Helium | Gas::Air => 0.002,
        };
        for (celsius, expected) in [-20.0, 0.0, 20.0, 40.0].into_iter().zip(by_temperature) {
            let off = kg_per_m3(gas, bar, celsius) / expected - 1.0;
            assert!(
                off.abs() < tolerance,
                "{gas} {bar} bar {celsius} C: {:+.3} %",
                off * 100.0
            );
        }
    }
}

/// Real densities at 0 C and 1.01325 bar in kg/m3, as handbooks give them; tolerance 0.05 %.
#[test]
fn a_normal_cubic_metre_weighs_what_handbooks_say() {
    for (gas, expected) in [
        (Gas::Nitrogen, 1.2504),
        (Gas::Air, 1.2931),
        (Gas::Helium, 0.178_48),
    ] {
        let off = kg_per_m3(gas, 1.013_25, 0.0) / expected - 1.0;
        assert!(off.abs() < 0.0005, "{gas}: {:+.3} %", off * 100.0);
    }
}

#[test]
fn gas_hotter_than_the_equation_is_stated_for_is_refused() {
    let hot = Celsius::new(500.0).expect("temperature");
    let error = density(Gas::Air, Bar::new(50.0).expect("bar"), hot).expect_err("too hot");
    assert_eq!(
        error.to_string(),
        "gas temperature is 500 C; allowed is -100 to 425 C; check the value and its unit"
    );
}

#[test]
fn no_pressure_and_absurd_pressure_are_no_pressures() {
    for bar in [
        0.0,
        -1.0,
        401.0,
        1e300,
        f64::NAN,
        f64::INFINITY,
        f64::NEG_INFINITY,
    ] {
        assert!(Bar::new(bar).is_err(), "{bar}");
    }
    assert!(Celsius::new(-273.16).is_err());
}

proptest! {
    /// There is one density for every state allowed, more for more pressure, less for more heat.
    #[test]
    fn density_rises_with_pressure_and_falls_with_temperature(
        gas in prop::sample::select(Gas::ALL), bar in 0.1..=390.0, celsius in -100.0..=415.0,
    ) {
        let here = kg_per_m3(gas, bar, celsius);
        prop_assert!(here > 0.0);
        prop_assert!(kg_per_m3(gas, bar * 1.02, celsius) > here);
        prop_assert!(kg_per_m3(gas, bar, celsius + 10.0) < here);
    }
}
