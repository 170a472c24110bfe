//! Measuring tools: which there are, until when each is calibrated, what was reported of it, and which parts
//! it measured.

mod add;
mod calibrate;
mod list;
mod one;
pub mod queries;
mod report;
mod touched;
mod words;

use axum::extract::{Path, State};
use axum::response::Response;
use mendpost_core::people::Act;

use crate::AppState;
use crate::error::AppError;
use crate::people::Visit;
use crate::routes::Routes;

pub use add::list;
pub use words::fault;

/// Where the list stands.
pub const PATH: &str = "/tools";

pub fn routes() -> Routes {
    Routes::default()
        .get(PATH, Act::Look, list::show)
        .get("/tools/add/{measures}", Act::KeepTools, add::blank)
        .post("/tools/add/{measures}", Act::KeepTools, add::save)
        .get("/tools/{code}", Act::Look, show_one)
        .get("/tools/{code}/calibrate", Act::KeepTools, calibrate::ask)
        .post("/tools/{code}/calibrate", Act::KeepTools, calibrate::save)
        .get("/tools/{code}/report", Act::DoWork, report::ask)
        .post("/tools/{code}/report", Act::DoWork, report::save)
        .get("/tools/{code}/touched", Act::Look, touched::show)
        .post("/tools/{code}/hold", Act::DoWork, touched::hold)
}

/// The address of a tool's page.
pub fn path(code: &str) -> String {
    format!("{PATH}/{code}")
}

async fn show_one(
    State(state): State<AppState>,
    visit: Visit,
    Path(code): Path<String>,
) -> Result<Response, AppError> {
    one::show(&state, &visit, &code).await
}
