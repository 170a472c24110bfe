use super::site::{part, recipe, site};
use crate::catalogue::{Flag, Part, RecipeState};
use crate::lineup::{Gate, recipes_of, shut_here};
use crate::situation::Situation;

fn gates(situation: &Situation, part: &Part) -> Vec<Gate> {
    let recipe = recipes_of(situation, part)[0];
    let shut = shut_here(situation, part, recipe);
    shut.into_iter().map(|s| s.gate).collect()
}

#[test]
fn a_part_with_an_approved_recipe_can_be_made() {
    let situation = site();
    assert_eq!(gates(&situation, &situation.parts[0]), []);
}

/// A revision in work does not take the place of the approved one.
#[test]
fn of_each_recipe_the_approved_revision_counts() {
    let mut situation = site();
    let mut next = recipe("P-1-316L", "P-1", 3_000);
    next.revision = 2;
    next.state = RecipeState::Draft;
    situation.recipes.push(next);
    let of_part = recipes_of(&situation, &situation.parts[0]);
    let revisions: Vec<i64> = of_part.iter().map(|r| r.revision).collect();
    assert_eq!(revisions, [1]);
}

#[test]
fn every_reason_is_told() {
    let mut situation = site();
    situation.recipes[0].state = RecipeState::Proposed;
    let stage = situation.recipes[0].operations[0].spray.as_mut();
    stage.expect("a stage").temperature_c = 1000;
    let mut pump = part("P-1", &[Flag::HoldsPressure]);
    pump.envelope_mm = [1001, 10, 10];
    pump.mass_g = 60_001;
    let told = gates(&situation, &pump);
    assert!(
        matches!(
            told[..],
            [
                Gate::Refused { .. },
                Gate::TooLarge { .. },
                Gate::TooHeavy { .. },
                Gate::NotApproved { .. },
                Gate::BeyondCell { .. }
            ]
        ),
        "{told:?}"
    );
}

/// A yes that each build needs is given with its request.
#[test]
fn a_yes_to_ask_for_does_not_shut_the_catalogue() {
    let situation = site();
    assert_eq!(gates(&situation, &part("P-1", &[Flag::CanInjure])), []);
}
