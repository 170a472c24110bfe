//! The feeder: what lies in it, what is poured into it and out of it again.

mod draw;
mod draw_form;
mod draw_page;
mod empty;
mod look;
mod pages;
mod pour;
pub mod queries;
mod undo;
mod waive;

use mendpost_core::people::Act;

use crate::routes::Routes;

pub use undo::{Undo, undo_of};
pub use waive::{carry_out as waive, pairs as waiver_pairs};

pub fn routes() -> Routes {
    Routes::default()
        .get(PATH, Act::Look, pages::show)
        .get("/feeder/draw", Act::BookPowder, draw::show)
        .post("/feeder/draw", Act::BookPowder, draw::save)
        .get("/feeder/waive", Act::BookPowder, waive::show)
        .post("/feeder/waive", Act::BookPowder, waive::sign)
        .get("/feeder/pour-back", Act::BookPowder, pour::show)
        .post("/feeder/pour-back", Act::BookPowder, pour::save)
        .get("/feeder/empty", Act::BookPowder, empty::show)
        .post("/feeder/empty", Act::BookPowder, empty::save)
        .post("/book/{sequence}/undo", Act::BookPowder, undo::undo)
        .get("/book/{sequence}/take-back", Act::AdjustBook, undo::show)
        .post(
            "/book/{sequence}/take-back",
            Act::AdjustBook,
            undo::take_back,
        )
}

/// The page of the feeder.
pub const PATH: &str = "/feeder";

/// Where powder of a container is drawn.
pub fn draw_path(container: &str) -> String {
    format!("/feeder/draw?container={}", container.replace('/', "%2F"))
}
