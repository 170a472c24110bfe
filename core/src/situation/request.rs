//! Requests: one part damaged, worn or interim, and the ways in which it may be served.

use crate::catalogue::Yes;
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
    /// The ways in which it may be served, the first one first.
    pub ways: Vec<Way>,
    /// The yeses to build that were given.
    pub yeses: Vec<Yes>,
}
