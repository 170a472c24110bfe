//! The order of a recipe's operations while it is written: a fixture that is held stays held by the
//! same operations, wherever they move.

use super::{Operation, Recipe};
use crate::word_enum;

word_enum! {
    /// Which way an operation moves by one place.
    Way {
        /// Sooner.
        Up = "up",
        /// Later.
        Down = "down",
    }
}

impl Recipe {
    /// Puts an operation at a place, from 1; those from there on come after it. Beyond the last it
    /// becomes the last.
    pub fn insert(&mut self, place: usize, operation: Operation) {
        let place = place.clamp(1, self.operations.len() + 1);
        self.remap(|old| if old >= place { old + 1 } else { old });
        self.operations.insert(place - 1, operation);
    }

    /// Takes out the operation at a place, from 1. What was held until its end is held until the end
    /// of the one before, or only by its own operation if that comes first.
    pub fn remove(&mut self, place: usize) -> Option<Operation> {
        if place < 1 || place > self.operations.len() {
            return None;
        }
        let taken = self.operations.remove(place - 1);
        self.remap(|old| if old >= place { old - 1 } else { old });
        self.hold_at_least_by_itself();
        Some(taken)
    }

    /// Moves the operation at a place, from 1, by one; its new place, or none if there is no further.
    ///
    /// A fixture held until the one that now comes before its own is held by its own alone.
    pub fn shift(&mut self, place: usize, way: Way) -> Option<usize> {
        let other = match way {
            Way::Up => place.checked_sub(1)?,
            Way::Down => place + 1,
        };
        if place < 1 || other < 1 || place.max(other) > self.operations.len() {
            return None;
        }
        self.operations.swap(place - 1, other - 1);
        self.remap(|old| match old {
            old if old == place => other,
            old if old == other => place,
            old => old,
        });
        self.hold_at_least_by_itself();
        Some(other)
    }

    fn remap(&mut self, to: impl Fn(usize) -> usize) {
        for operation in &mut self.operations {
            if let Some(held) = &mut operation.fixture {
                held.through = to(held.through);
            }
        }
    }

    fn hold_at_least_by_itself(&mut self) {
        for (place, operation) in (1..).zip(&mut self.operations) {
            if let Some(held) = &mut operation.fixture {
                held.through = held.through.max(place);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use crate::catalogue::complete::tests::recipe;
    use crate::catalogue::{Held, Operation, OperationKind, Recipe, Way};
    use OperationKind::{Blast, Carry, Cut, FirstRun, Fit, Measure, Release, Spray};

    /// Spray, cut, measure, release, carry, fit, first run; what holds the part while it is sprayed
    /// holds it until it is cut.
    fn held() -> Recipe {
        let mut recipe = recipe(&[Spray, Cut, Measure, Release, Carry, Fit, FirstRun]);
        recipe.operations[0].fixture = Some(Held {
            fixture: "F-1".parse().expect("a code"),
            through: 2,
        });
        recipe
    }

    /// Which operation ends the hold of the stage.
    fn ends(recipe: &Recipe) -> OperationKind {
        let mut held = recipe.operations.iter().filter_map(|o| o.fixture.as_ref());
        recipe.operations[held.next().expect("held").through - 1].kind
    }

    #[test]
    fn a_fixture_is_held_by_the_same_operations_after_one_is_added_or_moved() {
        let mut recipe = held();
        recipe.insert(1, Operation::step(Blast, "blast", 30));
        assert_eq!(recipe.operations[1].kind, Spray);
        assert_eq!(ends(&recipe), Cut);
        recipe.insert(3, Operation::step(Measure, "look", 10));
        assert_eq!(ends(&recipe), Cut);
        assert_eq!(recipe.shift(4, Way::Down), Some(5)); // cut after measure
        assert_eq!(ends(&recipe), Cut);
        assert_eq!(recipe.remove(1).map(|o| o.kind), Some(Blast));
        assert_eq!(ends(&recipe), Cut);
        recipe.insert(99, Operation::step(Measure, "look again", 10));
        assert_eq!(recipe.operations.last().map(|o| o.kind), Some(Measure));
    }

    /// Without the cut the hold ends with what stands before it: the stage itself.
    #[test]
    fn a_hold_whose_end_is_taken_out_ends_before_it() {
        let mut recipe = held();
        recipe.remove(2);
        assert_eq!(ends(&recipe), Spray);
    }

    #[test]
    fn what_stands_first_or_last_goes_no_further() {
        let mut recipe = held();
        let before = recipe.clone();
        assert_eq!(recipe.shift(1, Way::Up), None);
        assert_eq!(recipe.shift(7, Way::Down), None);
        assert_eq!(recipe.shift(8, Way::Up), None);
        assert_eq!(recipe.remove(0), None);
        assert_eq!(recipe.remove(8), None);
        assert_eq!(recipe, before);
        assert_eq!(recipe.shift(1, Way::Down), Some(2));
        assert_eq!(ends(&recipe), Spray, "its end came before it");
    }
}
