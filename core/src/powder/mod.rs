//! Powder in numbered lots: states, and the reasons for which it moves.
//!
//! What is on hand is the sum of an append-only ledger; nothing here stores a balance.

mod balance;
pub mod blend;
pub mod book;
pub mod certificate;
pub mod chemistry;
pub mod draw;
pub mod receipt;

pub use balance::{Allowance, Gap, MassBalance};
pub use book::Reason;

use crate::code::{LotCode, PowderCode};
use crate::quantity::Milligrams;
use crate::signature::Meaning;
use crate::word_enum;
use chrono::{DateTime, Utc};

/// A powder: one alloy in one size range.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Powder {
    /// Its code, as on labels.
    pub code: PowderCode,
    /// Its name as the crew says it.
    pub name: String,
    /// What it is made of; none if nobody told, and nothing is worked out of its flight then.
    pub solid: Option<Solid>,
}

/// The metal of a powder as a handbook gives it for the solid, and the size of its grains.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Solid {
    /// Density, in kg/m3.
    pub density_kg_m3: i64,
    /// Tensile strength, in megapascals. That of a powder is rarely known.
    pub strength_mpa: i64,
    /// Melting point, in degrees Celsius; of an alloy, where it begins to melt.
    pub melting_c: i64,
    /// Heat capacity, in J/(kg K).
    pub cp_j_kg_k: i64,
    /// The middle of its grain sizes (D50), in micrometres.
    pub size_um: i64,
}

word_enum! {
    /// Where a lot stands between arrival and empty.
    LotState {
        /// Received, not yet looked at.
        Arrived = "arrived",
        /// Waits for its certificate to be checked.
        Quarantine = "quarantine",
        /// May be drawn.
        Released = "released",
        /// Stopped for a stated reason; may be released again by two people.
        Hold = "hold",
        /// Never to be used.
        Rejected = "rejected",
        /// Used up.
        Empty = "empty",
    }
}

word_enum! {
    /// What the date of a lot is.
    DateKind {
        /// After it the lot is not sprayed any more.
        UseBy = "use-by",
        /// After it the lot is tested again before it is sprayed.
        Retest = "retest",
    }
}

word_enum! {
    /// How the seal of a container was found when it came.
    Seal {
        /// Nobody had opened it.
        Whole = "whole",
        /// Somebody may have opened it.
        Broken = "broken",
        /// It came without one.
        None = "none",
    }
}

impl LotState {
    /// What must be signed before a lot in this state may be drawn, if its certificate is outside what its
    /// powder asks for or not; none where nothing helps, or where nothing is needed.
    #[must_use]
    pub const fn released_by(self, is_outside: bool) -> Option<Meaning> {
        match self {
            LotState::Arrived | LotState::Quarantine if is_outside => Some(Meaning::ReleaseOutside),
            LotState::Arrived | LotState::Quarantine => Some(Meaning::Release),
            LotState::Hold => Some(Meaning::ReleaseFromHold),
            LotState::Released | LotState::Rejected | LotState::Empty => None,
        }
    }

    /// Whether a lot in this state can be stopped.
    #[must_use]
    pub const fn can_be_stopped(self) -> bool {
        matches!(
            self,
            LotState::Arrived | LotState::Quarantine | LotState::Released
        )
    }

    /// Whether somebody can say that a lot in this state is never to be used.
    #[must_use]
    pub const fn can_be_rejected(self) -> bool {
        !matches!(self, LotState::Rejected | LotState::Empty)
    }
}

/// A lot: powder of one certificate, with what the ledger says is on hand.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Lot {
    /// Its number, as on the label.
    pub code: LotCode,
    /// What it is.
    pub powder: PowderCode,
    /// Whether it may be drawn.
    pub state: LotState,
    /// Why it is in that state; empty if there is nothing to say.
    pub state_note: String,
    /// What can be sprayed of it: all in its containers, and in the feeder what is beyond the heel.
    pub on_hand: Milligrams,
    /// The last moment at which it may be sprayed.
    pub use_by: Option<DateTime<Utc>>,
    /// Whether a container of it has been opened.
    pub opened: bool,
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Common practice, no source: a rejected lot never comes back, and a stopped one only by two.
    #[test]
    fn what_a_lot_needs_before_it_is_sprayed() {
        let quarantine = LotState::Quarantine;
        assert_eq!(quarantine.released_by(false), Some(Meaning::Release));
        assert_eq!(quarantine.released_by(true).map(Meaning::people), Some(2));
        for is_outside in [false, true] {
            let held = LotState::Hold.released_by(is_outside);
            assert_eq!(held.map(Meaning::people), Some(2));
            for state in [LotState::Released, LotState::Rejected, LotState::Empty] {
                assert_eq!(state.released_by(is_outside), None, "{state}");
            }
        }
        assert!(LotState::Hold.can_be_rejected() && !LotState::Rejected.can_be_rejected());
        assert!(LotState::Released.can_be_stopped() && !LotState::Hold.can_be_stopped());
    }
}
