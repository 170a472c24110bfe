//! Counting what is there: weighed blind, held against the book, and posted with a reason.

mod enter;
mod list;
mod post;
pub mod queries;

use mendpost_core::people::Act;

use crate::routes::Routes;

pub fn routes() -> Routes {
    Routes::default()
        .get("/counts", Act::Look, list::show)
        .post("/counts", Act::BookPowder, list::begin)
        .get("/counts/{number}", Act::Look, enter::show)
        .post("/counts/{number}", Act::BookPowder, enter::save)
        .get("/counts/{number}/post", Act::AdjustBook, post::show)
        .post("/counts/{number}/post", Act::AdjustBook, post::save)
}

/// The page of a count.
pub fn path(number: i64) -> String {
    format!("/counts/{number}")
}
