//! Where an operation of a draft is, after others were added, moved and taken out: by the journal, which
//! says each of these, so that no operation is taken for another.

use mendpost_core::journal::Subject;
use serde_json::Value;
use sqlx::SqliteExecutor;

use crate::journal;

/// Where the operation of a form is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Spot {
    /// It stands at this place, from 1.
    At(usize),
    /// It is to be added after so many.
    After(usize),
}

impl Spot {
    /// Its place, from 1, once it is added.
    pub const fn place(self) -> usize {
        match self {
            Spot::At(place) => place,
            Spot::After(after) => after + 1,
        }
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Move {
    Added(usize),
    Removed(usize),
    /// From one place to the next or the one before, which changes places with it.
    Swapped(usize, usize),
}

impl Move {
    fn told(kind: &str, content: &Value) -> Option<Move> {
        let place = |key| usize::try_from(content[key].as_u64()?).ok();
        let position = place("position")?;
        match kind {
            "recipe.operation-added" => Some(Move::Added(position)),
            "recipe.operation-removed" => Some(Move::Removed(position)),
            "recipe.operation-moved" => Some(Move::Swapped(place("from")?, position)),
            _ => None,
        }
    }

    const fn follow(self, spot: Spot) -> Spot {
        match (self, spot) {
            (Move::Added(new), Spot::At(place)) if place >= new => Spot::At(place + 1),
            (Move::Added(new), Spot::After(after)) if after >= new => Spot::After(after + 1),
            (Move::Removed(gone), Spot::At(place)) if place == gone => Spot::After(gone - 1),
            (Move::Removed(gone), Spot::At(place)) if place > gone => Spot::At(place - 1),
            (Move::Removed(gone), Spot::After(after)) if after >= gone => Spot::After(after - 1),
            (Move::Swapped(from, to), Spot::At(place)) if place == from => Spot::At(to),
            (Move::Swapped(from, to), Spot::At(place)) if place == to => Spot::At(from),
            _ => spot,
        }
    }
}

/// What was added, moved and taken out, in order.
pub struct Moves(Vec<Move>);

impl Moves {
    /// What became of a draft after one version of it, until another.
    pub async fn between(
        executor: impl SqliteExecutor<'_>,
        draft: &Subject,
        (opened, now): (i64, i64),
    ) -> Result<Moves, sqlx::Error> {
        if opened >= now {
            return Ok(Moves(Vec::new()));
        }
        let told = journal::of(executor, draft, None, i64::MAX).await?;
        let since = told.iter().rev().filter(|entry| {
            let version = entry.content["version"].as_i64();
            version.is_some_and(|version| version > opened && version <= now)
        });
        let moves = since.filter_map(|entry| Move::told(&entry.kind, &entry.content));
        Ok(Moves(moves.collect()))
    }

    pub fn follow(&self, spot: Spot) -> Spot {
        self.0.iter().fold(spot, |spot, step| step.follow(spot))
    }

    /// Until whose end the operation of a spot holds a fixture, counted by places of then, is by places of
    /// now the same operation; the one before it where it is gone, as a draft itself keeps it.
    pub fn held_through(&self, then: Spot, through: usize) -> usize {
        let now = self.follow(then);
        if through == then.place() {
            return now.place();
        }
        let other = match then {
            Spot::At(_) => through,
            Spot::After(_) => through.saturating_sub(1),
        };
        let other = match self.follow(Spot::At(other)) {
            Spot::At(place) | Spot::After(place) => place,
        };
        match now {
            Spot::At(place) => other.max(place),
            // Added, it pushes those behind it back by one.
            Spot::After(after) => other.max(after) + 1,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::Move::{Added, Removed, Swapped};
    use super::*;

    /// 1 inspect, 2 spray, 3 inspect: the first is taken out, and the third is not taken for it. The stage
    /// is found again before and after a step that comes in before it and one that it changes places with.
    #[test]
    fn an_operation_is_followed_and_none_is_taken_for_it() {
        let first_gone = Moves(vec![Removed(1)]);
        let places = [Spot::At(1), Spot::At(2), Spot::At(3)];
        let now = places.map(|place| first_gone.follow(place));
        assert_eq!(now, [Spot::After(0), Spot::At(1), Spot::At(2)]);

        let moves = Moves(vec![Removed(1), Added(1), Swapped(2, 3)]);
        let now = places.map(|place| moves.follow(place));
        assert_eq!(now, [Spot::After(0), Spot::At(3), Spot::At(2)]);
    }

    /// The stage at 2 holds its fixture until 4 ends: a step more before it makes that 5, and one less
    /// behind it, the end itself, leaves it to the one before.
    #[test]
    fn a_fixture_is_held_until_the_same_operation_ends() {
        let stage = Spot::At(2);
        assert_eq!(Moves(vec![Added(1)]).held_through(stage, 4), 5);
        assert_eq!(Moves(vec![Added(3)]).held_through(stage, 4), 5);
        assert_eq!(Moves(vec![Removed(4)]).held_through(stage, 4), 3);
        assert_eq!(Moves(vec![Swapped(3, 2)]).held_through(stage, 2), 3);
        assert_eq!(
            Moves(vec![Removed(3), Removed(3)]).held_through(stage, 4),
            2
        );
    }

    /// To be added at 2, with those behind it counted from 3; and a stage that was taken out meanwhile, to
    /// be added again.
    #[test]
    fn what_is_to_be_added_pushes_back_those_behind_it() {
        let new = Spot::After(1);
        assert_eq!(Moves(Vec::new()).held_through(new, 2), 2);
        assert_eq!(Moves(Vec::new()).held_through(new, 4), 4);
        assert_eq!(Moves(vec![Added(1)]).held_through(new, 2), 3);
        assert_eq!(Moves(vec![Added(1)]).held_through(new, 4), 5);
        // It held until the cut at 3, which is at 2 without it, and at 3 again with it.
        assert_eq!(Moves(vec![Removed(2)]).held_through(Spot::At(2), 3), 3);
    }
}
