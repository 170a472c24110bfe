//! What is done with a revision as a whole: proposed, taken back, withdrawn.

use axum::extract::{Path, State};
use axum::response::Response;
use mendpost_core::catalogue::{RecipeState, Step, may};
use serde::Deserialize;
use serde_json::json;

use super::queries::{self, Revision};
use super::save::current;
use super::{named, path};
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted, text};
use crate::page::act::{ActPage, Field};
use crate::page::{Notice, Screen};
use crate::people::{Visit, Who};

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct VersionForm {
    pub version: String,
}

type At = Path<(String, String)>;

pub async fn propose(
    State(state): State<AppState>,
    who: Who,
    Path((code, revision)): At,
    Posted(form): Posted<VersionForm>,
) -> Result<Response, AppError> {
    let mut change = Change::begin(&state, &who).await?;
    let revision = queries::load(change.connection(), &code, &revision).await?;
    current(&revision, &form.version)?;
    let to = step(&revision, Step::Propose)?;
    let recipe = &revision.recipe;
    if let Some(fault) = recipe.faults().first() {
        return Err(AppError::Conflict(format!(
            "{} is not whole: {fault}",
            named(recipe)
        )));
    }
    queries::set_state(&mut change, revision.id, to).await?;
    let content = json!({ "version": revision.version + 1, "recipe": recipe });
    let journal = change
        .journal("recipe.proposed", revision.subject(), content)
        .await?;
    let text = format!(
        "{} waits for approval by somebody who wrote nothing of it. Journal {journal}.",
        named(recipe)
    );
    let notice = Notice::done("PROPOSED", text);
    change.finish(&who, &path(recipe), notice).await
}

pub async fn take_back(
    State(state): State<AppState>,
    who: Who,
    Path((code, revision)): At,
    Posted(form): Posted<VersionForm>,
) -> Result<Response, AppError> {
    let mut change = Change::begin(&state, &who).await?;
    let revision = queries::load(change.connection(), &code, &revision).await?;
    current(&revision, &form.version)?;
    let to = step(&revision, Step::TakeBack)?;
    queries::set_state(&mut change, revision.id, to).await?;
    let content = json!({ "version": revision.version + 1 });
    let journal = change
        .journal("recipe.taken-back", revision.subject(), content)
        .await?;
    let recipe = &revision.recipe;
    let text = format!("{} is a draft again. Journal {journal}.", named(recipe));
    change
        .finish(&who, &path(recipe), Notice::done("SAVED", text))
        .await
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct WithdrawForm {
    reason: String,
    version: String,
}

pub async fn ask_why(
    State(state): State<AppState>,
    visit: Visit,
    Path((code, revision)): At,
) -> Result<Response, AppError> {
    let revision = queries::find(&state, &code, &revision).await?;
    step(&revision, Step::Withdraw)?;
    let form = WithdrawForm {
        version: revision.version.to_string(),
        ..WithdrawForm::default()
    };
    withdraw_page(&visit, &revision, &form, FieldErrors::default()).await
}

pub async fn withdraw(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path((code, revision)): At,
    Posted(form): Posted<WithdrawForm>,
) -> Result<Response, AppError> {
    let mut change = Change::begin(&state, &who).await?;
    let revision = queries::load(change.connection(), &code, &revision).await?;
    step(&revision, Step::Withdraw)?;
    let mut errors = FieldErrors::default();
    let Some(reason) = errors.check("reason", text(&form.reason, 500)) else {
        drop(change);
        return withdraw_page(&visit, &revision, &form, errors).await;
    };
    current(&revision, &form.version)?;
    queries::set_withdrawn(&mut change, revision.id, &reason).await?;
    let recipe = &revision.recipe;
    let content = json!({
        "version": revision.version + 1,
        "before": recipe.state,
        "reason": reason,
    });
    let journal = change
        .journal("recipe.withdrawn", revision.subject(), content)
        .await?;
    let name = named(recipe);
    let text = match recipe.state {
        RecipeState::Approved => {
            format!("nothing is built by {name} any more. Journal {journal}. Plan again.")
        }
        _ => format!("{name} stays on record; nothing was built by it. Journal {journal}."),
    };
    let notice = Notice::done("WITHDRAWN", text);
    change.finish(&who, &path(recipe), notice).await
}

/// Where a step leads, or why it is not there.
pub fn step(revision: &Revision, step: Step) -> Result<RecipeState, AppError> {
    may(revision.recipe.state, step)
        .map_err(|none| AppError::Conflict(format!("{}: {none}", named(&revision.recipe))))
}

async fn withdraw_page(
    visit: &Visit,
    revision: &Revision,
    form: &WithdrawForm,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let recipe = &revision.recipe;
    let act = ActPage {
        page: visit.layout(Screen::Catalogue, "Withdraw a recipe").await?,
        answer: format!("Withdraw {}.", named(recipe)),
        reason: "Nothing is built by it afterwards; it stays on record.".to_owned(),
        pairs: vec![
            ("Recipe", named(recipe)),
            ("Makes", recipe.part.to_string()),
            ("State", recipe.state.to_string()),
        ],
        fields: vec![
            Field::hidden("version", &form.version),
            Field::area(
                "reason",
                "Why",
                &form.reason,
                "what is wrong with it, and how that was found",
            ),
        ],
        action: format!("{}/withdraw", path(recipe)),
        verb: "Withdraw",
        detail: "at once".to_owned(),
        back: ("Leave it as it is", path(recipe)),
        ask: None,
        errors,
    };
    act.answer()
}
