//! The line-up: what goes first, why, what waiting costs, and what the crew's own order would.

mod pages;
mod planning;
pub mod queries;
mod timeline;

pub use planning::{Found, Planner, Planning, compute, plan_now};
pub use queries::Stored;

use axum::extract::State;
use axum::response::{IntoResponse, Redirect, Response};
use mendpost_core::journal::Subject;
use mendpost_core::people::Act;
use serde::{Deserialize, Serialize};

use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::Posted;
use crate::page::{Notice, Screen, page};
use crate::people::{Visit, Who};
use crate::routes::Routes;
use crate::situation;

pub fn routes() -> Routes {
    Routes::default()
        .get("/line-up", Act::Look, show)
        .post("/line-up/plan", Act::Plan, plan)
        .post("/line-up/stop", Act::Plan, stop)
        .post("/line-up/accept", Act::AcceptLineUp, accept)
}

async fn show(State(state): State<AppState>, visit: Visit) -> Result<Response, AppError> {
    let situation = situation::now(&state).await?;
    let latest = queries::latest(&state.db.read).await?;
    let accepted = queries::accepted(&state.db.read).await?;
    let layout = visit.layout(Screen::LineUp, "Line-up").await?;
    let planning = state.planner.planning();
    page(&pages::LineUpPage::new(
        layout,
        &situation,
        latest.as_ref(),
        accepted.as_ref(),
        planning,
        visit.who.as_ref(),
    ))
}

/// Plans again, and waits a moment for the answer: most plans are there before the page is.
async fn plan(State(state): State<AppState>, who: Who) -> Result<Response, AppError> {
    state.planner.start(&state, who.name.clone());
    state.planner.wait_a_moment().await;
    Ok(Redirect::to(Screen::LineUp.path()).into_response())
}

/// Ends the search and keeps the best plan so far.
async fn stop(State(state): State<AppState>) -> Response {
    state.planner.stop();
    state.planner.wait_a_moment().await;
    Redirect::to(Screen::LineUp.path()).into_response()
}

#[derive(Deserialize)]
struct Accept {
    #[serde(default)]
    number: String,
}

#[derive(Serialize)]
struct Accepted {
    number: i64,
}

/// Makes a line-up the one that the crew works to: the one that was looked at, if it is still the
/// newest.
async fn accept(
    State(state): State<AppState>,
    who: Who,
    Posted(form): Posted<Accept>,
) -> Result<Response, AppError> {
    let mut change = Change::begin(&state, &who).await?;
    let newest = queries::newest_number(change.connection()).await?;
    let asked = form.number.parse::<i64>().ok();
    let Some(number) = newest.filter(|n| asked == Some(*n)) else {
        return Err(AppError::Conflict(newest.map_or_else(
            || "there is no line-up to work to; plan first".to_owned(),
            |n| format!("order {n} was computed since that page was shown; look at it and accept it there"),
        )));
    };
    let sequence = change
        .journal(
            "lineup.accepted",
            Subject::new("lineup", number),
            Accepted { number },
        )
        .await?;
    let now = change.now();
    queries::accept(change.connection(), number, now, &who.name).await?;
    let text = format!("Order {number} is the one the crew works to, journal {sequence}.");
    let notice = Notice::done("SAVED.", text);
    change.finish(&who, Screen::LineUp.path(), notice).await
}
