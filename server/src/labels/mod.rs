//! Labels with a square to scan, for containers, lots, requests and release tags, and what a scan opens.
//!
//! What a label says is `mendpost_core::label`. Another feature's page draws a square by [`Square::of`]
//! and the macro of `labels/square.html`.

mod face;
mod queries;
mod scan;
mod sheet;
mod square;

use askama::Template;
use axum::extract::{Path, Query, State};
use axum::response::Response;
use mendpost_core::label::{LAYOUTS, PREFIX};
use mendpost_core::people::Act;

use crate::AppState;
use crate::error::AppError;
use crate::page::{Layout, Screen, page};
use crate::people::Visit;
use crate::powder::lot_path;
use crate::routes::Routes;
use queries::{LotFacts, RequestFacts};
use sheet::{Choice, SheetPage};
pub use square::Square;

pub fn routes() -> Routes {
    Routes::default()
        .get("/labels", Act::Look, show)
        .get("/labels/lots/{lot}", Act::Look, of_lot)
        .get("/labels/lots/{lot}/own", Act::Look, of_lot_alone)
        .get("/labels/containers/{container}", Act::Look, of_container)
        .get("/labels/requests", Act::Look, of_requests)
        .get("/labels/requests/{number}", Act::Look, of_request)
        .get("/scan", Act::Look, scan::open)
}

/// What the text of a label begins with, as any of the layouts we know types it, parted by spaces.
pub fn beginnings() -> String {
    let layouts = LAYOUTS.iter().map(|(begins, _)| *begins);
    let all: Vec<&str> = [PREFIX].into_iter().chain(layouts).collect();
    all.join(" ")
}

/// What labels there are to print.
#[derive(Template)]
#[template(path = "labels/show.html")]
struct LabelsPage {
    page: Layout,
    lots: Vec<LotFacts>,
    requests: Vec<RequestFacts>,
}

async fn show(State(state): State<AppState>, visit: Visit) -> Result<Response, AppError> {
    page(&LabelsPage {
        lots: queries::lots(&state.db.read).await?,
        requests: queries::open_requests(&state.db.read).await?,
        page: visit.layout(Screen::Labels, "Labels").await?,
    })
}

/// The label of a lot and those of all its containers.
async fn of_lot(
    State(state): State<AppState>,
    visit: Visit,
    Path(code): Path<String>,
    Query(choice): Query<Choice>,
) -> Result<Response, AppError> {
    let lot = lot(&state, &code).await?;
    let layout = titled(&visit, &code).await?;
    let mut faces = vec![sheet::lot(&layout, &lot)?];
    for facts in queries::containers(&state.db.read, &code).await? {
        faces.push(sheet::container(&layout, &facts)?);
    }
    let of = (format!("lot {code}"), lot_path(&code));
    let path = lot_labels(&code);
    page(&SheetPage::new(layout, &path, of, &faces, &choice))
}

/// The label of a lot without those of its containers.
async fn of_lot_alone(
    State(state): State<AppState>,
    visit: Visit,
    Path(code): Path<String>,
    Query(choice): Query<Choice>,
) -> Result<Response, AppError> {
    let lot = lot(&state, &code).await?;
    let layout = titled(&visit, &code).await?;
    let faces = [sheet::lot(&layout, &lot)?];
    let of = (format!("lot {code}"), lot_path(&code));
    let path = lot_label(&code);
    page(&SheetPage::new(layout, &path, of, &faces, &choice))
}

async fn lot(state: &AppState, code: &str) -> Result<LotFacts, AppError> {
    let lot = queries::lot(&state.db.read, code).await?;
    lot.ok_or_else(|| AppError::NotFound {
        what: format!("lot {code}"),
    })
}

async fn of_container(
    State(state): State<AppState>,
    visit: Visit,
    Path(code): Path<String>,
    Query(choice): Query<Choice>,
) -> Result<Response, AppError> {
    let facts = queries::container(&state.db.read, &code).await?;
    let facts = facts.ok_or_else(|| AppError::NotFound {
        what: format!("container {code}"),
    })?;
    let layout = titled(&visit, &code).await?;
    let faces = [sheet::container(&layout, &facts)?];
    let of = (format!("container {code}"), lot_path(&facts.lot));
    let path = container_label(&code);
    page(&SheetPage::new(layout, &path, of, &faces, &choice))
}

async fn of_requests(
    State(state): State<AppState>,
    visit: Visit,
    Query(choice): Query<Choice>,
) -> Result<Response, AppError> {
    let requests = queries::open_requests(&state.db.read).await?;
    let faces: Result<Vec<_>, _> = requests.iter().map(sheet::request).collect();
    let of = ("open requests".to_owned(), "/requests".to_owned());
    let layout = titled(&visit, "open requests").await?;
    page(&SheetPage::new(
        layout,
        "/labels/requests",
        of,
        &faces?,
        &choice,
    ))
}

async fn of_request(
    State(state): State<AppState>,
    visit: Visit,
    Path(number): Path<String>,
    Query(choice): Query<Choice>,
) -> Result<Response, AppError> {
    let none = || AppError::NotFound {
        what: format!("request '{number}'"),
    };
    let number = number.parse().map_err(|_| none())?;
    let facts = queries::request(&state.db.read, number).await?;
    let facts = facts.ok_or_else(none)?;
    let code = facts.code();
    let faces = [sheet::request(&facts)?];
    let of = (format!("request {code}"), format!("/requests/{number}"));
    let layout = titled(&visit, &code).await?;
    let path = format!("/labels/requests/{number}");
    page(&SheetPage::new(layout, &path, of, &faces, &choice))
}

async fn titled(visit: &Visit, of: &str) -> Result<Layout, AppError> {
    let title = format!("Labels of {of}");
    visit.layout(Screen::Labels, &title).await
}

/// The address of a lot's labels. A code may hold a slash.
fn lot_labels(code: &str) -> String {
    format!("/labels/lots/{}", code.replace('/', "%2F"))
}

/// The address of a lot's label alone.
fn lot_label(code: &str) -> String {
    format!("{}/own", lot_labels(code))
}

/// The address of one container's label.
fn container_label(code: &str) -> String {
    format!("/labels/containers/{}", code.replace('/', "%2F"))
}
