//! Adding an operation to a draft: a stage or a step, after another or as the first.

use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::Response;
use mendpost_core::catalogue::Recipe;

use super::form::OperationForm;
use super::operation::{RECKON, Shown, form_page, reckon};
use super::queries;
use super::save::{OperationChange, closed, editable, save};
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::Posted;
use crate::people::{Visit, Who};
use crate::situation;
use crate::version::is_current;

type At = Path<(String, String, String, String)>;

/// Where a stage or a step would be added; at the end where the recipe has become shorter meanwhile.
fn place(recipe: &Recipe, what: &str, after: &str) -> Result<Shown, AppError> {
    let stage = match what {
        "stage" => Some(true),
        "step" => Some(false),
        _ => None,
    };
    let found = stage.zip(after.parse().ok());
    let (stage, after) = found.ok_or_else(|| AppError::NotFound {
        what: format!("place for a {what} in {} {}", recipe.code, recipe.revision),
    })?;
    Ok(Shown::added(recipe, stage, after))
}

pub async fn blank(
    State(state): State<AppState>,
    visit: Visit,
    Path((code, revision, what, after)): At,
) -> Result<Response, AppError> {
    let revision = queries::find(&state, &code, &revision).await?;
    editable(&revision)?;
    let shown = place(&revision.recipe, &what, &after)?;
    let situation = situation::now(&state).await?;
    let mut form = OperationForm::blank(shown.stage);
    form.version = revision.version.to_string();
    form_page(&visit, &situation, &revision.recipe, form, shown).await
}

pub async fn add(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path((code, revision, what, after)): At,
    Posted(mut form): Posted<OperationForm>,
) -> Result<Response, AppError> {
    if form.then == RECKON {
        let revision = queries::find(&state, &code, &revision).await?;
        let shown = place(&revision.recipe, &what, &after)?;
        return reckon(&state, &visit, &revision.recipe, form, shown).await;
    }
    let mut change = Change::begin(&state, &who).await?;
    let revision = queries::load(change.connection(), &code, &revision).await?;
    let recipe = &revision.recipe;
    let mut shown = place(recipe, &what, &after)?;
    let now = situation::moment(visit.now).map_err(AppError::internal)?;
    let situation = situation::load(change.connection(), now).await?;
    let (at, places) = (shown.place, recipe.operations.len() + 1);
    let overtaken = match closed(recipe) {
        Some(why) => Some(format!("Not saved: {why}.")),
        None => (!is_current(&form.version, revision.version)).then(|| {
            format!(
                "Not saved: somebody changed the recipe while you had this open. This would be \
                 operation {at} of {places} now; look at its place, then save again."
            )
        }),
    };
    if let Some(why) = overtaken {
        drop(change);
        form.version = revision.version.to_string();
        shown.errors.add_whole(why);
        shown.status = StatusCode::CONFLICT;
        return form_page(&visit, &situation, recipe, form, shown).await;
    }
    let read = form.parse(shown.stage, (at, places), &situation, &mut shown.errors);
    let Some(operation) = read else {
        drop(change);
        return form_page(&visit, &situation, recipe, form, shown).await;
    };
    let mut written = recipe.clone();
    written.insert(at, operation.clone());
    let content = OperationChange {
        version: revision.version + 1,
        position: at,
        from: None,
        before: None,
        after: Some(&operation),
    };
    let said = format!("operation {at}, {}, is added", operation.name);
    let kind = "recipe.operation-added";
    save(change, &who, &revision, &written, (kind, content), &said).await
}
