//! Which parts this cell can make, whether anybody asks for them or not.

use super::draft::{approval_gate, operations, usable_revision};
use super::gate::Shut;
use super::part_gates::{refusal_gates, size_gates};
use crate::catalogue::{Part, Recipe};
use crate::situation::Situation;

/// The recipes of a part, each in its approved revision; where there is none, in its newest.
#[must_use]
pub fn recipes_of<'a>(situation: &'a Situation, part: &Part) -> Vec<&'a Recipe> {
    let of_part = situation.recipes.iter().filter(|r| r.part == part.code);
    let mut codes: Vec<_> = of_part.map(|r| &r.code).collect();
    codes.dedup();
    let revisions = codes.into_iter();
    revisions
        .filter_map(|code| usable_revision(situation, code))
        .collect()
}

/// Why a part cannot be made here by this recipe, whatever stock there is; empty if it can.
///
/// A yes that is asked for each build is no reason: the request waits for it.
#[must_use]
pub fn shut_here(situation: &Situation, part: &Part, recipe: &Recipe) -> Vec<Shut> {
    let mut shut = refusal_gates(situation, part);
    shut.extend(size_gates(situation, part, None));
    shut.extend(approval_gate(recipe));
    shut.extend(operations(situation, recipe, 0).err());
    shut
}
