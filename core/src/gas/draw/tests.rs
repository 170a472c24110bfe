use proptest::prelude::*;

use super::*;
use crate::gas::Bank;

fn bar(value: f64) -> Bar {
    Bar::new(value).expect("pressure")
}

fn bank(gas: Gas, litres: f64, pressure: f64) -> Bank {
    let warm = Celsius::new(20.0).expect("temperature");
    Bank::new(gas, litres, bar(pressure), warm).expect("bank")
}

fn pace(value: f64) -> Pace {
    Pace::new(value).expect("pace")
}

/// One bottle of 50 l nitrogen at 20 C from 200 to 60 bar: 7.459 kg slowly and 5.462 kg fast, by
/// the reference equations in `CoolProp`. Half the cooling kept lies between.
#[test]
fn the_plan_lies_between_a_slow_and_a_fast_draw() {
    let bottle = bank(Gas::Nitrogen, 50.0, 200.0);
    let at = |share| {
        bottle
            .usable_grams_at(pace(share), bar(60.0))
            .expect("usable")
    };
    assert!((at(0.0) - 7459).abs() <= 8, "{}", at(0.0));
    assert!((at(1.0) - 5462).abs() <= 8, "{}", at(1.0));
    assert!(at(1.0) < at(0.5) && at(0.5) < at(0.0), "{}", at(0.5));
    let fast = bottle.usable_fast_grams(bar(60.0)).expect("fast");
    assert!((at(1.0) - fast).abs() <= 1, "{} and {fast}", at(1.0));
}

/// What a draw must leave is what stays if all that is usable is drawn: the two are one question
/// asked from either end.
#[test]
fn floor_and_usable_are_the_same_question() {
    for gas in Gas::ALL {
        for share in [0.0, 0.5, 1.0] {
            let bank = bank(*gas, 600.0, 180.0);
            let drawn = bank
                .usable_grams_at(pace(share), bar(50.0))
                .expect("usable");
            let left = bank.content_grams() - drawn;
            let floor = bank
                .floor_grams(drawn, pace(share), bar(50.0))
                .expect("floor");
            assert!(
                (floor - left).abs() <= 3,
                "{gas} {share}: {floor}, not {left}"
            );
        }
    }
}

/// A small draw cools next to nothing, so it may end at the floor of a slow one; a large one not.
#[test]
fn a_larger_draw_must_leave_more() {
    let bank = bank(Gas::Nitrogen, 600.0, 200.0);
    let floor = |drawn| {
        bank.floor_grams(drawn, Pace::FAST, bar(60.0))
            .expect("floor")
    };
    let slow = bank.content_grams_at(bar(60.0)).expect("slow");
    assert!((floor(0) - slow).abs() <= 1);
    assert!(floor(10_000) > slow && floor(40_000) > floor(10_000));
}

#[test]
fn absurd_figures_are_refused() {
    assert!(Pace::new(1.1).is_err() && Pace::new(f64::NAN).is_err());
    let bottle = bank(Gas::Nitrogen, 50.0, 200.0);
    assert_eq!(
        bottle
            .floor_grams(1_000_000, Pace::SLOW, bar(60.0))
            .expect_err("a tonne")
            .to_string(),
        "1000000 g is more than the 18407 g that the bank holds; draw no more than that"
    );
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(60))]

    /// Whatever gas, weather and floor: never more than slowly, never less than fast, and more cooling
    /// never yields more.
    #[test]
    fn a_faster_draw_never_yields_more(
        gas in prop::sample::select(Gas::ALL), celsius in -40.0..=60.0,
        pressure in 20.0..=350.0, floor in 5.0..=300.0, share in 0.0..=1.0, faster in 0.0..=0.5,
    ) {
        let warm = Celsius::new(celsius).expect("temperature");
        let bank = Bank::new(gas, 600.0, bar(pressure), warm).expect("bank");
        let at = |share: f64| bank.usable_grams_at(pace(share.min(1.0)), bar(floor)).expect("usable");
        let slow = bank.usable_grams(bar(floor)).expect("slow");
        prop_assert!(at(share) <= slow + 1);
        prop_assert!(at(share + faster) <= at(share) + 1);
        if let Ok(fast) = bank.usable_fast_grams(bar(floor)) {
            prop_assert!(at(share) >= fast - 2, "{} below {fast}", at(share));
        }
    }

    /// Drawing bank after bank down to the floor gives at least what the same banks give after they
    /// were joined: opening them together lets high pressure sink below the floor unused.
    #[test]
    fn one_bank_after_another_is_never_worse_than_joining_them(
        gas in prop::sample::select(Gas::ALL), first in 5.0..=300.0, second in 5.0..=300.0,
        litres in 50.0..=1000.0, floor in 20.0..=200.0,
    ) {
        let (a, b) = (bank(gas, litres, first), bank(gas, 600.0, second));
        let usable = |bank: &Bank| bank.usable_grams(bar(floor)).expect("usable");
        let held = a.content_grams() + b.content_grams();
        // Joined: the mass of both in the volume of both.
        let volume = litres + 600.0;
        let floor_g = bank(gas, volume, 100.0).content_grams_at(bar(floor)).expect("floor");
        let joined = (held - floor_g).max(0);
        prop_assert!(usable(&a) + usable(&b) + 3 >= joined);
    }
}
