//! What may be made here: parts with their flags, and recipes by numbered revision.

mod answer;
mod authority;
mod complete;
mod difference;
mod order;
mod pace;
mod recipe;
mod revision;
mod weighed;

pub use answer::{Answer, Came, Holds, NoYes, Question, Said, answered, is_same_person};
pub use authority::{About, Authority, BuildRule, Flag, FlagRule, Rules, Who};
pub use complete::RecipeFault;
#[cfg(test)]
pub(crate) use complete::tests::recipe as recipe_of;
pub use difference::{Changed, Field, Place, Value, difference, operation_difference};
pub use order::Way;
pub use pace::{LEAST_PERMILLE, MOST_PERMILLE, Pace, RECIPE_COUNTS_AS, Timed};
pub use recipe::{
    Held, Motion, Operation, OperationKind, Recipe, RecipeState, RecipeText, Skill, Spray, Volume,
};
pub use revision::{ByAuthor, NoStep, Step, may, may_approve, may_edit, may_revise};
pub use weighed::WeighedBuild;

use crate::code::{AssetCode, MetalCode, PartCode};
use std::collections::BTreeSet;

/// Length, width and height in millimetres.
pub type Envelope = [i64; 3];

/// A metal that parts are made of.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Metal {
    /// Its code.
    pub code: MetalCode,
    /// Its name.
    pub name: String,
}

/// A catalogue entry: one replacement part.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Part {
    /// Its number.
    pub code: PartCode,
    /// Its name, without the machine's.
    pub name: String,
    /// What it measures as sprayed, in millimetres.
    pub envelope_mm: Envelope,
    /// What it weighs finished, in grams.
    pub mass_g: i64,
    /// What it is used for that someone may have to answer for.
    pub flags: BTreeSet<Flag>,
    /// Which machines it fits; empty: nobody said.
    pub assets: BTreeSet<AssetCode>,
    /// What is sprayed beyond the finished size to be cut away, in micrometres.
    pub allowance_um: i64,
    /// No longer offered; what stands on record of it stays.
    pub retired: bool,
}

impl Part {
    /// Whether the part, turned in any way along the axes, goes into a space of this size.
    ///
    /// Sorting both triples compares longest with longest: of the six ways to turn a box, that one
    /// fits if any does.
    #[must_use]
    pub fn fits(&self, space_mm: Envelope) -> bool {
        let (mut part, mut space) = (self.envelope_mm, space_mm);
        part.sort_unstable();
        space.sort_unstable();
        part.iter().zip(space).all(|(p, s)| *p <= s)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A part that is too long for the booth one way may lie the other way.
    #[test]
    fn a_part_may_be_turned_to_fit() {
        let mut part = Part {
            code: "P-1".parse().expect("a code"),
            name: "shaft sleeve".to_owned(),
            envelope_mm: [900, 200, 200],
            mass_g: 4000,
            flags: BTreeSet::new(),
            assets: BTreeSet::new(),
            allowance_um: 0,
            retired: false,
        };
        assert!(part.fits([400, 400, 1000]));
        part.envelope_mm = [900, 410, 200];
        assert!(!part.fits([400, 400, 1000])); // 410 mm in second place, 400 mm there
    }
}
