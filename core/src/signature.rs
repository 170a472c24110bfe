//! What is signed: by whose right, by how many people, and in which words.
//!
//! A signature is a named person saying something at a time. Each meaning has one statement, which is
//! what the person says, on screen and in print. Mendpost records signatures; it gives none.

use crate::people::{Act, Role, may};
use crate::word_enum;
use thiserror::Error;

word_enum! {
    /// What a person says by signing.
    Meaning {
        /// The crew works to this line-up.
        Accept = "accept",
        /// What was kept back for named machines may go to any.
        GiveUp = "give-up",
        /// This lot may be sprayed.
        Release = "release",
        /// This lot, stopped for a reason, may be sprayed again.
        ReleaseFromHold = "release-from-hold",
        /// This lot may be sprayed, though its certificate is outside what its powder asks for.
        ReleaseOutside = "release-outside",
        /// This lot is never to be sprayed.
        Reject = "reject",
        /// This powder goes back to the depot.
        SendBack = "send-back",
        /// An answer was given by somebody outside the crew.
        RecordYes = "yes",
        /// This revision of a recipe may be built by.
        ApproveRecipe = "approve-recipe",
        /// This part may be fitted.
        ReleasePart = "release-part",
        /// A part on hold is fit, or worked on again, or scrapped.
        JudgePart = "judge-part",
        /// This is what the site asks for by what a part does.
        SetRule = "set-rule",
        /// The book is to say what was weighed.
        Adjust = "adjust",
        /// What moved was entered wrongly.
        TakeBack = "take-back",
        /// This container is drawn from although something speaks against it.
        Waive = "waive",
        /// Somebody works here, as what.
        LetIn = "let-in",
        /// A way in was given to somebody.
        HandCode = "hand-code",
        /// The next shift is told how the cell stands.
        Tell = "told",
        /// The cell is taken over as it was told.
        TakeOver = "heard",
    }
}

impl Meaning {
    /// The statement that is signed.
    #[must_use]
    pub const fn statement(self) -> &'static str {
        match self {
            Meaning::Accept => "The crew works to this line-up.",
            Meaning::GiveUp => {
                "I know for which machines this is kept back. So much of it may go to any machine."
            }
            Meaning::Release => {
                "I have checked certificate, label and seals of this lot. It may be sprayed."
            }
            Meaning::ReleaseFromHold => {
                "I have looked myself at what this lot was stopped for. It may be sprayed."
            }
            Meaning::ReleaseOutside => {
                "I have checked certificate, label and seals of this lot, and I know what is outside its limits. It may be sprayed."
            }
            Meaning::Reject => "I have looked at this lot. It is never to be sprayed.",
            Meaning::SendBack => "I have seen this powder go. It is on its way to the depot.",
            Meaning::RecordYes => {
                "I have heard or read this answer, and it is written here as it was given."
            }
            Meaning::ApproveRecipe => {
                "I have checked every operation of this revision and what it changes. It may be built by."
            }
            Meaning::ReleasePart => {
                "I did not build this part. I have looked at its measures and at every yes it takes. It may be fitted within the limits on its tag."
            }
            Meaning::JudgePart => {
                "I have looked at what this part is held for, and what was decided of it is written here as it was."
            }
            Meaning::SetRule => {
                "This is what the site asks for, and it is no less than the law and the licensed person ask for."
            }
            Meaning::Adjust => "I have weighed what is there. The book is to say the same.",
            Meaning::TakeBack => {
                "This was entered wrongly. I know where the powder is, and the book is to say the same."
            }
            Meaning::Waive => {
                "I have looked myself at what speaks against it. This container may be drawn from all the same."
            }
            Meaning::LetIn => "I know this person, and what they are to answer for here.",
            Meaning::HandCode => "I hand this start code to the person themselves.",
            Meaning::Tell => {
                "Told. I have looked at each of these myself, and left nothing half-done unsaid."
            }
            Meaning::TakeOver => "Heard, checked, mine.",
        }
    }

    /// The act that a person's role must allow to sign.
    #[must_use]
    pub const fn act(self) -> Act {
        match self {
            Meaning::Accept => Act::AcceptLineUp,
            Meaning::GiveUp => Act::KeepBack,
            Meaning::Release
            | Meaning::ReleaseFromHold
            | Meaning::ReleaseOutside
            | Meaning::Reject => Act::ReleaseLot,
            Meaning::SendBack => Act::AdjustBook,
            Meaning::RecordYes => Act::RecordYes,
            Meaning::ApproveRecipe => Act::ApproveRecipe,
            Meaning::ReleasePart | Meaning::JudgePart => Act::ReleasePart,
            Meaning::SetRule => Act::SetUpSite,
            Meaning::Adjust | Meaning::TakeBack => Act::AdjustBook,
            Meaning::Waive => Act::BookPowder,
            Meaning::LetIn | Meaning::HandCode => Act::SetUpSite,
            Meaning::Tell | Meaning::TakeOver => Act::HandOver,
        }
    }

    /// How many different people must sign.
    ///
    /// Common practice, no source: whoever stops a lot is easily asked to let it go again, so that takes
    /// two, and so does a lot whose certificate is not as it should be.
    #[must_use]
    pub const fn people(self) -> usize {
        match self {
            Meaning::ReleaseFromHold | Meaning::ReleaseOutside | Meaning::Waive => 2,
            Meaning::Accept
            | Meaning::GiveUp
            | Meaning::Release
            | Meaning::Reject
            | Meaning::SendBack
            | Meaning::RecordYes
            | Meaning::ApproveRecipe
            | Meaning::ReleasePart
            | Meaning::JudgePart
            | Meaning::SetRule
            | Meaning::Adjust
            | Meaning::TakeBack
            | Meaning::LetIn
            | Meaning::HandCode
            | Meaning::Tell
            | Meaning::TakeOver => 1,
        }
    }

    /// How many signatures are missing after so many.
    #[must_use]
    pub const fn missing(self, signed: usize) -> usize {
        self.people().saturating_sub(signed)
    }

    /// Whether a person of this role may add a signature to those given by `signed`.
    ///
    /// # Errors
    /// When the role may not, the person has signed already, or all have signed.
    pub fn may_sign<P: PartialEq>(
        self,
        role: Role,
        person: &P,
        signed: &[P],
    ) -> Result<(), NoSignature> {
        if !may(role, self.act()) {
            return Err(NoSignature::Role {
                role,
                act: self.act(),
            });
        }
        if self.missing(signed.len()) == 0 {
            return Err(NoSignature::Complete);
        }
        if signed.contains(person) {
            return Err(NoSignature::Twice);
        }
        Ok(())
    }
}

/// Why a person cannot sign.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
pub enum NoSignature {
    /// The role does not allow the act.
    #[error("a {role} may not {act}; ask somebody whose role may")]
    Role {
        /// The person's role.
        role: Role,
        /// What it does not allow.
        act: Act,
    },
    /// One person cannot sign for two.
    #[error("you have signed this already; the other signature must be somebody else's")]
    Twice,
    /// Nothing is missing.
    #[error("everybody needed has signed this already")]
    Complete,
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Common practice, no source: a lot that was stopped or is outside its limits, and a container that is drawn from
    /// in spite of its date or its minutes in the open, take two people, everything else one.
    #[test]
    fn only_a_lot_in_doubt_takes_two() {
        let in_doubt = [
            Meaning::ReleaseFromHold,
            Meaning::ReleaseOutside,
            Meaning::Waive,
        ];
        for meaning in Meaning::ALL {
            let expected = if in_doubt.contains(meaning) { 2 } else { 1 };
            assert_eq!(meaning.people(), expected, "{meaning}");
        }
    }

    /// The storekeeper signs, cannot sign again, and the checker's signature completes it.
    #[test]
    fn two_signatures_are_two_people() {
        let meaning = Meaning::ReleaseFromHold;
        let nobody: [&str; 0] = [];
        assert_eq!(meaning.may_sign(Role::Storekeeper, &"Ada", &nobody), Ok(()));
        assert_eq!(meaning.missing(1), 1);
        assert_eq!(
            meaning.may_sign(Role::Storekeeper, &"Ada", &["Ada"]),
            Err(NoSignature::Twice)
        );
        assert_eq!(meaning.may_sign(Role::Checker, &"Bo", &["Ada"]), Ok(()));
        assert_eq!(meaning.missing(2), 0);
        assert_eq!(
            meaning.may_sign(Role::Lead, &"Cy", &["Ada", "Bo"]),
            Err(NoSignature::Complete)
        );
    }

    /// Common practice, no source: whoever sprays a lot is not the one who lets it be sprayed.
    #[test]
    fn crew_releases_nothing() {
        let nobody: [&str; 0] = [];
        assert_eq!(
            Meaning::Release.may_sign(Role::Crew, &"Di", &nobody),
            Err(NoSignature::Role {
                role: Role::Crew,
                act: Act::ReleaseLot
            })
        );
    }

    proptest! {
        /// However people try, a meaning is complete only with as many different people as it asks for.
        #[test]
        fn signatures_are_of_different_people(tries in prop::collection::vec(0_u8..4, 0..12)) {
            for meaning in Meaning::ALL {
                let mut signed = Vec::new();
                for person in &tries {
                    if meaning.may_sign(Role::Lead, person, &signed).is_ok() {
                        signed.push(*person);
                    }
                }
                let mut different = signed.clone();
                different.sort_unstable();
                different.dedup();
                prop_assert_eq!(different.len(), signed.len());
                prop_assert!(signed.len() <= meaning.people());
            }
        }
    }
}
