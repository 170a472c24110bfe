//! Parts on hold: a question that stops all work on a part until a named person has judged it fit, sent it back
//! to an operation, or scrapped it.

mod form;
mod judge;
mod put;
pub mod queries;
mod rework;
mod rows;

use mendpost_core::people::Act;
use mendpost_core::word_enum;

use crate::routes::Routes;

pub use queries::{Held, Hold, put as hold_part};
pub use rework::{Back, go_back};
pub use rows::{HoldRow, hold_rows};

pub fn routes() -> Routes {
    Routes::default()
        .get("/requests/{number}/hold", Act::DoWork, put::ask)
        .post("/requests/{number}/hold", Act::DoWork, put::save)
        .get("/requests/{number}/rework", Act::SortRequest, rework::ask)
        .post("/requests/{number}/rework", Act::SortRequest, rework::save)
        .get("/holds/{number}", Act::ReleasePart, judge::ask)
        .post("/holds/{number}", Act::ReleasePart, judge::save)
}

/// The address at which a hold is judged.
pub fn path(number: i64) -> String {
    format!("/holds/{number}")
}

word_enum! {
    /// What a part is held for.
    Cause {
        /// A dimension out of its limits.
        Size = "size",
        /// A coupon that misses what is expected.
        Coupon = "coupon",
        /// Cracks.
        Crack = "crack",
        /// A void soak.
        Furnace = "furnace",
        /// A tool that was out when it measured the part.
        Tool = "tool",
        /// A lot of powder that is in doubt.
        Lot = "lot",
        /// Anything else, in the words of who holds it.
        Hand = "hand",
    }
}

word_enum! {
    /// What was judged of a part on hold.
    Verdict {
        /// It may go on as it is.
        Fit = "fit",
        /// It goes back to an operation.
        Rework = "rework",
        /// It is thrown away.
        Scrap = "scrap",
    }
}
