//! The lists that an operation's form chooses from.

use mendpost_core::catalogue::{OperationKind, Recipe};
use mendpost_core::gas::Gas;
use mendpost_core::situation::{KitKind, Situation};

use super::form::{NOWHERE, OUT};
use crate::words::recipe::kind;
use crate::words::work::sentence;

pub type Choices = Vec<(String, String)>;

/// Everything that the form offers.
pub struct Lists {
    pub kinds: Choices,
    pub stations: Choices,
    pub powders: Choices,
    pub gases: Choices,
    pub plates: Choices,
    pub fixtures: Choices,
    /// Operations at whose end a fixture may be free.
    pub ends: Choices,
}

impl Lists {
    /// For the operation at this place of the recipe, from 1.
    pub fn new(situation: &Situation, recipe: &Recipe, place: usize, is_new: bool) -> Lists {
        let steps = OperationKind::ALL.iter().copied();
        let steps = steps.filter(|kind| *kind != OperationKind::Spray);
        let mut stations: Choices = vec![
            (NOWHERE.to_owned(), "no station".to_owned()),
            (OUT.to_owned(), "sent out".to_owned()),
        ];
        stations.extend(
            situation
                .stations
                .iter()
                .map(|s| (s.code.to_string(), s.name.clone())),
        );
        Lists {
            kinds: steps.map(|k| (k.to_string(), sentence(kind(k)))).collect(),
            stations,
            powders: situation
                .powders
                .iter()
                .map(|p| (p.code.to_string(), format!("{}, {}", p.name, p.code)))
                .collect(),
            gases: Gas::ALL
                .iter()
                .map(|gas| (gas.to_string(), gas.to_string()))
                .collect(),
            plates: kit(situation, KitKind::Plate),
            fixtures: kit(situation, KitKind::Fixture),
            ends: ends(recipe, place, is_new),
        }
    }
}

fn kit(situation: &Situation, kind: KitKind) -> Choices {
    let kit = situation.kit.iter().filter(|kit| kit.kind == kind);
    kit.map(|kit| {
        let here = format!("{}, {} here", kit.name, kit.count);
        (kit.code.to_string(), here)
    })
    .collect()
}

/// This operation and those after it. One that is added pushes the later ones back by one.
fn ends(recipe: &Recipe, place: usize, is_new: bool) -> Choices {
    let mut ends = vec![(place.to_string(), format!("{place} this one"))];
    let later = recipe.operations.iter().enumerate();
    let later = later.skip(if is_new { place - 1 } else { place });
    ends.extend(later.map(|(index, operation)| {
        let number = index + if is_new { 2 } else { 1 };
        (number.to_string(), format!("{number} {}", operation.name))
    }));
    ends
}
