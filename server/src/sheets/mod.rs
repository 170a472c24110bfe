//! Parts, recipes, assets, capabilities and lots as sheets that a spreadsheet program reads and saves: taken out,
//! or brought in once somebody has seen what that would do.
//!
//! Columns and rules are those of the site's files (`seed`): there is one reader for both.

mod asset;
mod capability;
mod cell;
mod columns;
mod comparison;
mod items;
mod kind;
mod lot;
mod pages;
mod part;
mod queries;
mod reading;
mod recipe;
mod upload;
mod writing;

use axum::extract::multipart::MultipartRejection;
use axum::extract::{Multipart, Path, Query, State};
use axum::http::StatusCode;
use axum::http::header::{CONTENT_DISPOSITION, CONTENT_TYPE};
use axum::response::{IntoResponse, Response};
use mendpost_core::journal::Subject;
use mendpost_core::people::Act;
use serde::Deserialize;

use crate::AppState;
use crate::change::{Change, last_sequence};
use crate::error::AppError;
use crate::form::{FieldErrors, text};
use crate::page::{Notice, page, page_with};
use crate::people::{Visit, Who};
use crate::routes::Routes;
use crate::seed::records::Separator;
use crate::seed::time::Calendar;
use reading::Reading;
use upload::Upload;

pub use kind::Kind;

/// Where all kinds stand.
pub const PATH: &str = "/site/sheets";

type Sent = Result<Multipart, MultipartRejection>;

pub fn routes() -> Routes {
    let routes = Routes::default()
        .get(PATH, Act::Look, list)
        .get("/site/sheets/{kind}/{file}", Act::Look, download)
        .get("/site/sheets/{kind}/template/{file}", Act::Look, template)
        .get("/site/sheets/{kind}/imported/{hash}", Act::Look, imported);
    Kind::ALL.into_iter().fold(routes, |routes, kind| {
        routes
            .get(
                kind.path(),
                Act::Look,
                move |state: State<AppState>, visit: Visit| show(kind, state, visit),
            )
            .post_files(
                kind.path(),
                kind.act(),
                move |state: State<AppState>, visit: Visit, sent: Sent| {
                    preview(kind, state, visit, sent)
                },
            )
            .post_files(
                kind.import_path(),
                kind.act(),
                move |state: State<AppState>, visit: Visit, who: Who, sent: Sent| {
                    import(kind, state, visit, who, sent)
                },
            )
    })
}

async fn list(State(state): State<AppState>, visit: Visit) -> Result<Response, AppError> {
    let counts = queries::counts(&state.db.read).await?;
    page(&pages::ListPage::new(&visit, counts).await?)
}

async fn show(kind: Kind, state: State<AppState>, visit: Visit) -> Result<Response, AppError> {
    kind_page(kind, &state, &visit, FieldErrors::default()).await
}

async fn kind_page(
    kind: Kind,
    state: &AppState,
    visit: &Visit,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let imports = queries::imports(&state.db.read, kind).await?;
    let shown = pages::KindPage::new(kind, visit, imports, errors).await?;
    page_with(shown.errors.status(), &shown)
}

/// Says what an import would do. Nothing is kept of it.
async fn preview(
    kind: Kind,
    State(state): State<AppState>,
    visit: Visit,
    sent: Sent,
) -> Result<Response, AppError> {
    let upload = Upload::read(kind, sent).await?;
    let errors = upload.check(kind);
    if !errors.is_empty() {
        return kind_page(kind, &state, &visit, errors).await;
    }
    let mut reading = state.db.read.begin().await?;
    let read = Reading::of(kind, &upload, &mut reading, calendar(&visit)?).await?;
    drop(reading);
    match read {
        Ok(read) => preview_page(kind, &visit, &upload, &read, Shown::default()).await,
        Err(faults) => faults_page(kind, &visit, faults).await,
    }
}

/// Brings in what was shown, whole. What has become something else since is shown again instead.
async fn import(
    kind: Kind,
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    sent: Sent,
) -> Result<Response, AppError> {
    let upload = Upload::read(kind, sent).await?;
    let errors = upload.check(kind);
    if !errors.is_empty() {
        return kind_page(kind, &state, &visit, errors).await;
    }
    let calendar = calendar(&visit)?;
    // Read before the writing connection is taken, so that nobody waits for it; and once more only if
    // something changed until then.
    let mut reading = state.db.read.begin().await?;
    let seen = last_sequence(&mut *reading).await?;
    let mut read = Reading::of(kind, &upload, &mut reading, calendar).await?;
    drop(reading);
    let mut change = Change::begin(&state, &who).await?;
    if last_sequence(change.connection()).await? != seen {
        read = Reading::of(kind, &upload, change.connection(), calendar).await?;
    }
    let read = match read {
        Ok(read) => read,
        Err(faults) => {
            drop(change);
            return faults_page(kind, &visit, faults).await;
        }
    };
    if read.digest(&upload) != upload.shown || read.changes_nothing() {
        drop(change);
        return preview_page(kind, &visit, &upload, &read, Shown::changed()).await;
    }
    let mut errors = FieldErrors::default();
    let reason = match read.takes_a_reason() {
        true => errors.check("reason", text(&upload.reason, 500)),
        false => Some(String::new()),
    };
    let Some(reason) = reason else {
        drop(change);
        return preview_page(kind, &visit, &upload, &read, Shown::faulty(errors)).await;
    };
    let content = read.content(&upload);
    let (new, changed) = (read.added().count(), read.changed().len());
    let subject = Subject::new("sheet", kind.word());
    let journal = change.journal("sheet.imported", subject, content).await?;
    for (hash, text) in upload.by_hash() {
        queries::keep(change.connection(), (hash, &text), journal).await?;
    }
    read.write(&mut change, &who, journal, &reason).await?;
    let text = format!(
        "{} new, {} changed. Journal {journal}. Plan again to count with it.",
        kind.count(new),
        pages::figure(changed)
    );
    change
        .finish(&who, kind.path(), Notice::done("SAVED", text))
        .await
}

const CHANGED: &str = "Something changed here since this was shown, so nothing is imported yet. This is \
                       what the sheet would do now.";

/// How a preview is shown.
#[derive(Default)]
struct Shown {
    status: StatusCode,
    warning: &'static str,
    errors: FieldErrors,
}

impl Shown {
    fn changed() -> Shown {
        Shown {
            status: StatusCode::CONFLICT,
            warning: CHANGED,
            ..Shown::default()
        }
    }

    fn faulty(errors: FieldErrors) -> Shown {
        Shown {
            status: errors.status(),
            errors,
            ..Shown::default()
        }
    }
}

async fn preview_page(
    kind: Kind,
    visit: &Visit,
    upload: &Upload,
    read: &Reading,
    shown: Shown,
) -> Result<Response, AppError> {
    let status = shown.status;
    let page = pages::PreviewPage::new(kind, visit, upload, read, shown).await?;
    page_with(status, &page)
}

async fn faults_page(
    kind: Kind,
    visit: &Visit,
    faults: Vec<crate::seed::SeedFault>,
) -> Result<Response, AppError> {
    let shown = pages::FaultsPage::new(kind, visit, faults).await?;
    page_with(StatusCode::UNPROCESSABLE_ENTITY, &shown)
}

fn calendar(visit: &Visit) -> Result<Calendar, AppError> {
    Ok(Calendar {
        zone: visit.site.zone,
        now: visit.moment()?,
    })
}

/// How a file is to be written.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct Choice {
    separator: String,
}

impl Choice {
    fn separator(&self) -> Separator {
        match self.separator == Separator::Semicolon.word() {
            true => Separator::Semicolon,
            false => Separator::Comma,
        }
    }
}

fn kind_of(word: &str) -> Result<Kind, AppError> {
    let mut kinds = Kind::ALL.into_iter();
    let found = kinds.find(|kind| kind.word() == word);
    found.ok_or_else(|| AppError::NotFound {
        what: format!("sheet of '{word}'"),
    })
}

async fn download(
    State(state): State<AppState>,
    visit: Visit,
    Path((kind, file)): Path<(String, String)>,
    Query(choice): Query<Choice>,
) -> Result<Response, AppError> {
    let kind = kind_of(&kind)?;
    let zone = visit.site.zone;
    let mut reading = state.db.read.begin().await?;
    let written = queries::written(kind, &file, &mut reading, zone, choice.separator()).await?;
    let written = written.ok_or_else(|| no_file(&file))?;
    Ok(csv(&file, written))
}

async fn template(
    Path((kind, file)): Path<(String, String)>,
    Query(choice): Query<Choice>,
) -> Result<Response, AppError> {
    let mut sheets = kind_of(&kind)?.sheets().iter();
    let sheet = sheets.find(|sheet| sheet.file == file);
    let sheet = sheet.ok_or_else(|| no_file(&file))?;
    Ok(csv(&file, writing::template(sheet, choice.separator())?))
}

/// The text of a sheet that was imported, by its hash.
async fn imported(
    State(state): State<AppState>,
    Path((kind, hash)): Path<(String, String)>,
) -> Result<Response, AppError> {
    let kind = kind_of(&kind)?;
    let text = queries::kept(&state.db.read, &hash).await?;
    let text = text.ok_or_else(|| AppError::NotFound {
        what: format!("imported sheet {hash}"),
    })?;
    // As it was sent, formulas and all: nothing that a spreadsheet program opens by itself.
    let name = format!("imported-{}.txt", kind.word());
    Ok(file_of("text/plain", &name, text.into_bytes()))
}

fn no_file(file: &str) -> AppError {
    AppError::NotFound {
        what: format!("file '{file}' here"),
    }
}

fn csv(name: &str, bytes: Vec<u8>) -> Response {
    file_of("text/csv", name, bytes)
}

/// The name is one of ours, without a quote in it.
fn file_of(media_type: &str, name: &str, bytes: Vec<u8>) -> Response {
    let headers = [
        (CONTENT_TYPE, format!("{media_type}; charset=utf-8")),
        (
            CONTENT_DISPOSITION,
            format!("attachment; filename=\"{name}\""),
        ),
    ];
    (headers, bytes).into_response()
}
