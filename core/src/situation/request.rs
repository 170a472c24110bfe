//! Requests: one part damaged, worn or interim, and the ways in which it may be served.

use crate::catalogue::Answer;
use crate::code::{AssetCode, DeliveryCode, MetalCode, PartCode, RecipeCode, RequestCode};
use crate::word_enum;
use chrono::{DateTime, Utc};

word_enum! {
    /// What is the matter with the part.
    Damage {
        /// Broken.
        Damaged = "damaged",
        /// Still runs, and will not for long.
        Worn = "worn",
        /// A stand-in that must come off again.
        Interim = "interim",
    }
}

/// What a broken part is made of.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BaseMetal {
    /// Which metal.
    pub metal: MetalCode,
    /// By its papers or a test; else it is assumed.
    pub known: bool,
}

/// A way to serve a request.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Way {
    /// Rebuilt by a recipe, in its approved revision.
    Recipe(RecipeCode),
    /// The true part is on order.
    TruePart {
        /// The delivery that brings it, where it is known.
        delivery: Option<DeliveryCode>,
        /// When it is expected.
        expected: DateTime<Utc>,
        /// Minutes to fit it and run it first.
        fit_min: i64,
        /// People that takes.
        crew: i64,
    },
    /// A stand-in that must come off again.
    StandIn(StandIn),
}

/// A part that serves until the true one, or a better one, takes its place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StandIn {
    /// The recipe by which it is made, in its approved revision.
    pub recipe: RecipeCode,
    /// When it must be off again.
    pub off_by: DateTime<Utc>,
    /// Minutes for which its machine stands while it is swapped.
    pub swap_min: i64,
    /// What the second build costs, in the site's word for loss, as somebody said.
    pub second_build: i64,
}

/// Work on a request, as far as it has come.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Begun {
    /// The recipe by which it was begun.
    pub recipe: RecipeCode,
    /// Its revision, approved when it was begun.
    pub revision: i64,
    /// How many of its operations are done, from the first on.
    pub done: usize,
    /// When the last of these ended.
    pub ended_at: DateTime<Utc>,
}

/// Why nothing more is done to a part: a question that a named person has to judge.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OnHold {
    /// The number of the hold.
    pub number: i64,
    /// What it is held for.
    pub what: String,
}

/// Whether the site has a spare.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Spare {
    /// Nobody has said.
    NotKnown,
    /// There is none.
    Absent,
    /// There is one, and where it lies.
    There(String),
}

word_enum! {
    /// What the first look for cracks found, when the broken part came to the cell.
    CrackCheck {
        /// Cracks.
        Found = "found",
        /// No crack.
        Absent = "none",
        /// Nobody has looked.
        NotDone = "not-done",
    }
}

/// One part damaged, worn or interim.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Request {
    /// Its number.
    pub code: RequestCode,
    /// The machine it belongs to.
    pub asset: AssetCode,
    /// The catalogue entry; none if it is not listed.
    pub part: Option<PartCode>,
    /// What the crew calls the part.
    pub part_name: String,
    /// What is the matter.
    pub damage: Damage,
    /// In the words of who reported it.
    pub description: String,
    /// When it was reported.
    pub reported_at: DateTime<Utc>,
    /// Who asks.
    pub asked_by: String,
    /// By when it is wanted.
    pub needed_by: Option<DateTime<Utc>>,
    /// Somebody is in danger while it is down.
    pub danger: bool,
    /// What the broken part is made of; none if nobody has said.
    pub base_metal: Option<BaseMetal>,
    /// When the broken part is at the cell, if it is still on its way.
    pub at_cell_from: Option<DateTime<Utc>>,
    /// The number on the tag that hangs on the broken part.
    pub tag: Option<String>,
    /// What the broken part weighs, in grams; none until somebody weighs it.
    pub mass_g: Option<i64>,
    /// Whether the site has a spare.
    pub spare: Spare,
    /// The ways in which it may be served, the first one first.
    pub ways: Vec<Way>,
    /// The answers on record to whether it may be built and released, the oldest first.
    pub answers: Vec<Answer>,
    /// How far work on it has come; none if nothing is done yet.
    pub begun: Option<Begun>,
    /// The build under way, by its number; what it sprays counts as done when it is to end.
    pub building: Option<i64>,
    /// The holds that nobody has judged yet, the oldest first.
    pub on_hold: Vec<OnHold>,
}
