//! The line-up: what goes first, why, what waiting costs, and what the crew's own order would.

mod accept;
mod beside;
mod own;
mod pages;
mod planning;
pub mod queries;
mod sure;
mod timeline;
mod what_if;
mod worth;
mod worth_page;

pub use planning::{Found, Planner, Planning, compute, plan_now};
pub use queries::Stored;
pub use worth::Worths;

use std::ops::RangeInclusive;
use std::time::Duration;

use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use mendpost_core::people::Act;
use serde::Deserialize;

use crate::AppState;
use crate::error::AppError;
use crate::form::{Posted, decimal};
use crate::keep_back;
use crate::page::{Screen, page};
use crate::people::{Visit, Who};
use crate::routes::Routes;
use crate::shape;
use crate::situation;
use crate::solve::Limits;

/// Where there is nothing to accept, or to set something beside.
const NONE: &str = "there is no line-up to work to; plan first";

pub fn routes() -> Routes {
    Routes::default()
        .get("/line-up", Act::Look, show)
        .post("/line-up/plan", Act::Plan, plan)
        .post("/line-up/stop", Act::Plan, stop)
        .get(what_if::PATH, Act::Plan, what_if::show)
        .get(own::PATH, Act::Plan, own::show)
        .post(own::PATH, Act::Plan, own::keep)
        .get("/line-up/worth", Act::Look, worth_page::show)
        .post("/line-up/worth", Act::Plan, worth_page::start)
        .post("/line-up/worth/stop", Act::Plan, worth_page::stop)
        .get("/line-up/accept", Act::AcceptLineUp, accept::show)
        .post("/line-up/accept", Act::AcceptLineUp, accept::accept)
}

async fn show(State(state): State<AppState>, visit: Visit) -> Result<Response, AppError> {
    let situation = situation::now(&state).await?;
    let latest = queries::latest(&state.db.read).await?;
    let accepted = queries::accepted(&state.db.read).await?;
    let pictures = shape::queries::small_of_requests(&state.db.read).await?;
    let layout = visit.layout(Screen::LineUp, "Line-up").await?;
    let planning = state.planner.planning();
    let newest = latest.as_ref();
    let newest = newest.map(|stored| (stored.number, &stored.line_up));
    let kept_back = keep_back::rows(&situation, newest, &state.worths);
    let shown = pages::LineUpPage::new(
        layout,
        &situation,
        latest.as_ref(),
        accepted.as_ref(),
        planning,
        visit.who.as_ref(),
        &pictures,
    );
    page(&shown.with_kept_back(kept_back))
}

/// A search of this many seconds may be asked for.
const SEARCH_S: RangeInclusive<i64> = 1..=600;

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct PlanForm {
    /// Seconds; nothing for the usual moment.
    search_s: String,
}

impl PlanForm {
    fn search(&self, usual: Limits) -> Result<Limits, AppError> {
        if self.search_s.is_empty() {
            return Ok(usual);
        }
        let seconds = decimal(&self.search_s, 0, SEARCH_S);
        let seconds = seconds.map_err(|fault| AppError::Unreadable {
            status: StatusCode::UNPROCESSABLE_ENTITY,
            detail: format!("a search takes 1 to 600 seconds: {fault}"),
        })?;
        Ok(Limits::lasting(Duration::from_secs(seconds.unsigned_abs())))
    }
}

/// Plans again, and waits a moment for the answer: most plans are there before the page is.
async fn plan(
    State(state): State<AppState>,
    who: Who,
    Posted(form): Posted<PlanForm>,
) -> Result<Response, AppError> {
    let search = form.search(state.config.search)?;
    state.planner.start(&state, who.name.clone(), search);
    state.planner.wait_a_moment().await;
    Ok(Redirect::to(Screen::LineUp.path()).into_response())
}

/// Ends the search and keeps the best plan so far.
async fn stop(State(state): State<AppState>) -> Response {
    state.planner.stop();
    state.planner.wait_a_moment().await;
    Redirect::to(Screen::LineUp.path()).into_response()
}
