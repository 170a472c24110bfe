//! What one shift tells the next, as it is written, signed and kept.

use crate::word_enum;
use serde::{Deserialize, Serialize};

use super::Place;

/// A handover: all that the next shift is told.
///
/// Times are milliseconds since 1970, UTC; masses are milligrams. While it is written, what is not answered yet is
/// empty or none; told, nothing is.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Record {
    /// The shift that tells it.
    pub shift: i64,
    /// When that shift began.
    pub from_ms: i64,
    /// State right now.
    pub stands: Vec<Stand>,
    /// Work that is half done.
    pub half: Vec<Half>,
    /// Safeguards, each with an answer.
    pub guards: Vec<GuardLine>,
    /// Parts and lots on hold.
    pub holds: Vec<Held>,
    /// Powder that moved in the shift.
    pub moved: Vec<Moved>,
    /// What was promised and is not kept yet.
    pub promises: Vec<Line>,
    /// What the next shift must do, the earliest first.
    pub musts: Vec<Line>,
    /// What the giver fears in the next twelve hours.
    pub could_bite: String,
    /// The people.
    pub people: People,
    /// The clock and the laptop.
    pub clock: ClockBox,
}

/// How a place stands.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Stand {
    /// By which its fields are known.
    pub key: String,
    /// What sort of place.
    pub place: Place,
    /// What it is called.
    pub name: String,
    /// One word.
    pub word: String,
    /// What was read, with its unit.
    pub reading: String,
    /// When.
    pub read_ms: Option<i64>,
}

word_enum! {
    /// What is half done.
    HalfKind {
        /// A build that is under way.
        Build = "build",
        /// A load in the furnace.
        Load = "load",
        /// A part between two operations.
        Part = "part",
        /// Powder left in the feeder.
        Feeder = "feeder",
    }
}

/// Work that is half done, and may look as if it were finished.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Half {
    /// By which its fields are known; another one once the work went on.
    pub key: String,
    /// What sort of work.
    pub kind: HalfKind,
    /// What it is, as 'R31 impeller'.
    pub what: String,
    /// The last step that is finished.
    pub finished: String,
    /// The exact next action.
    pub next: String,
    /// Where and how it is parked.
    pub parked: String,
    /// What it must not be mistaken for.
    pub not_for: String,
    /// Photos of it.
    pub photos: i64,
    /// Whether the giver has looked at it and says so.
    pub confirmed: bool,
}

word_enum! {
    /// A safeguard that somebody may have taken off. Common practice, no source.
    Guard {
        /// The interlock of the booth's door.
        BoothDoor = "booth-door",
        /// Extraction, and its interlock with the gas.
        Extraction = "extraction",
        /// Alarms for oxygen.
        Oxygen = "oxygen",
        /// Relief valves of gas and air.
        Relief = "relief",
        /// The cut-outs of heater and furnace.
        CutOuts = "cut-outs",
        /// Guards of mill and bench.
        Mill = "mill",
        /// Earthing of booth, feeder and collector.
        Earthing = "earthing",
        /// Locks, tags, jumpers, and what was borrowed from elsewhere.
        Other = "other",
    }
}

/// What is said of a safeguard.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct GuardLine {
    /// Which.
    pub guard: Guard,
    /// Whether something is off; none while nobody has said.
    pub off: Option<bool>,
    /// What is off, and since when.
    pub what: String,
    /// Who may put it back.
    pub restore: String,
}

word_enum! {
    /// What is on hold.
    HeldKind {
        /// A part.
        Part = "part",
        /// A lot of powder.
        Lot = "lot",
    }
}

/// A part or lot on hold.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Held {
    /// What sort of thing.
    pub kind: HeldKind,
    /// Which, as 'lot L0426'.
    pub what: String,
    /// Why.
    pub why: String,
}

/// Powder of a lot that moved in the shift.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Moved {
    /// The lot.
    pub lot: String,
    /// Drawn from its containers.
    pub drawn_mg: i64,
    /// Poured back into them.
    pub returned_mg: i64,
    /// Found over the book in counts; below zero where it was short. None where nothing was counted.
    pub gap_mg: Option<i64>,
    /// In its containers now, by the book.
    pub on_hand_mg: i64,
}

/// A promise, or something that must be done, until somebody closes it by name.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Line {
    /// Its number.
    pub number: i64,
    /// In the words of who wrote it.
    pub text: String,
    /// The latest time.
    pub due_ms: i64,
}

word_enum! {
    /// What is asked of the people.
    ///
    /// Each yes makes a handover one of higher risk ([`super::Trigger`] names the sources).
    Question {
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
    }
}

/// What is said of the people.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct People {
    /// Each question with its answer; none while nobody has said.
    pub answers: Vec<(Question, Option<bool>)>,
    /// Who is here, who comes, and what there is to say of them.
    pub words: String,
}

/// The clock and the laptop.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ClockBox {
    /// Whether a watch says the same as the laptop; none while nobody has looked.
    pub agrees: Option<bool>,
    /// What is odd about the clock by the journal; empty if nothing is.
    pub doubt: String,
    /// How the copies stand, as the page of copies says it.
    pub copies: String,
    /// Room left on the disk, in megabytes; none where that cannot be asked.
    pub free_mb: Option<i64>,
}
