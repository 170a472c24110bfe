//! What a scan opens, and what to say where it opens nothing.

use askama::Template;
use axum::extract::{Query, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use mendpost_core::label::{self, Kind, Read, Unreadable};
use serde::Deserialize;

use super::queries::{self, Named};
use crate::AppState;
use crate::error::AppError;
use crate::page::{Layout, Screen, page_with};
use crate::people::Visit;
use crate::powder::lot_path;

/// What a scanner or a person typed.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Scan {
    read: String,
}

#[derive(Template)]
#[template(path = "labels/scan.html")]
struct ScanPage {
    page: Layout,
    answer: &'static str,
    reason: String,
    /// What stands in the field.
    typed: String,
    error: String,
    /// What the code may mean, where it is more than one thing.
    choices: Vec<Choice>,
}

struct Choice {
    path: String,
    /// 'container L0396-1'.
    name: String,
    about: String,
}

/// Opens what was scanned; changes nothing.
pub async fn open(
    State(state): State<AppState>,
    visit: Visit,
    Query(scan): Query<Scan>,
) -> Result<Response, AppError> {
    let (kind, code) = match label::read(&scan.read) {
        Ok(Read::Label(label)) => (Some(label.kind()), label.code().to_owned()),
        Ok(Read::Code(code)) => (None, code),
        Err(fault) => return refused(&visit, &scan.read, &fault).await,
    };
    let mut found = queries::named(&state.db.read, &code).await?;
    found.retain(|named| kind.is_none_or(|kind| stands_on(kind) == named.kind));
    match found.as_slice() {
        [] => unknown(&visit, kind, code).await,
        [one] => Ok(Redirect::to(&path(one)).into_response()),
        several => choose(&visit, code, several).await,
    }
}

/// What a label of this kind stands on: a release tag goes with the part that its request asked for.
fn stands_on(kind: Kind) -> Kind {
    match kind {
        Kind::ReleaseTag => Kind::Request,
        other => other,
    }
}

/// Where the page of something stands; a container is marked on its lot's page.
fn path(named: &Named) -> String {
    match (named.kind, &named.lot) {
        (Kind::Container, Some(lot)) => {
            format!("{}#container-{}", lot_path(lot), named.code)
        }
        (Kind::Request | Kind::ReleaseTag, _) => {
            format!("/requests/{}", named.code.trim_start_matches('R'))
        }
        (Kind::Container | Kind::Lot, _) => lot_path(&named.code),
    }
}

async fn refused(visit: &Visit, typed: &str, fault: &Unreadable) -> Result<Response, AppError> {
    let nothing = *fault == Unreadable::Nothing;
    let (status, answer) = match fault {
        Unreadable::Nothing => (StatusCode::OK, "Scan a label, or type its code."),
        _ => (
            StatusCode::UNPROCESSABLE_ENTITY,
            "Scan again, or type the code.",
        ),
    };
    let page = ScanPage {
        page: visit.layout(Screen::Labels, "Scan").await?,
        answer,
        reason: String::new(),
        // A read that is far too long is not worth correcting by hand.
        typed: match fault {
            Unreadable::TooLong { .. } => String::new(),
            _ => typed.trim().to_owned(),
        },
        error: match nothing {
            true => String::new(),
            false => fault.to_string(),
        },
        choices: Vec::new(),
    };
    page_with(status, &page)
}

async fn unknown(visit: &Visit, kind: Option<Kind>, code: String) -> Result<Response, AppError> {
    let error = match kind {
        Some(kind) => format!(
            "The label was read whole: it says {kind} {code}. This site has none of that code; the label \
             may be of another site. Set it aside and ask the storekeeper."
        ),
        None => format!(
            "'{code}' names no container, lot or request here. Type the code as it stands on the label in \
             large letters, as L0396-1, L0396 or R12."
        ),
    };
    let page = ScanPage {
        page: visit.layout(Screen::Labels, "Scan").await?,
        answer: "Look at the label: its code is not known here.",
        reason: String::new(),
        typed: code,
        error,
        choices: Vec::new(),
    };
    page_with(StatusCode::NOT_FOUND, &page)
}

async fn choose(visit: &Visit, code: String, several: &[Named]) -> Result<Response, AppError> {
    let choices = several.iter().map(|named| Choice {
        path: path(named),
        name: format!("{} {}", named.kind, named.code),
        about: named.about.clone(),
    });
    let page = ScanPage {
        page: visit.layout(Screen::Labels, "Scan").await?,
        answer: "Choose what is meant.",
        reason: format!("{code} names {} things here.", several.len()),
        typed: code,
        error: String::new(),
        choices: choices.collect(),
    };
    page_with(StatusCode::OK, &page)
}
