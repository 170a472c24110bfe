//! The record of a build: from its begin by one touch to what became of its powder.

mod balance;
mod begin;
mod finish;
mod finish_form;
mod list;
mod mark;
mod nozzle;
mod pages;
pub mod queries;
mod reading;
mod swept;

use mendpost_core::people::Act;

pub use pages::{Running, running};

use crate::routes::Routes;

pub fn routes() -> Routes {
    Routes::default()
        .get("/builds", Act::Look, list::show)
        .post("/requests/{number}/build", Act::DoWork, begin::begin)
        .get(nozzle::PATH, Act::ReadGauges, nozzle::show)
        .post(nozzle::PATH, Act::ReadGauges, nozzle::save)
        .get("/builds/{number}", Act::Look, pages::show)
        .post("/builds/{number}/mark", Act::DoWork, mark::save)
        .post("/builds/{number}/read", Act::DoWork, reading::save)
        .post("/builds/{number}/deviation", Act::DoWork, mark::deviation)
        .get("/builds/{number}/finish", Act::DoWork, finish::show)
        .post("/builds/{number}/finish", Act::DoWork, finish::save)
        .get("/builds/{number}/swept", Act::DoWork, swept::show)
        .post("/builds/{number}/swept", Act::DoWork, swept::save)
}

/// The page of a build.
pub fn path(number: i64) -> String {
    format!("/builds/{number}")
}
