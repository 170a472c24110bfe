//! The pieces together: what bank, nozzle and heater say of one run.

use super::*;

fn bar(value: f64) -> Bar {
    Bar::new(value).expect("pressure")
}

fn celsius(value: f64) -> Celsius {
    Celsius::new(value).expect("temperature")
}

/// Seconds in which a vessel empties through a throat while its walls keep it warm: its content in
/// small steps over the flow at each step's middle.
fn blow_down_s(gas: Gas, litres: f64, throat_mm: f64, from: f64, to: f64) -> f64 {
    const STEPS: u32 = 400;
    let nozzle = Nozzle::new(throat_mm, 1.0).expect("nozzle");
    let warm = celsius(20.0);
    let at = |step: u32| from + (to - from) * f64::from(step) / f64::from(STEPS);
    let kg = |pressure| density(gas, bar(pressure), warm).expect("density").get() * litres / 1000.0;
    (0..STEPS)
        .map(|step| {
            let (high, low) = (at(step), at(step + 1));
            let middle = bar(f64::midpoint(high, low));
            let flow = nozzle.flow_kg_per_h(gas, middle, warm).expect("flow");
            (kg(high) - kg(low)) / flow.get() * 3600.0
        })
        .sum()
}

/// An ideal gas that stays warm empties a vessel through a choked throat in V / (A C sqrt(R T)) x
/// ln(p1 / p2), a textbook formula (any compressible-flow text; from memory). Nitrogen, 2 mm, 20 C,
/// C = 0.684731, R = 296.8: V / (A C sqrt(R T)) = 1 / (3.1416e-6 x 0.684731 x 294.97) = 1576.0 s for 1 m3,
/// so 60 to 40 bar takes 639.0 s, 10 to 4 bar 1444.1 s. The real gas flows up to 2.2 % more at 60 bar and 20 C
/// (see the throat's tests) and is nearly ideal at 10 bar.
#[test]
fn a_vessel_empties_in_the_time_that_the_textbook_formula_gives() {
    for (from, to, textbook_s, tolerance) in [(60.0, 40.0, 639.0, 0.03), (10.0, 4.0, 1444.1, 0.01)]
    {
        let got = blow_down_s(Gas::Nitrogen, 1000.0, 2.0, from, to);
        let off = got / textbook_s - 1.0;
        assert!(off.abs() < tolerance, "{from} to {to} bar: {got:.1} s");
    }
}

/// A nozzle that a receiver feeds without a compressor: 1 m3 from 10 to 7 bar at 5 m3/min (0 C, 1.01325
/// bar) lasts, ideal at 0 C, 1 x (10 - 7) / (1.01325 x 5 / 60) = 35.5 s; real air is denser between them by
/// 0.9 %.
#[test]
fn a_receiver_lasts_as_long_as_its_pressure_difference() {
    let cold = celsius(0.0);
    let of = |pressure| {
        density(Gas::Air, bar(pressure), cold)
            .expect("density")
            .get()
    };
    let per_s = 5.0 / 60.0 * of(1.013_25);
    let seconds = (of(10.0) - of(7.0)) / per_s;
    assert!((seconds / 35.5 - 1.009).abs() < 0.003, "{seconds}");
}

/// Common practice, no source: a mobile head runs near 30 bar and 500 C, from a supply near 35 bar, about
/// 500 psi (35 bar are 35e5 / 6894.757 = 507.6 psi). At a throat of 2 mm that is some 48 kg/h of nitrogen
/// and 7 kW into the gas: a bundle of twelve 50 l bottles at 200 bar lasts for about two hours.
#[test]
fn the_usual_settings_of_the_trade_come_out_as_a_crew_knows_them() {
    let (head, supply, hot) = (bar(30.0), bar(35.0), celsius(500.0));
    let psi = supply.get() * 1e5 / 6894.757;
    assert!((psi - 500.0).abs() < 10.0, "{psi}");
    let flow = Nozzle::new(2.0, 1.0)
        .expect("nozzle")
        .flow_kg_per_h(Gas::Nitrogen, head, hot)
        .expect("flow");
    assert!((45.0..52.0).contains(&flow.get()), "{flow:?}");
    let heat = heat_kw(Gas::Nitrogen, head, celsius(20.0), hot, flow).expect("heat");
    assert!((6.5..7.5).contains(&heat.get()), "{heat:?}");
    let bundle = Bank::new(Gas::Nitrogen, 600.0, bar(201.0), celsius(20.0)).expect("bank");
    let minutes = flow.minutes_of(bundle.usable_grams(supply).expect("usable"));
    assert!((100..150).contains(&minutes), "{minutes} min");
}

/// Common practice, no source: a recipe's floor is its nozzle pressure and the drop on the way; one at 50
/// bar leaves a bank that one at 30 bar can still use.
#[test]
fn what_a_high_recipe_leaves_still_serves_a_low_one() {
    let bundle = Bank::new(Gas::Nitrogen, 600.0, bar(201.0), celsius(20.0)).expect("bank");
    let high = bundle.usable_grams(bar(55.0)).expect("usable");
    let rest = bundle.after_drawing(high).expect("rest");
    assert_eq!(rest.usable_grams(bar(55.5)), Ok(0));
    assert!(rest.usable_grams(bar(35.0)).expect("usable") > 10_000);
}

/// ISO 2533:1975: dry air weighs 28.964 420 g/mol; tolerance 0.001.
#[test]
fn dry_air_weighs_what_the_standard_says() {
    assert!((Gas::Air.molar_mass() - 28.964_42).abs() < 0.001);
}
