//! The cell: how long it can spray, what stands beside it, who is on duty; and entering readings.

mod band;
mod banks;
pub(crate) mod bottles;
mod enter;
pub mod figures;
pub(crate) mod gauge;
mod layers;
mod minutes;
mod pages;
pub(crate) mod queries;
mod reading;
mod reads;
pub(crate) mod scale;
mod setting;
mod stations;
mod tiles;
mod worked;

use axum::extract::{Query, State};
use axum::http::StatusCode;
use axum::response::Response;
use mendpost_core::people::Act;

use crate::AppState;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted};
use crate::lineup::queries as lineup;
use crate::page::{Screen, page_with};
use crate::people::{Visit, Who};
use crate::routes::Routes;
use crate::situation;
use reading::ReadingForm;
use setting::SettingForm;

pub fn routes() -> Routes {
    Routes::default()
        .get("/cell", Act::Look, show)
        .post("/cell/reading", Act::ReadGauges, post)
        .get(bottles::PATH, Act::ReadGauges, bottles::ask)
        .post(bottles::PATH, Act::ReadGauges, bottles::save)
        .of_site::<figures::Built, { figures::COUNT }>("/site/cell/change")
}

async fn show(
    State(state): State<AppState>,
    visit: Visit,
    Query(setting): Query<SettingForm>,
) -> Result<Response, AppError> {
    let reading = ReadingForm::default();
    cell_page(&state, &visit, setting, reading, FieldErrors::default()).await
}

/// Enters what was read off gauge, tank and nozzle, or shows the form again with what was typed.
async fn post(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Posted(form): Posted<ReadingForm>,
) -> Result<Response, AppError> {
    let gauges = queries::gauges(&state.db.read).await?;
    let altitude_m = visit.site.altitude_m;
    let round = match form.parse(&gauges, visit.site.zone, altitude_m, visit.now) {
        Ok(round) => round,
        Err(errors) => {
            return cell_page(&state, &visit, SettingForm::default(), form, errors).await;
        }
    };
    enter::enter(&state, &who, &round).await
}

async fn cell_page(
    state: &AppState,
    visit: &Visit,
    setting: SettingForm,
    reading: ReadingForm,
    faults: FieldErrors,
) -> Result<Response, AppError> {
    let situation = situation::now(state).await?;
    let gauges = queries::gauges(&state.db.read).await?;
    let order = match lineup::accepted(&state.db.read).await? {
        Some(stored) => Some(stored),
        None => lineup::latest(&state.db.read).await?,
    };
    let layout = visit.layout(Screen::Cell, "Cell").await?;
    let may_read = visit.may(Act::ReadGauges);
    let waiting = bottles::waiting(&state.db.read).await?;
    let page = pages::CellPage::new(
        layout,
        &situation,
        (&gauges, &waiting),
        order.as_ref().map(|stored| &stored.line_up),
        setting,
        may_read.then_some((reading, faults)),
    );
    let status = if page.has_faults() {
        StatusCode::UNPROCESSABLE_ENTITY
    } else {
        StatusCode::OK
    };
    page_with(status, &page)
}
