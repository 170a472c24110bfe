//! Gates of the broken part itself: what it does, how large it is, what it is made of.

use super::gate::{Gate, Opens, Shut};
use crate::catalogue::{Flag, Part, Recipe};
use crate::situation::{BaseMetal, Request, Situation};

/// Not made here because of what it does, or because nobody has said what it does.
pub(super) fn refusal_gates(situation: &Situation, part: &Part) -> Vec<Shut> {
    let refused = situation.rules.authority(&part.flags).refused;
    let mut shut: Vec<Shut> = Vec::new();
    for (flag, whose) in refused {
        if flag == Flag::Unknown {
            shut.push(Shut::new(Gate::UseUnknown, Opens::SayUse));
            continue;
        }
        for who in whose {
            let gate = Gate::Refused { flag, who };
            shut.push(Shut::new(gate, Opens::Shut { who }));
        }
    }
    shut
}

/// The part is on hold: nothing more is done to it before somebody has judged it.
pub(super) fn hold_gates(request: &Request) -> Vec<Shut> {
    let held = request.on_hold.iter().map(|held| {
        let (number, what) = (held.number, held.what.clone());
        Shut::new(Gate::OnHold { number, what }, Opens::Judge { number })
    });
    held.collect()
}

/// Too large for the booth, or too heavy for what turns it there: by the catalogue, or as weighed if
/// that is more.
pub(super) fn size_gates(situation: &Situation, part: &Part, weighed_g: Option<i64>) -> Vec<Shut> {
    let mut shut = Vec::new();
    let cell = &situation.cell;
    if !part.fits(cell.booth_mm) {
        let gate = Gate::TooLarge {
            part_mm: part.envelope_mm,
            booth_mm: cell.booth_mm,
        };
        shut.push(Shut::new(gate, Opens::TruePart));
    }
    let mass_g = weighed_g.unwrap_or(0).max(part.mass_g);
    if mass_g > cell.max_part_g {
        let gate = Gate::TooHeavy {
            part_g: mass_g,
            most_g: cell.max_part_g,
        };
        shut.push(Shut::new(gate, Opens::TruePart));
    }
    shut
}

/// The recipe asks for certain metals, and the part is of another one, or of one that nobody knows.
///
/// Common practice, no source: an uncertain base metal is a hold.
pub(super) fn base_metal_gate(request: &Request, recipe: &Recipe) -> Option<Shut> {
    if recipe.base_metals.is_empty() {
        return None;
    }
    match &request.base_metal {
        Some(BaseMetal { metal, known: true }) if recipe.base_metals.contains(metal) => None,
        Some(BaseMetal { metal, known: true }) => Some(Shut::new(
            Gate::OtherMetal {
                metal: metal.clone(),
                holds_on: recipe.base_metals.iter().cloned().collect(),
            },
            Opens::RecipeFor {
                metal: metal.clone(),
            },
        )),
        assumed => Some(Shut::new(
            Gate::BaseMetalUnknown {
                assumed: assumed.as_ref().map(|m| m.metal.clone()),
            },
            Opens::FindMetal,
        )),
    }
}
