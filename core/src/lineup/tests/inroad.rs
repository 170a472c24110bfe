//! What work begun by hand takes of what is kept back for other machines.

use super::keep_back::{held_for_crane, keep_back, spray_on_nitrogen, steel};
use super::site::code;
use crate::lineup::{Inroad, inroads, stage_need, taken_by};
use crate::situation::{Held, Situation};

/// By the first recipe, from its beginning, for pump 1.
fn of_pump(situation: &Situation) -> Vec<Inroad<'_>> {
    inroads(situation, &code("pump-1"), &situation.recipes[0], 0)
}

/// Of 9 000 g pump 1 takes 5 200 and leaves 3 800: so many may be held for the crane, and with one gram more it
/// is said what is left of what is held. For the crane itself nothing is, nor once all is sprayed.
#[test]
fn work_that_leaves_less_than_is_held_for_others_is_told() {
    assert_eq!(of_pump(&held_for_crane(3_800)), []);
    let situation = held_for_crane(3_801);
    let told = of_pump(&situation);
    assert_eq!(told.len(), 1);
    assert_eq!(told[0].held, steel());
    assert_eq!((told[0].takes_g, told[0].left_g), (5_200, 3_800));
    assert_eq!(told[0].held_g(), 3_801);
    let recipe = &situation.recipes[0];
    assert_eq!(inroads(&situation, &code("crane"), recipe, 0), []);
    let sprayed = recipe.operations.len();
    assert_eq!(inroads(&situation, &code("pump-1"), recipe, sprayed), []);
}

/// All that the bank holds for the crane, whose recipes are none so that no pressure is asked for, is less by what
/// the pump takes.
#[test]
fn gas_of_a_bank_is_told_as_powder_is() {
    let mut situation = held_for_crane(0);
    spray_on_nitrogen(&mut situation);
    let bank = situation.banks[0].clone();
    let all_g = crate::lineup::bank(&bank).expect("a bank").content_grams();
    let gas = Held::Gas(bank.code);
    situation.keep_backs = vec![keep_back(1, gas.clone(), all_g, &["crane"])];
    let spray = situation.recipes[0].sprays().next().expect("a stage");
    let need = stage_need(&situation, spray).expect("a figure").gas_g;
    let told = of_pump(&situation);
    assert_eq!(told.len(), 1);
    assert_eq!((&told[0].held, told[0].takes_g), (&gas, need));
    assert!(told[0].left_g <= all_g - need, "{}", told[0].left_g);
}

/// The pump's recipe takes steel; the crane has no recipe.
#[test]
fn what_the_recipes_of_a_machine_take_is_told() {
    let situation = held_for_crane(1_000);
    let pump = taken_by(&situation, &[code("pump-1")].into());
    assert!(pump.contains(&steel()));
    assert!(taken_by(&situation, &[code("crane")].into()).is_empty());
}
