//! Load lists: what the depot is asked to send with a trip, frozen by number.
//!
//! Additions, ways out (paper, file, sheet, voice) and back (the depot's answer), what goes back with the
//! vehicle, and what is on hand, to be told. `draft` is what was typed of lines, `freeze` one change.
//! `answer` takes what the depot says, typed or read in, and rewrites what the trip's delivery is expected to
//! bring.

mod add;
mod answer;
mod csv;
mod draft;
mod freeze;
mod pages;
pub mod queries;
mod read;
mod returns;
mod stock;
pub(super) mod words;

use axum::extract::{Path, Query, State};
use axum::http::header::{CONTENT_DISPOSITION, CONTENT_TYPE};
use axum::response::{IntoResponse, Response};
use mendpost_core::journal::Subject;
use mendpost_core::people::Act;
use mendpost_core::resupply::list::{LoadList, depot};
use serde::Deserialize;
use sqlx::SqliteConnection;

use crate::AppState;
use crate::error::AppError;
use crate::page::{Screen, page};
use crate::people::Visit;
use crate::routes::Routes;

pub const PATH: &str = "/resupply/lists";

pub fn routes() -> Routes {
    Routes::default()
        .get(PATH, Act::Look, list)
        .post(PATH, Act::KeepItems, freeze::freeze)
        .get("/resupply/lists/new", Act::KeepItems, freeze::open)
        .post("/resupply/lists/new", Act::KeepItems, freeze::take)
        .get("/resupply/lists/{number}", Act::Look, one)
        .get("/resupply/lists/{number}/list.csv", Act::Look, as_csv)
        .get("/resupply/lists/{number}/list.json", Act::Look, as_file)
        .get("/resupply/lists/{number}/radio", Act::Look, radio)
        .get("/resupply/lists/{number}/add", Act::KeepItems, add::open)
        .post("/resupply/lists/{number}/add", Act::KeepItems, add::add)
        .get(
            "/resupply/lists/{number}/answer",
            Act::KeepItems,
            answer::open,
        )
        .post(
            "/resupply/lists/{number}/answer",
            Act::KeepItems,
            answer::enter,
        )
        .post_files(
            "/resupply/lists/{number}/answer/read",
            Act::KeepItems,
            answer::take,
        )
        .get("/resupply/lists/{number}/return", Act::Look, returns::show)
        .post(
            "/resupply/lists/{number}/return",
            Act::KeepItems,
            returns::add,
        )
        .get("/resupply/read", Act::Look, read::open)
        .post_files("/resupply/read", Act::Look, read::read)
        .get("/resupply/stock-report", Act::Look, stock::show)
        .get("/resupply/stock-report/radio", Act::Look, stock::radio)
}

pub fn path(number: i64) -> String {
    format!("{PATH}/{number}")
}

/// Where a list for a trip is written by hand.
pub fn new_path(trip: &str) -> String {
    format!(
        "{PATH}/new?trip={}",
        trip.replace('+', "%2B").replace('/', "%2F")
    )
}

fn subject(number: i64) -> Subject {
    Subject::new("load-list", number)
}

async fn find(
    connection: &mut SqliteConnection,
    visit: &Visit,
    number: &str,
) -> Result<LoadList, AppError> {
    let none = || AppError::NotFound {
        what: format!("load list '{number}'"),
    };
    let wanted: i64 = number.parse().map_err(|_| none())?;
    let found = queries::one(connection, &visit.site.name, wanted).await?;
    found.ok_or_else(none)
}

async fn known(state: &AppState, visit: &Visit, number: &str) -> Result<LoadList, AppError> {
    let mut reading = state.db.read.begin().await?;
    find(&mut reading, visit, number).await
}

#[derive(Deserialize)]
struct Before {
    before: Option<i64>,
}

async fn list(
    State(state): State<AppState>,
    visit: Visit,
    Query(from): Query<Before>,
) -> Result<Response, AppError> {
    let mut reading = state.db.read.begin().await?;
    let rows = queries::listed(&mut reading, from.before).await?;
    let trips = super::trip::queries::all(&mut reading).await?;
    drop(reading);
    page(&pages::list(&visit, rows, &trips).await?)
}

async fn one(
    State(state): State<AppState>,
    visit: Visit,
    Path(number): Path<String>,
) -> Result<Response, AppError> {
    let mut reading = state.db.read.begin().await?;
    let list = find(&mut reading, &visit, &number).await?;
    let answer = queries::answer(&mut reading, &list).await?;
    let state_of_trip = queries::trip_state(&mut reading, list.number).await?;
    drop(reading);
    page(&pages::one(&visit, &list, answer, &state_of_trip).await?)
}

/// A text that the browser saves under a name.
fn file(name: &str, kind: &'static str, text: impl IntoResponse) -> Response {
    let disposition = format!("attachment; filename=\"{name}\"");
    let headers = [
        (CONTENT_TYPE, kind.to_owned()),
        (CONTENT_DISPOSITION, disposition),
    ];
    (headers, text).into_response()
}

async fn as_file(
    State(state): State<AppState>,
    visit: Visit,
    Path(number): Path<String>,
) -> Result<Response, AppError> {
    let list = known(&state, &visit, &number).await?;
    let text = depot::write_list(&list);
    let text = text.ok_or_else(|| AppError::internal("a figure of the list is beyond 2^53"))?;
    let name = format!("load-list-{}.json", list.number);
    Ok(file(&name, "application/json", text))
}

async fn as_csv(
    State(state): State<AppState>,
    visit: Visit,
    Path(number): Path<String>,
) -> Result<Response, AppError> {
    let list = known(&state, &visit, &number).await?;
    let name = format!("load-list-{}.csv", list.number);
    let text = csv::write(&list, visit.site.zone)?;
    Ok(file(&name, "text/csv; charset=utf-8", text))
}

async fn radio(
    State(state): State<AppState>,
    visit: Visit,
    Path(number): Path<String>,
) -> Result<Response, AppError> {
    let list = known(&state, &visit, &number).await?;
    let title = format!("Load list {} by voice", list.number);
    page(&pages::RadioPage {
        answer: format!("Read load list {} to the depot, line by line.", list.number),
        lines: list.request().radio(),
        back: (format!("List {}", list.number), path(list.number)),
        page: visit.layout(Screen::Resupply, &title).await?,
    })
}
