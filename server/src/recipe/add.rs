//! Adding an operation to a draft: a stage or a step, after another or as the first.

use axum::extract::{Path, State};
use axum::response::Response;
use mendpost_core::catalogue::Recipe;

use super::form::OperationForm;
use super::operation::{RECKON, Shown, form_page, worked_out};
use super::queries;
use super::save::{OperationChange, editable, save};
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted};
use crate::people::{Visit, Who};
use crate::situation;
use crate::version::is_current;

type At = Path<(String, String, String, String)>;

/// Whether it is a stage, and its place, from 1.
fn place(recipe: &Recipe, what: &str, after: &str) -> Result<(bool, usize), AppError> {
    let stage = match what {
        "stage" => Some(true),
        "step" => Some(false),
        _ => None,
    };
    let after = after.parse().ok();
    let after: Option<usize> = after.filter(|after| *after <= recipe.operations.len());
    let found = stage.zip(after.map(|after| after + 1));
    found.ok_or_else(|| AppError::NotFound {
        what: format!("place for a {what} in {} {}", recipe.code, recipe.revision),
    })
}

fn shown(stage: bool, place: usize) -> Shown {
    let mut shown = Shown::new(place, stage);
    shown.after = Some(place - 1);
    shown
}

pub async fn blank(
    State(state): State<AppState>,
    visit: Visit,
    Path((code, revision, what, after)): At,
) -> Result<Response, AppError> {
    let revision = queries::find(&state, &code, &revision).await?;
    editable(&revision)?;
    let (stage, place) = place(&revision.recipe, &what, &after)?;
    let situation = situation::now(&state).await?;
    let mut form = OperationForm::blank(stage);
    form.version = revision.version.to_string();
    let shown = shown(stage, place);
    form_page(&visit, &situation, &revision.recipe, form, shown).await
}

pub async fn add(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path((code, revision, what, after)): At,
    Posted(mut form): Posted<OperationForm>,
) -> Result<Response, AppError> {
    let mut change = Change::begin(&state, &who).await?;
    let revision = queries::load(change.connection(), &code, &revision).await?;
    editable(&revision)?;
    let recipe = &revision.recipe;
    let (stage, place) = place(recipe, &what, &after)?;
    let now = situation::moment(visit.now).map_err(AppError::internal)?;
    let situation = situation::load(change.connection(), now).await?;
    let mut shown = shown(stage, place);
    let places = recipe.operations.len() + 1;
    let read = form.parse(stage, (place, places), &situation, &mut shown.errors);
    let Some(operation) = read else {
        drop(change);
        return form_page(&visit, &situation, recipe, form, shown).await;
    };
    if form.then == RECKON {
        drop(change);
        shown.takes = Some(worked_out(&state, &situation, &operation).await?);
        return form_page(&visit, &situation, recipe, form, shown).await;
    }
    if !is_current(&form.version, revision.version) {
        drop(change);
        let mut errors = FieldErrors::default();
        errors.add_whole(format!(
            "Not saved: somebody changed the recipe while you had this open. This would be \
             operation {place} of {places} now; look at its place, then save again."
        ));
        form.version = revision.version.to_string();
        shown.errors = errors;
        shown.status = axum::http::StatusCode::CONFLICT;
        return form_page(&visit, &situation, recipe, form, shown).await;
    }
    let mut written = recipe.clone();
    written.insert(place, operation.clone());
    // What it holds ends where its own form says, not where the others were pushed to.
    written.operations[place - 1]
        .fixture
        .clone_from(&operation.fixture);
    let content = OperationChange {
        version: revision.version + 1,
        position: place,
        from: None,
        before: None,
        after: Some(&operation),
    };
    let said = format!("operation {place}, {}, is added", operation.name);
    let kind = "recipe.operation-added";
    save(change, &who, &revision, &written, (kind, content), &said).await
}
