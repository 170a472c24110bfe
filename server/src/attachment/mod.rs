//! Photos and papers: of the damage on a request, of the certificate on a lot, of the
//! drawing on a part, of what was seen on a build.
//!
//! They are rows by the hash of their bytes in the same database. What is sent is judged by its content
//! (`check`), made anew without its metadata (`picture`, `paper`), and hung on what it belongs to
//! ([`Holder`]). Nothing is ever deleted: taken off, it stays on record.

mod adding;
mod check;
mod form;
mod holder;
mod intake;
mod jpeg;
mod pages;
mod paper;
mod picture;
pub mod queries;
mod serving;
mod shelf;

use axum::extract::multipart::MultipartRejection;
use axum::extract::{Multipart, Path, State};
use axum::http::StatusCode;
use axum::response::Response;
use mendpost_core::people::Act;
use uuid::Uuid;

use crate::AppState;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted};
use crate::page::page_with;
use crate::people::{Visit, Who};
use crate::routes::Routes;
use form::{AddForm, TakeOffForm};
use queries::Attached;

pub use adding::{Named, hang_all};
pub use check::AttachmentHash;
pub use form::{NAMELESS, SentFile, WithFiles, broken, clean_name};
pub use holder::Holder;
pub use intake::Intake;
pub use pages::Photos;
pub use queries::title;
pub use shelf::Shelf;

/// Photos and papers that hang on one request, lot, part or build at the same time.
const HOLDER_MAX: usize = 40;

pub fn routes() -> Routes {
    Routes::default()
        .get("/requests/{number}/photos", Act::Look, show_of_request)
        .post_files("/requests/{number}/photos", Act::Attach, add_to_request)
        .get("/powder/{lot}/photos", Act::Look, show_of_lot)
        .post_files("/powder/{lot}/photos", Act::Attach, add_to_lot)
        .get("/catalogue/{part}/photos", Act::Look, show_of_part)
        .post_files("/catalogue/{part}/photos", Act::Attach, add_to_part)
        .get("/builds/{number}/photos", Act::Look, show_of_build)
        .post_files("/builds/{number}/photos", Act::Attach, add_to_build)
        .get("/attached/{id}/take-off", Act::Attach, ask_why)
        .post("/attached/{id}/take-off", Act::Attach, take_off)
        .get("/attachments/{hash}", Act::Look, serving::whole)
        .get(
            "/attachments/{hash}/thumbnail",
            Act::Look,
            serving::thumbnail,
        )
}

async fn request(state: &AppState, number: &str) -> Result<Holder, AppError> {
    let holder = match number.trim_start_matches(['R', 'r']).parse() {
        Ok(number) => Holder::request(&state.db.read, number).await?,
        Err(_) => None,
    };
    holder.ok_or_else(|| AppError::NotFound {
        what: format!("request '{number}'"),
    })
}

async fn lot(state: &AppState, code: &str) -> Result<Holder, AppError> {
    let holder = Holder::lot(&state.db.read, code).await?;
    holder.ok_or_else(|| AppError::NotFound {
        what: format!("lot {code}"),
    })
}

async fn part(state: &AppState, code: &str) -> Result<Holder, AppError> {
    let holder = Holder::part(&state.db.read, code).await?;
    holder.ok_or_else(|| AppError::NotFound {
        what: format!("part {code} in the catalogue"),
    })
}

async fn build(state: &AppState, number: i64) -> Result<Holder, AppError> {
    let holder = Holder::build(&state.db.read, number).await?;
    holder.ok_or_else(|| AppError::NotFound {
        what: format!("build {number}"),
    })
}

async fn show_of_build(
    State(state): State<AppState>,
    visit: Visit,
    Path(number): Path<i64>,
) -> Result<Response, AppError> {
    let holder = build(&state, number).await?;
    let (form, errors) = (AddForm::default(), FieldErrors::default());
    show(&state, &visit, holder, form, errors).await
}

async fn add_to_build(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(number): Path<i64>,
    sent: Result<Multipart, MultipartRejection>,
) -> Result<Response, AppError> {
    let holder = build(&state, number).await?;
    add(&state, &visit, &who, holder, AddForm::read(sent).await?).await
}

async fn show_of_part(
    State(state): State<AppState>,
    visit: Visit,
    Path(code): Path<String>,
) -> Result<Response, AppError> {
    let holder = part(&state, &code).await?;
    let (form, errors) = (AddForm::default(), FieldErrors::default());
    show(&state, &visit, holder, form, errors).await
}

async fn add_to_part(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(code): Path<String>,
    sent: Result<Multipart, MultipartRejection>,
) -> Result<Response, AppError> {
    let holder = part(&state, &code).await?;
    add(&state, &visit, &who, holder, AddForm::read(sent).await?).await
}

async fn show_of_request(
    State(state): State<AppState>,
    visit: Visit,
    Path(number): Path<String>,
) -> Result<Response, AppError> {
    let holder = request(&state, &number).await?;
    show(
        &state,
        &visit,
        holder,
        AddForm::default(),
        FieldErrors::default(),
    )
    .await
}

async fn show_of_lot(
    State(state): State<AppState>,
    visit: Visit,
    Path(code): Path<String>,
) -> Result<Response, AppError> {
    let holder = lot(&state, &code).await?;
    show(
        &state,
        &visit,
        holder,
        AddForm::default(),
        FieldErrors::default(),
    )
    .await
}

async fn add_to_request(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(number): Path<String>,
    sent: Result<Multipart, MultipartRejection>,
) -> Result<Response, AppError> {
    let holder = request(&state, &number).await?;
    add(&state, &visit, &who, holder, AddForm::read(sent).await?).await
}

async fn add_to_lot(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(code): Path<String>,
    sent: Result<Multipart, MultipartRejection>,
) -> Result<Response, AppError> {
    let holder = lot(&state, &code).await?;
    add(&state, &visit, &who, holder, AddForm::read(sent).await?).await
}

/// Takes all files of the form, or none and says which is at fault.
async fn add(
    state: &AppState,
    visit: &Visit,
    who: &Who,
    holder: Holder,
    mut form: AddForm,
) -> Result<Response, AppError> {
    let caption = match form.parse() {
        Ok(caption) => caption,
        Err(errors) => return show(state, visit, holder, form, errors).await,
    };
    let files = match ready(state, std::mem::take(&mut form.files)).await? {
        Ok(files) => files,
        Err(errors) => return show(state, visit, holder, form, errors).await,
    };
    match adding::add(state, who, &holder, &caption, files).await? {
        Ok(added) => Ok(added),
        Err(errors) => show(state, visit, holder, form, errors).await,
    }
}

/// Makes sent files ready to be hung, or says which is at fault. Not while a change is open.
pub async fn ready(
    state: &AppState,
    files: Vec<SentFile>,
) -> Result<Result<Vec<Named>, FieldErrors>, AppError> {
    if let Some(text) = form::too_many(&files) {
        let mut errors = FieldErrors::default();
        errors.add("files", text);
        return Ok(Err(errors));
    }
    let mut named = Vec::new();
    for SentFile { name, bytes, .. } in files {
        match state.intake.take_in(bytes).await? {
            Ok(ready) => named.push(Named { name, ready }),
            Err(fault) => {
                let mut errors = FieldErrors::default();
                errors.add("files", format!("“{name}” {fault}"));
                return Ok(Err(errors));
            }
        }
    }
    Ok(Ok(named))
}

async fn show(
    state: &AppState,
    visit: &Visit,
    holder: Holder,
    form: AddForm,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let attached = queries::of(&state.db.read, &holder).await?;
    let title = format!("Photos of {}", holder.code());
    let layout = visit.layout(holder.screen(), &title).await?;
    page_with(
        status(&errors),
        &pages::PhotosPage::new(layout, visit, holder, &attached, form, errors),
    )
}

fn status(errors: &FieldErrors) -> StatusCode {
    if errors.is_empty() {
        StatusCode::OK
    } else {
        StatusCode::UNPROCESSABLE_ENTITY
    }
}

async fn ask_why(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(id): Path<String>,
) -> Result<Response, AppError> {
    let (holder, attached) = own(&state, &who, &id).await?;
    let form = TakeOffForm::default();
    reason_page(&visit, holder, &attached, form, FieldErrors::default()).await
}

async fn take_off(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(id): Path<String>,
    Posted(form): Posted<TakeOffForm>,
) -> Result<Response, AppError> {
    let (holder, attached) = own(&state, &who, &id).await?;
    match form.parse() {
        Ok(reason) => adding::take_off(&state, &who, &holder, attached.id, reason).await,
        Err(errors) => reason_page(&visit, holder, &attached, form, errors).await,
    }
}

async fn reason_page(
    visit: &Visit,
    holder: Holder,
    attached: &Attached,
    form: TakeOffForm,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let layout = visit.layout(holder.screen(), "Take a photo off").await?;
    page_with(
        status(&errors),
        &pages::TakeOffPage::new(layout, visit, holder, attached, form, errors),
    )
}

/// What this person may take off, with what it hangs on.
async fn own(state: &AppState, who: &Who, id: &str) -> Result<(Holder, Attached), AppError> {
    let none = || AppError::NotFound {
        what: format!("photo or paper '{id}'"),
    };
    let id: Uuid = id.parse().map_err(|_| none())?;
    let read = &state.db.read;
    let (kind, key) = queries::holder_of(read, id).await?.ok_or_else(none)?;
    let holder = Holder::stored(read, &kind, &key).await?.ok_or_else(none)?;
    let attached = queries::of(read, &holder).await?;
    let attached = attached.into_iter().find(|attached| attached.id == id);
    let attached = attached.ok_or_else(none)?;
    if pages::may_take_off(who, &attached) {
        Ok((holder, attached))
    } else {
        Err(AppError::Refused(format!(
            "only {}, who added it, or the lead may take this off; ask one of them",
            attached.added_by
        )))
    }
}
