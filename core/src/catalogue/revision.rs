//! How a revision of a recipe comes about: from draft to use, and out of use again.
//!
//! Only a draft is changed. What was proposed, approved or taken out of use stays as it is; a changed
//! figure is a new revision.

use super::RecipeState;
use crate::people::Act;
use crate::word_enum;

word_enum! {
    /// What is done with a revision as a whole.
    Step {
        /// Its writer has done with it.
        Propose = "propose",
        /// It is written on.
        TakeBack = "take-back",
        /// Somebody else has checked it and signs.
        Approve = "approve",
        /// A later revision of the recipe was approved: happens by itself.
        Supersede = "supersede",
        /// It must not be used any more.
        Withdraw = "withdraw",
    }
}

/// Where a step leads from a state.
///
/// # Errors
/// [`NoStep`] where the step does not exist.
pub const fn may(state: RecipeState, step: Step) -> Result<RecipeState, NoStep> {
    use RecipeState::{Approved, Draft, Proposed, Superseded, Withdrawn};
    match (state, step) {
        (Draft, Step::Propose) => Ok(Proposed),
        (Proposed, Step::TakeBack) => Ok(Draft),
        (Proposed, Step::Approve) => Ok(Approved),
        (Approved, Step::Supersede) => Ok(Superseded),
        (Draft | Proposed | Approved, Step::Withdraw) => Ok(Withdrawn),
        _ => Err(NoStep { state, step }),
    }
}

/// Whether a revision in this state may be written on.
#[must_use]
pub const fn may_edit(state: RecipeState) -> bool {
    matches!(state, RecipeState::Draft)
}

/// Whether a new revision may be started from one in this state.
#[must_use]
pub const fn may_revise(state: RecipeState) -> bool {
    matches!(
        state,
        RecipeState::Approved | RecipeState::Superseded | RecipeState::Withdrawn
    )
}

/// Whether a person may approve what these people wrote.
///
/// Common practice, no source: nobody checks their own work.
///
/// # Errors
/// [`ByAuthor`] if the person is one of them.
pub fn may_approve<P: PartialEq>(person: &P, authors: &[P]) -> Result<(), ByAuthor> {
    if authors.contains(person) {
        Err(ByAuthor)
    } else {
        Ok(())
    }
}

impl Step {
    /// The act that a person's role must allow.
    #[must_use]
    pub const fn act(self) -> Act {
        match self {
            Step::Propose | Step::TakeBack | Step::Withdraw => Act::WriteRecipe,
            Step::Approve | Step::Supersede => Act::ApproveRecipe,
        }
    }

    const fn done(self) -> &'static str {
        match self {
            Step::Propose => "proposed",
            Step::TakeBack => "taken back",
            Step::Approve => "approved",
            Step::Supersede => "superseded",
            Step::Withdraw => "withdrawn",
        }
    }

    const fn asks_for(self) -> &'static str {
        match self {
            Step::Propose => "a draft",
            Step::TakeBack | Step::Approve => "a proposed revision",
            Step::Supersede => "an approved revision",
            Step::Withdraw => "a draft, a proposed or an approved revision",
        }
    }
}

/// A step that does not exist from here.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error(
    "a revision that is {state} cannot be {}; only {} can", .step.done(), .step.asks_for()
)]
pub struct NoStep {
    /// Where the revision stands.
    pub state: RecipeState,
    /// What was asked.
    pub step: Step,
}

/// The person wrote it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("you wrote this revision or changed it; somebody else must check and approve it")]
pub struct ByAuthor;

#[cfg(test)]
mod tests {
    use super::*;
    use RecipeState::{Approved, Draft, Proposed, Superseded, Withdrawn};
    use Step::{Approve, Propose, Supersede, TakeBack, Withdraw};

    /// All 25 pairs: the seven steps that exist lead where they are said to, the others nowhere.
    #[test]
    fn every_step_from_every_state() {
        let exist = [
            (Draft, Propose, Proposed),
            (Proposed, TakeBack, Draft),
            (Proposed, Approve, Approved),
            (Approved, Supersede, Superseded),
            (Draft, Withdraw, Withdrawn),
            (Proposed, Withdraw, Withdrawn),
            (Approved, Withdraw, Withdrawn),
        ];
        for state in RecipeState::ALL.iter().copied() {
            for step in Step::ALL.iter().copied() {
                let known = exist.iter().find(|(s, t, _)| (*s, *t) == (state, step));
                let expected = known.map_or(Err(NoStep { state, step }), |(_, _, to)| Ok(*to));
                assert_eq!(may(state, step), expected, "{step} from {state}");
            }
        }
    }

    /// One writes on a draft; from what is settled one starts anew; while one is proposed, neither.
    #[test]
    fn what_is_settled_is_not_changed() {
        let of = |state| (may_edit(state), may_revise(state));
        assert_eq!(of(Draft), (true, false));
        assert_eq!(of(Proposed), (false, false));
        for state in [Approved, Superseded, Withdrawn] {
            assert_eq!(of(state), (false, true), "{state}");
        }
    }

    #[test]
    fn whoever_wrote_a_line_of_it_does_not_approve_it() {
        assert_eq!(may_approve(&"Ada", &["Bo", "Ada"]), Err(ByAuthor));
        assert_eq!(may_approve(&"Cy", &["Bo", "Ada"]), Ok(()));
        assert_eq!(may_approve(&"Cy", &[]), Ok(()));
    }

    #[test]
    fn a_step_that_does_not_exist_says_what_it_asks_for() {
        let told = may(Superseded, Withdraw).expect_err("no step").to_string();
        assert_eq!(
            told,
            "a revision that is superseded cannot be withdrawn; only a draft, a proposed or an \
             approved revision can"
        );
        let told = may(Draft, Approve).expect_err("no step").to_string();
        assert_eq!(
            told,
            "a revision that is draft cannot be approved; only a proposed revision can"
        );
        assert_eq!(Supersede.act(), Approve.act());
    }
}
