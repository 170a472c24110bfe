//! Writing a part: a new one, what is said of it now, taking it out of the offer and back.

mod form;
mod pages;
mod queries;
mod retire;

use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::Response;
use mendpost_core::journal::Subject;
use serde_json::json;

use super::store::{insert_part, said, update_part};
use super::{part_of, path};
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted};
use crate::page::Notice;
use crate::people::{Visit, Who};
use crate::version::is_current;
use crate::words::work::sentence;
use crate::{shape, situation};
use form::PartForm;
use pages::{Shown, form_page, stale};

pub use queries::row as row_of;
pub use retire::{ask_why, bring_back, retire};

pub async fn blank(State(state): State<AppState>, visit: Visit) -> Result<Response, AppError> {
    let situation = situation::now(&state).await?;
    let form = PartForm {
        allowance: "0".to_owned(),
        ..PartForm::default()
    };
    form_page(&visit, &situation, form, Shown::default()).await
}

pub async fn add(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Posted(form): Posted<PartForm>,
) -> Result<Response, AppError> {
    let mut change = Change::begin(&state, &who).await?;
    let now = visit.moment()?;
    let situation = situation::load(change.connection(), now).await?;
    let mut errors = FieldErrors::default();
    let read = form.parse(None, &situation, &mut errors);
    let taken = situation
        .parts
        .iter()
        .find(|part| part.code.as_str() == form.code.trim());
    if let Some(taken) = taken {
        let fault = format!("{} is the {} already; give another", taken.code, taken.name);
        errors.add("code", fault);
    }
    let Some((part, _)) = read.filter(|_| errors.is_empty()) else {
        drop(change);
        return form_page(&visit, &situation, form, Shown::faulty(errors)).await;
    };
    insert_part(&mut change, &part).await?;
    let entry = said(&part, 1);
    let subject = Subject::new("part", &part.code);
    let journal = change.journal("part.listed", subject, entry).await?;
    let text = format!(
        "{}, {}. Journal {journal}. Write a recipe for it next.",
        sentence(&part.name),
        part.code
    );
    let location = path(part.code.as_str());
    change
        .finish(&who, &location, Notice::done("SAVED", text))
        .await
}

pub async fn open(
    State(state): State<AppState>,
    visit: Visit,
    Path(code): Path<String>,
) -> Result<Response, AppError> {
    let situation = situation::now(&state).await?;
    let part = part_of(&situation, &code)?;
    let row = queries::row(&state.db.read, &code).await?;
    let kept = shape::queries::of_part(&state.db.read, &code).await?;
    let form = PartForm::of(part, row.version);
    let shown = Shown {
        stands: Some(part.clone()),
        figures: kept.map(|kept| kept.figures),
        ..Shown::default()
    };
    form_page(&visit, &situation, form, shown).await
}

pub async fn save(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(code): Path<String>,
    Posted(mut form): Posted<PartForm>,
) -> Result<Response, AppError> {
    if !form.take.is_empty() {
        return taken_over(&state, &visit, &code, form).await;
    }
    let kept = shape::queries::of_part(&state.db.read, &code).await?;
    let mut change = Change::begin(&state, &who).await?;
    let now = visit.moment()?;
    let situation = situation::load(change.connection(), now).await?;
    let stands = part_of(&situation, &code)?;
    let row = queries::row(change.connection(), &code).await?;
    let mut shown = Shown {
        stands: Some(stands.clone()),
        figures: kept.map(|kept| kept.figures),
        ..Shown::default()
    };
    let read = form.parse(Some(stands), &situation, &mut shown.errors);
    let Some((after, reason)) = read else {
        drop(change);
        shown.status = shown.errors.status();
        return form_page(&visit, &situation, form, shown).await;
    };
    let subject = Subject::new("part", &stands.code);
    if !is_current(&form.version, row.version) {
        drop(change);
        let found = stale(&state, (stands, &after), &subject, row.version).await?;
        form.version = found.version.to_string();
        shown.status = StatusCode::CONFLICT;
        shown.stale = Some(found);
        return form_page(&visit, &situation, form, shown).await;
    }
    update_part(&mut change, row.id, &after).await?;
    let entry = json!({
        "version": row.version + 1,
        "before": said(stands, row.version),
        "after": said(&after, row.version + 1),
        "reason": reason,
    });
    let journal = change.journal("part.changed", subject, entry).await?;
    let text = format!("{}, {code}. Journal {journal}.", sentence(&after.name));
    change
        .finish(&who, &path(&code), Notice::done("SAVED", text))
        .await
}

/// The form with what a button takes over from the shape; it saves nothing.
async fn taken_over(
    state: &AppState,
    visit: &Visit,
    code: &str,
    mut form: PartForm,
) -> Result<Response, AppError> {
    let situation = situation::now(state).await?;
    let part = part_of(&situation, code)?;
    let kept = shape::queries::of_part(&state.db.read, code).await?;
    let shown = Shown {
        stands: Some(part.clone()),
        figures: kept.map(|kept| kept.figures),
        ..Shown::default()
    };
    form.take_over(shown.figures.as_ref(), &situation);
    form_page(visit, &situation, form, shown).await
}
