//! The part file on a page, as one file, and as an archive.

use askama::Template;
use axum::extract::{Path, State};
use axum::http::header::{CONTENT_DISPOSITION, CONTENT_TYPE};
use axum::response::{IntoResponse, Response};
use chrono_tz::Tz;
use serde_json::Value;

use super::sections::{Kind, Section};
use super::{PartFile, archive};
use crate::AppState;
use crate::error::AppError;
use crate::form::plain_decimal;
use crate::journal::{about, words};
use crate::page::{Layout, Screen, grams_exact, moment, page, whole};
use crate::people::Visit;

#[derive(Template)]
#[template(path = "part_file/page.html")]
struct FilePage<'a> {
    page: Layout,
    path: String,
    file: &'a PartFile,
    shown: Shown,
}

/// The same without anything around it, for a file of its own.
#[derive(Template)]
#[template(path = "part_file/alone.html")]
struct AlonePage<'a> {
    file: &'a PartFile,
    shown: Shown,
}

/// What is shown of it, in words.
struct Shown {
    tables: Vec<Table>,
    files: Vec<FileRow>,
    entries: Vec<EntryRow>,
    as_of: String,
}

struct Table {
    title: &'static str,
    /// Each row as pairs of a word and what stands there; what is empty is left out.
    rows: Vec<Vec<(&'static str, String)>>,
    none: &'static str,
}

struct FileRow {
    hash: String,
    name: String,
    path: String,
    what: String,
    by: String,
}

struct EntryRow {
    sequence: i64,
    at: String,
    who: String,
    what: String,
    hash: String,
}

impl Shown {
    fn of(file: &PartFile) -> Shown {
        let zone = file.zone;
        Shown {
            tables: file.sections.iter().map(|it| table(it, zone)).collect(),
            files: file.files.iter().map(|it| file_row(it, zone)).collect(),
            entries: file
                .entries
                .iter()
                .map(|it| EntryRow {
                    sequence: it.sequence,
                    at: moment(it.time, zone),
                    who: it.by.clone(),
                    what: format!(
                        "{}, {}",
                        words(&it.kind),
                        about(&it.subject.kind, &it.subject.id)
                    ),
                    hash: it.hash.to_string(),
                })
                .collect(),
            as_of: moment(file.as_of_ms, zone),
        }
    }
}

fn file_row(it: &super::File, zone: Tz) -> FileRow {
    let caption = if it.caption.is_empty() {
        &it.sent_as
    } else {
        &it.caption
    };
    FileRow {
        hash: it.hash.to_string(),
        name: it.name.clone(),
        path: format!("/attachments/{}", it.hash),
        what: format!(
            "{caption}, of {}, {} kB",
            it.of,
            whole((it.size + 999) / 1000)
        ),
        by: format!("{}, {}", it.by, moment(it.added_ms, zone)),
    }
}

fn table(section: &Section, zone: Tz) -> Table {
    let row = |values: &Vec<Value>| {
        let cells = section.columns.iter().zip(values);
        let cells = cells.map(|(column, value)| (column.word, words_of(column.kind, value, zone)));
        cells.filter(|(_, said)| !said.is_empty()).collect()
    };
    Table {
        title: section.title,
        rows: section.rows.iter().map(row).collect(),
        none: section.none,
    }
}

/// A value in words; empty where nothing was said.
fn words_of(kind: Kind, value: &Value, zone: Tz) -> String {
    match (kind, value) {
        (_, Value::Null) => String::new(),
        (Kind::Plain, Value::String(text)) => text.clone(),
        (Kind::YesNo, Value::Number(is)) => {
            if is.as_i64() == Some(0) { "no" } else { "YES" }.to_owned()
        }
        (Kind::Time, Value::Number(ms)) => moment(ms.as_i64().unwrap_or(0), zone),
        (Kind::Mass, Value::Number(mg)) => grams_exact(mg.as_i64().unwrap_or(0)),
        (Kind::Length, Value::Number(nm)) => {
            format!("{} mm", plain_decimal(nm.as_i64().unwrap_or(0), 6))
        }
        (_, other) => other.to_string(),
    }
}

async fn load(state: &AppState, number: &str) -> Result<PartFile, AppError> {
    let mut reading = state.db.read.begin().await?;
    PartFile::load(&mut reading, number).await
}

pub(super) async fn show(
    State(state): State<AppState>,
    visit: Visit,
    Path(number): Path<String>,
) -> Result<Response, AppError> {
    let file = load(&state, &number).await?;
    let title = format!("Part file R{}", file.number);
    page(&FilePage {
        page: visit.layout(Screen::Requests, &title).await?,
        path: format!("/requests/{}", file.number),
        shown: Shown::of(&file),
        file: &file,
    })
}

/// The part file as one HTML file that opens without this service.
pub(super) fn html(file: &PartFile) -> Result<String, AppError> {
    let shown = Shown::of(file);
    Ok(AlonePage { file, shown }.render()?)
}

pub(super) async fn alone(
    State(state): State<AppState>,
    Path(number): Path<String>,
) -> Result<Response, AppError> {
    let file = load(&state, &number).await?;
    Ok(download(
        &file.name("html"),
        "text/html; charset=utf-8",
        html(&file)?,
    ))
}

pub(super) async fn zipped(
    State(state): State<AppState>,
    Path(number): Path<String>,
) -> Result<Response, AppError> {
    let mut reading = state.db.read.begin().await?;
    let file = PartFile::load(&mut reading, &number).await?;
    let bytes = archive(&mut reading, &file).await?;
    Ok(download(&file.name("zip"), "application/zip", bytes))
}

fn download(name: &str, kind: &'static str, body: impl IntoResponse) -> Response {
    let disposition = format!("attachment; filename=\"{name}\"");
    let headers = [
        (CONTENT_TYPE, kind.to_owned()),
        (CONTENT_DISPOSITION, disposition),
    ];
    (headers, body).into_response()
}
