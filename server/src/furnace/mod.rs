//! Loads of the furnace: opened, filled while open, closed with what the chart shows. Closing enters the heat
//! treatment of every part in it as done, in one change.

mod close;
mod excursion;
mod form;
mod list;
mod one;
mod open;
pub mod queries;
mod ready;
mod written;

use axum::extract::{Path, State};
use axum::response::Response;
use mendpost_core::people::Act;
use sqlx::SqliteConnection;

use crate::AppState;
use crate::error::AppError;
use crate::people::Visit;
use crate::routes::Routes;
use queries::Load;

pub use written::{Dried, Soaked, dried, soaked};

/// Where the list stands.
pub const PATH: &str = "/furnace";

pub fn routes() -> Routes {
    Routes::default()
        .get(PATH, Act::Look, list::show)
        .get("/furnace/open", Act::DoWork, open::ask)
        .post("/furnace/open", Act::DoWork, open::save)
        .get("/furnace/{number}", Act::Look, show_one)
        .get("/furnace/{number}/add", Act::DoWork, open::ask_more)
        .post("/furnace/{number}/add", Act::DoWork, open::add)
        .get("/furnace/{number}/close", Act::DoWork, close::ask)
        .post("/furnace/{number}/close", Act::DoWork, close::save)
        .get("/furnace/{number}/give-up", Act::DoWork, close::ask_give_up)
        .post("/furnace/{number}/give-up", Act::DoWork, close::give_up)
        .get("/furnace/{number}/excursion", Act::DoWork, excursion::ask)
        .post("/furnace/{number}/excursion", Act::DoWork, excursion::save)
}

/// The address of a load.
pub fn path(number: i64) -> String {
    format!("{PATH}/{number}")
}

async fn show_one(
    State(state): State<AppState>,
    visit: Visit,
    Path(number): Path<String>,
) -> Result<Response, AppError> {
    one::show(&state, &visit, &number).await
}

/// A load by what stands in an address.
async fn find(connection: &mut SqliteConnection, number: &str) -> Result<Load, AppError> {
    let none = || AppError::NotFound {
        what: format!("furnace load '{number}'"),
    };
    let digits = number.trim_start_matches(['F', 'f']);
    let number: i64 = digits.parse().map_err(|_| none())?;
    let found = queries::loads(connection, &[number]).await?;
    found.into_iter().next().ok_or_else(none)
}

/// The same while it is open.
async fn find_open(connection: &mut SqliteConnection, number: &str) -> Result<Load, AppError> {
    let load = find(connection, number).await?;
    match &load.closed {
        None => Ok(load),
        Some(closed) => Err(AppError::Conflict(format!(
            "load {} was closed by {} already; open another",
            load.code(),
            closed.by
        ))),
    }
}
