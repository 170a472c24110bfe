use super::site::{at, code, site};
use crate::gas::{Bar, Gas};
use crate::lineup::{GasSource, Gate, Setting, bank, camp_fuel_minutes, endurance};
use crate::situation::{Brings, Delivery, Situation};

const NITROGEN: Setting = Setting {
    gas: Gas::Nitrogen,
    pressure_mbar: 45_000,
    temperature_c: 600,
};

const AIR: Setting = Setting {
    gas: Gas::Air,
    pressure_mbar: 30_000,
    temperature_c: 500,
};

/// The nozzle asks for 45 bar, regulator and hose take 5: the bank serves down to 50 bar.
#[test]
fn a_bank_serves_until_it_is_at_its_floor() {
    let situation = site();
    let left = endurance(&situation, NITROGEN).expect("a figure");
    assert_eq!(left.source, GasSource::Bank(code("A")));
    assert_eq!((left.floor_mbar, left.have_mbar), (50_000, 120_000));
    let minutes = left.minutes.expect("bottles end");
    let full = bank(&situation.banks[0]).expect("a bank");
    let drawn = |minutes: i64| {
        let after = full.after_drawing(left.flow_g_per_h * minutes / 60);
        after.expect("gas left").bar()
    };
    let floor = Bar::new(50.0).expect("a pressure");
    assert!(drawn(minutes) >= floor, "{minutes} min do not pass it");
    assert!(drawn(minutes + 1) < floor, "one more does");
}

#[test]
fn a_bank_below_its_floor_gives_no_minute() {
    let mut situation = site();
    situation.banks[0].pressure_mbar = 49_000;
    let left = endurance(&situation, NITROGEN).expect("a figure");
    assert_eq!((left.usable_g, left.minutes), (Some(0), Some(0)));
}

/// 1 000 g a day over the 7 days of the plan are 7 000 g. With bottles after 2 days that may be used
/// an hour later, 1 000 x 2 940 / 1 440 = 2 041.7 g.
#[test]
fn steady_use_until_the_next_bottles_is_set_aside() {
    let usable = |situation: &Situation| {
        let left = endurance(situation, NITROGEN).expect("a figure");
        (left.aside_g, left.usable_g.expect("bottles"))
    };
    let mut situation = site();
    let (_, all) = usable(&situation);
    situation.banks[0].steady_g_per_day = 1000;
    assert_eq!(usable(&situation), (7000, all - 7000));
    situation.deliveries.push(Delivery {
        code: code("BOAT"),
        name: "boat".to_owned(),
        expected: at(2880),
        latest: None,
        payload_kg: None,
        brings: vec![Brings::Gas {
            bank: code("A"),
            bottles: 4,
            pressure_mbar: 200_000,
        }],
    });
    assert_eq!(usable(&situation), (2042, all - 2042));
}

/// 2 m3/min of free air are some 144 kg/h, more than the nozzle takes: no wait, so 600 minutes of
/// running are 600 minutes of flow. A tenth of that air makes it wait.
#[test]
fn the_compressors_service_ends_the_air() {
    let mut situation = site();
    let left = endurance(&situation, AIR).expect("a figure");
    assert_eq!((left.source, left.minutes), (GasSource::Compressor, None));
    let compressor = situation.compressor.as_mut().expect("a compressor");
    compressor.service_in_min = Some(600);
    let left = endurance(&situation, AIR).expect("a figure");
    assert_eq!(left.minutes, Some(600));
    let small = situation.compressor.as_mut().expect("a compressor");
    small.free_air_l_per_min = 200;
    let waits = endurance(&situation, AIR).expect("a figure");
    assert!(waits.minutes < Some(300), "{:?}", waits.minutes);
    assert!(waits.fuel_minutes < left.fuel_minutes);
}

/// The set idles at 40 x 60 = 2 400 ml/h, the camp takes 5 kW x 270 = 1 350: 2 000 l last
/// 2 000 000 x 60 / 3 750 = 32 000 min. Spraying takes more.
#[test]
fn fuel_lasts_longest_while_nobody_sprays() {
    let situation = site();
    assert_eq!(camp_fuel_minutes(&situation), Some(32_000));
    let left = endurance(&situation, AIR).expect("a figure");
    assert!(left.fuel_ml_per_h > 3750);
    let all = left.fuel_ml_per_h * left.fuel_minutes / 60;
    assert!(all <= 2_000_000 && all + left.fuel_ml_per_h > 2_000_000);
}

#[test]
fn a_setting_that_the_cell_cannot_give_meets_its_gate() {
    let beyond = Setting {
        temperature_c: 901,
        ..NITROGEN
    };
    let shut = endurance(&site(), beyond).expect_err("the heater ends at 900 C");
    assert!(matches!(shut.gate, Gate::BeyondCell { .. }));
    let argon = Setting {
        gas: Gas::Argon,
        ..NITROGEN
    };
    let shut = endurance(&site(), argon).expect_err("no argon here");
    assert!(matches!(shut.gate, Gate::NoGas { .. }));
}
