//! Adding an operation to a draft: a stage or a step, after another or as the first.

use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::Response;
use mendpost_core::catalogue::Recipe;

use super::follow::Spot;
use super::form::OperationForm;
use super::operation::{RECKON, Shown, form_page, reckon};
use super::queries::{self, Revision};
use super::save::{OperationChange, closed, editable, save};
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::Posted;
use crate::people::{Visit, Who};
use crate::situation;
use crate::version::is_current;

type At = Path<(String, String, String, String)>;

/// Whether a stage or a step is to be added, and after how many.
fn asked(recipe: &Recipe, what: &str, after: &str) -> Result<(bool, usize), AppError> {
    let stage = match what {
        "stage" => Some(true),
        "step" => Some(false),
        _ => None,
    };
    let found = stage.zip(after.parse().ok());
    found.ok_or_else(|| AppError::NotFound {
        what: format!("place for a {what} in {} {}", recipe.code, recipe.revision),
    })
}

/// Where it would be added by now, whatever was moved since the form was opened.
async fn followed(
    state: &AppState,
    revision: &Revision,
    (stage, after): (bool, usize),
    form: &mut OperationForm,
) -> Result<Shown, sqlx::Error> {
    let spot = form.follow(&state.db.read, revision, Spot::After(after));
    Ok(Shown::added(
        &revision.recipe,
        stage,
        spot.await?.place() - 1,
    ))
}

pub async fn blank(
    State(state): State<AppState>,
    visit: Visit,
    Path((code, revision, what, after)): At,
) -> Result<Response, AppError> {
    let revision = queries::find(&state, &code, &revision).await?;
    editable(&revision)?;
    let (stage, after) = asked(&revision.recipe, &what, &after)?;
    let shown = Shown::added(&revision.recipe, stage, after);
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
        let asked = asked(&revision.recipe, &what, &after)?;
        let shown = followed(&state, &revision, asked, &mut form).await?;
        return reckon(&state, &visit, &revision.recipe, form, shown).await;
    }
    let mut change = Change::begin(&state, &who).await?;
    let revision = queries::load(change.connection(), &code, &revision).await?;
    let recipe = &revision.recipe;
    let (stage, after) = asked(recipe, &what, &after)?;
    let now = visit.moment()?;
    let situation = situation::load(change.connection(), now).await?;
    let why = closed(recipe);
    if why.is_some() || !is_current(&form.version, revision.version) {
        drop(change);
        let mut shown = followed(&state, &revision, (stage, after), &mut form).await?;
        form.version = revision.version.to_string();
        shown.errors.add_whole(match why {
            Some(why) => format!("Not saved: {why}."),
            None => format!(
                "Not saved: somebody changed the recipe while you had this open. This would be \
                 operation {} of {} now; look at its place, then save again.",
                shown.place,
                recipe.operations.len() + 1
            ),
        });
        shown.status = StatusCode::CONFLICT;
        return form_page(&visit, &situation, recipe, form, shown).await;
    }
    let mut shown = Shown::added(recipe, stage, after);
    let (at, places) = (shown.place, recipe.operations.len() + 1);
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
