use proptest::prelude::*;

use super::*;

fn flow(gas: Gas, throat_mm: f64, bar: f64, celsius: f64) -> f64 {
    Nozzle::new(throat_mm, 1.0)
        .and_then(|n| n.flow_kg_per_h(gas, Bar::new(bar)?, Celsius::new(celsius)?))
        .expect("within bounds")
        .get()
}

#[track_caller]
fn assert_within(got: f64, expected: f64, share: f64) {
    let off = got / expected - 1.0;
    assert!(
        off.abs() <= share,
        "{got} is {:+.3} % off {expected}",
        off * 100.0
    );
}

/// Flow of usual throats in kg/h, computed with `CoolProp`'s reference equations as the largest
/// mass flux along the isentrope; tolerance 0.3 %.
#[test]
fn usual_throats_pass_what_the_reference_equations_say() {
    use Gas::{Air, Helium, Nitrogen};
    let states = [
        (Nitrogen, 30.0, 500.0, [48.05, 75.07, 87.56, 108.10]),
        (Nitrogen, 50.0, 500.0, [79.97, 124.96, 145.75, 179.94]),
        (Nitrogen, 50.0, 800.0, [67.40, 105.31, 122.83, 151.64]),
        (Nitrogen, 60.0, 1000.0, [73.97, 115.57, 134.80, 166.43]),
        (Air, 30.0, 500.0, [48.79, 76.24, 88.92, 109.78]),
        (Helium, 30.0, 500.0, [19.42, 30.34, 35.38, 43.68]),
        (Helium, 50.0, 500.0, [32.33, 50.51, 58.92, 72.74]),
    ];
    for (gas, bar, celsius, by_throat) in states {
        for (throat_mm, kg_per_h) in [2.0, 2.5, 2.7, 3.0].into_iter().zip(by_throat) {
            assert_within(flow(gas, throat_mm, bar, celsius), kg_per_h, 0.003);
        }
    }
}

/// Critical mass flux in kg/(m2 s), from the same computation; tolerance 0.3 %. At 20 C, as in a
/// cold start or a purge, the perfect gas is 1 to 2 % off and the real one must not be.
#[test]
fn the_real_gas_holds_from_a_cold_start_to_a_thousand_degrees() {
    use Gas::{Air, Helium, Nitrogen};
    let rows = [
        (Nitrogen, 30.0, 20.0, 7043.1),
        (Nitrogen, 30.0, 300.0, 4962.1),
        (Nitrogen, 50.0, 500.0, 7071.1),
        (Nitrogen, 50.0, 800.0, 5959.2),
        (Nitrogen, 60.0, 1000.0, 6540.1),
        (Nitrogen, 60.0, 20.0, 14_239.6),
        (Air, 50.0, 500.0, 7182.5),
        (Air, 60.0, 1000.0, 6645.9),
        (Helium, 30.0, 300.0, 1992.7),
        (Helium, 50.0, 500.0, 2858.5),
        (Helium, 60.0, 20.0, 5540.3),
    ];
    let area_m2 = PI / 4.0 * 0.002_f64.powi(2);
    for (gas, bar, celsius, flux) in rows {
        let got = flow(gas, 2.0, bar, celsius) / 3600.0 / area_m2;
        assert_within(got, flux, 0.003);
    }
}

/// The heat-capacity ratio at the stagnation temperature takes the perfect-gas formula to 0.3 %
/// of the real gas when hot, and leaves it 1.1 and 2.2 % low in cold nitrogen.
#[test]
fn the_perfect_gas_is_good_when_hot_and_low_when_cold() {
    let perfect = |bar, celsius| {
        Nozzle::new(2.0, 1.0)
            .and_then(|n| {
                n.perfect_flow_kg_per_h(Gas::Nitrogen, Bar::new(bar)?, Celsius::new(celsius)?)
            })
            .expect("within bounds")
            .get()
    };
    for (bar, celsius) in [(30.0, 300.0), (50.0, 500.0), (50.0, 800.0), (60.0, 1000.0)] {
        assert_within(
            perfect(bar, celsius),
            flow(Gas::Nitrogen, 2.0, bar, celsius),
            0.003,
        );
    }
    let off = |bar| perfect(bar, 20.0) / flow(Gas::Nitrogen, 2.0, bar, 20.0) - 1.0;
    assert!((off(30.0) + 0.0113).abs() < 0.001);
    assert!((off(60.0) + 0.0220).abs() < 0.001);
}

/// 79.97 kg/h of nitrogen are 64.0 m3/h at 0 C and 1.01325 bar (1.2504 kg/m3); 32.33 kg/h of
/// helium 181 m3/h (0.17848 kg/m3).
#[test]
fn mass_flow_is_given_as_normal_volume_too() {
    let normal = |gas, kg_per_h| {
        let flow = KgPerHour::new(kg_per_h).expect("flow");
        flow.normal_m3_per_h(gas).expect("density").get()
    };
    assert_within(normal(Gas::Nitrogen, 79.97), 79.97 / 1.2504, 0.001);
    assert_within(normal(Gas::Helium, 32.33), 32.33 / 0.178_48, 0.001);
}

#[test]
fn a_smaller_discharge_coefficient_passes_less_in_proportion() {
    let nozzle = Nozzle::new(2.0, 0.97).expect("nozzle");
    let got = nozzle
        .flow_kg_per_h(
            Gas::Air,
            Bar::new(30.0).expect("bar"),
            Celsius::new(500.0).expect("c"),
        )
        .expect("flow");
    assert_within(got.get(), 0.97 * flow(Gas::Air, 2.0, 30.0, 500.0), 1e-12);
}

#[test]
fn a_pressure_that_may_not_choke_the_throat_is_refused() {
    let error = Nozzle::new(2.0, 1.0)
        .and_then(|n| n.flow_kg_per_h(Gas::Helium, Bar::new(2.0)?, Celsius::new(20.0)?))
        .expect_err("not choked everywhere");
    assert_eq!(
        error.to_string(),
        "nozzle pressure is 2 bar absolute; allowed is 3 to 100 bar absolute; \
         check the value and its unit"
    );
}

fn any_gas() -> impl Strategy<Value = Gas> {
    prop::sample::select(Gas::ALL)
}

proptest! {
    /// Within what is allowed there is always an answer; the bounds of the perfect gas with the
    /// heat-capacity ratio at stagnation hold it to 15 % even in the coldest, densest argon.
    #[test]
    fn there_is_a_flow_for_every_state_allowed(
        gas in any_gas(), bar in 3.0..=100.0, celsius in -30.0..=1200.0,
    ) {
        let perfect = Nozzle::new(2.0, 1.0)
            .and_then(|n| n.perfect_flow_kg_per_h(gas, Bar::new(bar)?, Celsius::new(celsius)?))
            .expect("within bounds")
            .get();
        let off = flow(gas, 2.0, bar, celsius) / perfect - 1.0;
        prop_assert!(off.abs() < 0.15, "{off}");
    }

    /// Flow goes nearly with pressure and with one over the root of temperature (3 % in hot gas,
    /// where heat capacity and compressibility move a little), and exactly with bore squared.
    #[test]
    fn flow_scales_as_a_choked_throat_does(
        gas in any_gas(), bar in 10.0..=35.0, celsius in 300.0..=450.0, throat in 1.0..=4.0,
    ) {
        let base = flow(gas, throat, bar, celsius);
        let hotter = 2.0 * (celsius + 273.15) - 273.15;
        prop_assert!((flow(gas, throat, 2.0 * bar, celsius) / base / 2.0 - 1.0).abs() < 0.03);
        prop_assert!((flow(gas, throat, bar, hotter) / base * 2.0_f64.sqrt() - 1.0).abs() < 0.03);
        prop_assert!((flow(gas, 2.0 * throat, bar, celsius) / base - 4.0).abs() < 1e-9);
    }

    /// Hotter gas always uses less, more pressure always more.
    #[test]
    fn heat_saves_gas_and_pressure_costs_it(
        gas in any_gas(), bar in 3.0..=90.0, celsius in -30.0..=1100.0,
    ) {
        prop_assert!(flow(gas, 2.0, bar, celsius + 50.0) < flow(gas, 2.0, bar, celsius));
        prop_assert!(flow(gas, 2.0, bar + 5.0, celsius) > flow(gas, 2.0, bar, celsius));
    }

    /// Whatever is typed, the answer is a flow or a refusal.
    #[test]
    fn nothing_typed_brings_it_down(
        throat in any::<f64>(), discharge in any::<f64>(), bar in any::<f64>(), c in any::<f64>(),
    ) {
        let given = Nozzle::new(throat, discharge)
            .and_then(|n| n.flow_kg_per_h(Gas::Nitrogen, Bar::new(bar)?, Celsius::new(c)?));
        if let Ok(flow) = given {
            prop_assert!(flow.get().is_finite());
        }
    }
}
