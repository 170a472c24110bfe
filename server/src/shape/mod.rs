//! The shape of a part, from its STL file: what it measures and weighs, what is wrong with it, and how it
//! looks. A file is read and shown first, and kept when somebody says that it is right.

mod form;
mod off;
mod pages;
mod picture;
pub mod queries;
mod reading;
mod stl;
mod words;

use std::sync::Arc;

use axum::extract::multipart::MultipartRejection;
use axum::extract::{Multipart, Path, State};
use axum::http::header::{CONTENT_DISPOSITION, CONTENT_TYPE};
use axum::response::{IntoResponse, Redirect, Response};
use mendpost_core::catalogue::Part;
use mendpost_core::people::Act;
use mendpost_core::situation::Situation;
use uuid::Uuid;

use crate::AppState;
use crate::catalogue::part_of;
use crate::change::Change;
use crate::error::AppError;
use crate::form::FieldErrors;
use crate::page::{Notice, Screen, page, page_with};
use crate::people::{Visit, Who};
use crate::routes::Routes;
use crate::situation;
use form::ShapeForm;

pub use pages::ShapeSection;
pub use picture::Small;
pub use reading::{Reading, Readings, Sent};

pub fn routes() -> Routes {
    Routes::default()
        .get("/catalogue/{part}/shape", Act::Attach, ask)
        .post_files("/catalogue/{part}/shape", Act::Attach, read)
        .get(
            "/catalogue/{part}/shape/take-off",
            Act::Attach,
            off::ask_why,
        )
        .post(
            "/catalogue/{part}/shape/take-off",
            Act::Attach,
            off::take_off,
        )
        .get("/catalogue/{part}/shape/{reading}", Act::Attach, show)
        .post("/catalogue/{part}/shape/{reading}", Act::Attach, keep)
        .get("/catalogue/{part}/shape.stl", Act::Look, file)
}

fn path(part: &str) -> String {
    format!("/catalogue/{part}/shape")
}

async fn ask(
    State(state): State<AppState>,
    visit: Visit,
    Path(code): Path<String>,
) -> Result<Response, AppError> {
    let situation = situation::now(&state).await?;
    let part = part_of(&situation, &code)?;
    form_page(&visit, part, ShapeForm::default(), FieldErrors::default()).await
}

/// Reads a file and leads to what was read of it. Nothing is kept yet.
async fn read(
    State(state): State<AppState>,
    visit: Visit,
    Path(code): Path<String>,
    sent: Result<Multipart, MultipartRejection>,
) -> Result<Response, AppError> {
    let situation = situation::now(&state).await?;
    let part = part_of(&situation, &code)?;
    let mut form = ShapeForm::read(sent).await?;
    let (unit, allowance_um) = match form.parse() {
        Ok(given) => given,
        Err(errors) => return form_page(&visit, part, form, errors).await,
    };
    let (file_name, bytes) = form.file.take().unwrap_or_default();
    let sent = Sent {
        part: code.clone(),
        file_name: file_name.clone(),
        bytes,
        unit,
        allowance_um,
    };
    let read = state.intake.alone(move || Reading::of(sent)).await?;
    match read.unwrap_or(Err(stl::Fault::NotStl)) {
        Ok(reading) => {
            let reading = state.readings.put(reading);
            let location = format!("{}/{}", path(&code), reading.id);
            Ok(Redirect::to(&location).into_response())
        }
        Err(fault) => {
            let mut errors = FieldErrors::default();
            errors.add("files", format!("“{file_name}” {fault}"));
            form_page(&visit, part, form, errors).await
        }
    }
}

async fn form_page(
    visit: &Visit,
    part: &Part,
    form: ShapeForm,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let code = part.code.to_string();
    let give = pages::GivePage {
        page: visit.layout(Screen::Catalogue, &code).await?,
        name: part.name.clone(),
        code,
        form,
        errors,
    };
    page_with(give.errors.status(), &give)
}

async fn show(
    State(state): State<AppState>,
    visit: Visit,
    Path((code, id)): Path<(String, String)>,
) -> Result<Response, AppError> {
    let situation = situation::now(&state).await?;
    let (part, reading) = waiting(&state, &situation, &code, &id)?;
    let layout = visit.layout(Screen::Catalogue, &code).await?;
    page(&pages::ReadPage::new(layout, &situation, part, &reading))
}

async fn keep(
    State(state): State<AppState>,
    who: Who,
    Path((code, id)): Path<(String, String)>,
) -> Result<Response, AppError> {
    let situation = situation::now(&state).await?;
    let (part, reading) = waiting(&state, &situation, &code, &id)?;
    let mut change = Change::begin(&state, &who).await?;
    let journal = queries::keep(&mut change, &reading, &who.name).await?;
    let text = format!(
        "the {} has the shape of “{}”. Journal {journal}.",
        part.name, reading.file_name
    );
    let location = format!("/catalogue/{code}");
    change
        .finish(&who, &location, Notice::done("SAVED", text))
        .await
}

/// A reading that waits to be kept, and its part.
fn waiting<'a>(
    state: &AppState,
    situation: &'a Situation,
    code: &str,
    id: &str,
) -> Result<(&'a Part, Arc<Reading>), AppError> {
    let part = part_of(situation, code)?;
    let found = id
        .parse()
        .ok()
        .and_then(|id: Uuid| state.readings.find(code, id));
    let reading = found.ok_or_else(|| {
        AppError::Conflict(format!(
            "what was read of this file is not at hand any more; choose the file of {code} again"
        ))
    })?;
    Ok((part, reading))
}

/// The file as it is stored, under a name of ours.
async fn file(
    State(state): State<AppState>,
    Path(code): Path<String>,
) -> Result<Response, AppError> {
    let stl = queries::file_of(&state.db.read, &code).await?;
    let stl = stl.ok_or_else(|| AppError::NotFound {
        what: format!("shape of part {code}"),
    })?;
    let headers = [
        (CONTENT_TYPE, "model/stl"),
        (CONTENT_DISPOSITION, "attachment; filename=\"shape.stl\""),
    ];
    Ok((headers, stl).into_response())
}
