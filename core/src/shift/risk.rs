//! Which handovers are of higher risk, by triggers that are stated.

use crate::word_enum;

use super::{HalfKind, HeldKind, Question, Record};

word_enum! {
    /// What makes a handover one of higher risk.
    ///
    /// Work that runs over the change, a safeguard off, an unusual state, somebody back after long absence, and
    /// somebody new: Lardner, *Effective shift handover*, HSE OTO 96 003, 1996, and HSG48, both from memory. The
    /// others are common practice, no source.
    Trigger {
        /// A build runs over the change.
        Build = "build",
        /// A furnace runs over the change.
        Furnace = "furnace",
        /// A safeguard is off.
        GuardOff = "guard-off",
        /// A place is in an unusual state.
        Unusual = "unusual",
        /// A part is on hold.
        PartHeld = "part-held",
        /// Somebody will be alone.
        Alone = "alone",
        /// Somebody is tired.
        Tired = "tired",
        /// Somebody who comes is new to this.
        NewHand = "new-hand",
        /// Somebody who comes was long away.
        LongAway = "long-away",
        /// Somebody was hurt, or nearly.
        Hurt = "hurt",
        /// The clock is in doubt.
        Clock = "clock",
    }
}

word_enum! {
    /// How a handover must be heard.
    Risk {
        /// Item by item, with five facts seen.
        Ordinary = "ordinary",
        /// Besides: talked over at the machine, and read back in the receiver's own words.
        StepUp = "step-up",
    }
}

/// What makes this handover one of higher risk, in the order of [`Trigger`]; empty if nothing does.
#[must_use]
pub fn triggers(record: &Record) -> Vec<Trigger> {
    let half = |kind| record.half.iter().any(|it| it.kind == kind);
    let said = |question| {
        let mut answers = record.people.answers.iter();
        answers.any(|(asked, answer)| *asked == question && *answer == Some(true))
    };
    let is_so = |trigger: &Trigger| match trigger {
        Trigger::Build => half(HalfKind::Build),
        Trigger::Furnace => half(HalfKind::Load),
        Trigger::GuardOff => record.guards.iter().any(|it| it.off == Some(true)),
        Trigger::Unusual => {
            let mut stands = record.stands.iter();
            stands.any(|it| !it.word.is_empty() && it.place.is_unusual(&it.word))
        }
        Trigger::PartHeld => record.holds.iter().any(|it| it.kind == HeldKind::Part),
        Trigger::Alone => said(Question::Alone),
        Trigger::Tired => said(Question::Tired),
        Trigger::NewHand => said(Question::NewHand),
        Trigger::LongAway => said(Question::LongAway),
        Trigger::Hurt => said(Question::Hurt),
        Trigger::Clock => record.clock.agrees == Some(false) || !record.clock.doubt.is_empty(),
    };
    Trigger::ALL.iter().copied().filter(is_so).collect()
}

/// How a handover with these triggers must be heard: any of them is enough.
#[must_use]
pub const fn risk(triggers: &[Trigger]) -> Risk {
    if triggers.is_empty() {
        Risk::Ordinary
    } else {
        Risk::StepUp
    }
}
