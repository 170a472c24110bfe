//! Shift change: the shift and all that was journaled in it, its handover as it is drafted, told, heard and kept,
//! and what goes from shift to shift until somebody closes it.

mod carried;
mod draft;
mod fields;
mod gather;
mod hear;
mod log;
mod one;
pub mod queries;
mod sheet;
mod shift;
mod tell;
mod write;

use mendpost_core::people::Act;
use mendpost_core::word_enum;

use crate::routes::Routes;

pub use carried::{Late, late};
pub use queries::{Waiting, waiting};

/// The screen.
pub const PATH: &str = "/handover";
/// Where the handover is written.
const WRITE: &str = "/handover/write";

pub fn routes() -> Routes {
    Routes::default()
        .get(PATH, Act::Look, shift::show)
        .post("/handover/open", Act::HandOver, shift::open)
        .post("/handover/note", Act::HandOver, shift::note)
        .get("/shifts/{number}", Act::Look, shift::past)
        .get(WRITE, Act::HandOver, write::show)
        .post(WRITE, Act::HandOver, tell::save)
        .post("/handover/write/keep", Act::HandOver, write::keep)
        .get("/handovers/{number}", Act::Look, one::show)
        .post("/handovers/{number}/hear", Act::HandOver, hear::save)
        .post("/handovers/{number}/refuse", Act::HandOver, one::refuse)
        .post("/handovers/{number}/add", Act::HandOver, one::add)
        .post("/handover/carried", Act::HandOver, carried::add)
        .get("/handover/carried/{number}", Act::HandOver, carried::ask)
        .post("/handover/carried/{number}", Act::HandOver, carried::close)
}

/// The address of a handover.
pub fn path(number: i64) -> String {
    format!("/handovers/{number}")
}

word_enum! {
    /// What is written down in a shift.
    NoteKind {
        /// Worth knowing.
        Note = "note",
        /// Somebody or something came to harm.
        Incident = "incident",
        /// It nearly did.
        NearMiss = "near-miss",
    }
}

word_enum! {
    /// What goes from shift to shift.
    CarriedKind {
        /// Somebody waits for it, or we do.
        Promise = "promise",
        /// The next shift does it.
        Must = "must",
    }
}
