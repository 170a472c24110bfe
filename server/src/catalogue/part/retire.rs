//! Taking a part out of the offer, and back.

use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::Response;
use mendpost_core::catalogue::Part;
use mendpost_core::journal::Subject;
use serde::Deserialize;
use serde_json::json;

use super::super::{part_of, path};
use super::queries;
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted, text};
use crate::page::act::{ActPage, Field};
use crate::page::{Notice, Screen, page_with};
use crate::people::{Visit, Who};
use crate::situation;
use crate::version::is_current;

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct RetireForm {
    reason: String,
    version: String,
}

pub async fn ask_why(
    State(state): State<AppState>,
    visit: Visit,
    Path(code): Path<String>,
) -> Result<Response, AppError> {
    let situation = situation::now(&state).await?;
    let part = part_of(&situation, &code)?;
    let row = queries::row(&state.db.read, &code).await?;
    let form = RetireForm {
        version: row.version.to_string(),
        ..RetireForm::default()
    };
    let errors = FieldErrors::default();
    retire_page(&visit, StatusCode::OK, part, &form, errors).await
}

pub async fn retire(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(code): Path<String>,
    Posted(mut form): Posted<RetireForm>,
) -> Result<Response, AppError> {
    let situation = situation::now(&state).await?;
    let part = part_of(&situation, &code)?;
    let mut errors = FieldErrors::default();
    let reason = errors.check("reason", text(&form.reason, 500));
    let mut change = Change::begin(&state, &who).await?;
    let row = queries::row(change.connection(), &code).await?;
    let overtaken = match &row.retired_reason {
        Some(said) => Some(format!(
            "Not saved: {code} is retired already ({said}); leave it as it is."
        )),
        None if !is_current(&form.version, row.version) => Some(format!(
            "Not saved: {code} was changed by somebody else while you had this open. It is called '{}' now; retire it again if that is still right.",
            part.name
        )),
        None => None,
    };
    if let Some(overtaken) = overtaken {
        drop(change);
        errors.add_whole(overtaken);
        form.version = row.version.to_string();
        return retire_page(&visit, StatusCode::CONFLICT, part, &form, errors).await;
    }
    let Some(reason) = reason else {
        drop(change);
        return retire_page(&visit, errors.status(), part, &form, errors).await;
    };
    let said = format!("{code} is not offered any more; what stands on record of it stays");
    set(change, &who, &code, row, Some(&reason), &said).await
}

pub async fn bring_back(
    State(state): State<AppState>,
    who: Who,
    Path(code): Path<String>,
    Posted(form): Posted<RetireForm>,
) -> Result<Response, AppError> {
    let mut change = Change::begin(&state, &who).await?;
    let row = queries::row(change.connection(), &code).await?;
    if row.retired_reason.is_none() {
        return Err(AppError::Conflict(format!("{code} is offered already")));
    }
    if !is_current(&form.version, row.version) {
        return Err(AppError::Conflict(format!(
            "{code} was changed by somebody else meanwhile; look at it again"
        )));
    }
    let said = format!("{code} is offered again");
    set(change, &who, &code, row, None, &said).await
}

async fn set(
    mut change: Change,
    who: &Who,
    code: &str,
    row: queries::PartRow,
    reason: Option<&str>,
    said: &str,
) -> Result<Response, AppError> {
    queries::set_retired(&mut change, row.id, reason).await?;
    let kind = match reason {
        Some(_) => "part.retired",
        None => "part.brought-back",
    };
    let content = json!({
        "version": row.version + 1,
        "reason": reason,
        "before": row.retired_reason,
    });
    let journal = change
        .journal(kind, Subject::new("part", code), content)
        .await?;
    let notice = Notice::done("SAVED", format!("{said}. Journal {journal}."));
    change.finish(who, &path(code), notice).await
}

async fn retire_page(
    visit: &Visit,
    status: StatusCode,
    part: &Part,
    form: &RetireForm,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let back = path(part.code.as_str());
    let act = ActPage {
        page: visit.layout(Screen::Catalogue, part.code.as_str()).await?,
        answer: format!("Retire the {}.", part.name),
        reason: "It is not offered for new requests; open ones stay.".to_owned(),
        pairs: vec![("Part", format!("{}, {}", part.name, part.code))],
        fields: vec![
            Field::hidden("version", &form.version),
            Field::area(
                "reason",
                "Why",
                &form.reason,
                "machine gone, part replaced by another",
            ),
        ],
        action: format!("{back}/retire"),
        verb: "Retire it",
        detail: "it can be brought back".to_owned(),
        back: ("Leave it as it is", back),
        ask: None,
        errors,
    };
    page_with(status, &act)
}
