//! Interim parts out there: which are fitted, when each must come off, and what became of it.
//!
//! A part that is let go with an end is recorded with that end, an owner and a removal plan, and asks for
//! its successor in the same change ([`record`]). By running hours it counts what the hour meter of its
//! machine shows.

mod act;
mod end;
mod enter;
pub mod hours;
mod inserts;
mod list;
mod machine;
mod one;
pub mod queries;
mod record;
mod telling;

use axum::extract::State;
use axum::response::Response;
use mendpost_core::people::Act;

use crate::AppState;
use crate::error::AppError;
use crate::page::{Screen, page};
use crate::people::Visit;
use crate::routes::Routes;

pub use end::{End, EndForm, date_fault};
pub use queries::{Interim, open};
pub use record::{Recorded, Released, record};
pub use telling::{Alarm, take_off};

/// Where the list stands.
pub const PATH: &str = "/interim";

pub fn routes() -> Routes {
    Routes::default()
        .get("/interim", Act::Look, show)
        .get("/interim/new", Act::WatchInterim, enter::blank)
        .post("/interim/new", Act::WatchInterim, enter::save)
        .get("/interim/{number}", Act::Look, one::show)
        .get("/interim/{number}/{act}", Act::WatchInterim, act::ask)
        .post("/interim/{number}/{act}", Act::WatchInterim, act::save)
}

async fn show(State(state): State<AppState>, visit: Visit) -> Result<Response, AppError> {
    let now = visit.moment()?;
    let all = queries::all(&state.db.read).await?;
    let layout = visit
        .layout(Screen::Requests, "Parts that must come off again")
        .await?;
    page(&list::ListPage::new(
        layout,
        now,
        all,
        visit.may(Act::WatchInterim),
    ))
}

/// One that is on record, by what stands in an address.
async fn find(state: &AppState, number: &str) -> Result<Interim, AppError> {
    let none = || AppError::NotFound {
        what: format!("interim part '{number}'"),
    };
    let digits = number.trim_start_matches(['I', 'i']);
    let number = digits.parse().map_err(|_| none())?;
    let found = queries::one(&state.db.read, number).await?;
    found.ok_or_else(none)
}
