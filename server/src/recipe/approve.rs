//! Approving a revision: somebody who wrote nothing of it looks at what it changes, and signs.

use askama::Template;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::Response;
use mendpost_core::catalogue::{RecipeState, Step, difference, may_approve};
use mendpost_core::signature::Meaning;
use mendpost_core::situation::Situation;
use serde::Deserialize;
use serde_json::json;

use super::queries::{self, Revision};
use super::rows::{Row, rows};
use super::save::current;
use super::show::said;
use super::state::step;
use super::{named, path};
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted, text};
use crate::page::act::SIGN_FIELD;
use crate::page::{Layout, Notice, Screen, page_with};
use crate::people::{Visit, Who};
use crate::requests::further_way;
use crate::signature::{Ask, Secret, ask, prove, sign};
use crate::situation;
use crate::words::Words;
use crate::words::recipe::Difference;

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct ApproveForm {
    expected: String,
    basis: String,
    version: String,
    sign_passphrase: String,
}

#[derive(Template)]
#[template(path = "recipe/approve.html")]
struct ApprovePage {
    page: Layout,
    answer: String,
    action: String,
    back: String,
    /// The revision that it is held against; empty if there is none.
    against: String,
    /// Why there is none.
    alone: &'static str,
    differences: Vec<Difference>,
    rows: Vec<Row>,
    pairs: Vec<(&'static str, String)>,
    /// Why this person may not; empty if they may.
    refused: String,
    ask: Ask,
    form: ApproveForm,
    errors: FieldErrors,
}

type At = Path<(String, String)>;

pub async fn show(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path((code, revision)): At,
) -> Result<Response, AppError> {
    let revision = queries::find(&state, &code, &revision).await?;
    step(&revision, Step::Approve)?;
    let form = ApproveForm {
        version: revision.version.to_string(),
        ..ApproveForm::default()
    };
    let nothing = FieldErrors::default();
    approve_page(&state, &visit, &who, &revision, form, nothing).await
}

/// Why what was typed cannot be signed as the revision stands now; none if it can.
fn overtaken(now: &Revision, form: &ApproveForm) -> Option<AppError> {
    let step = step(now, Step::Approve).map(|_| ());
    step.and_then(|()| current(now, &form.version)).err()
}

/// What was typed beside the revision as it stands now, which is not what was looked at.
async fn not_signed(
    state: &AppState,
    visit: &Visit,
    who: &Who,
    now: &Revision,
    (mut form, why): (ApproveForm, AppError),
) -> Result<Response, AppError> {
    let mut errors = FieldErrors::default();
    errors.add_whole(format!("Not signed: {why}. What was typed is kept here."));
    form.version = now.version.to_string();
    let mut answer = approve_page(state, visit, who, now, form, errors).await?;
    *answer.status_mut() = StatusCode::CONFLICT;
    Ok(answer)
}

pub async fn approve(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path((code, revision)): At,
    Posted(form): Posted<ApproveForm>,
) -> Result<Response, AppError> {
    let seen = queries::find(&state, &code, &revision).await?;
    if let Some(why) = overtaken(&seen, &form) {
        return not_signed(&state, &visit, &who, &seen, (form, why)).await;
    }
    may_approve(&who.id, &seen.authors).map_err(|own| AppError::Refused(own.to_string()))?;
    let mut errors = FieldErrors::default();
    let expected = errors.check("expected", text(&form.expected, 2000));
    let basis = errors.check("basis", text(&form.basis, 2000));
    let proof = match prove(&state, &visit, &who, &form.sign_passphrase).await? {
        Ok(proof) => Some(proof),
        Err(fault) => {
            errors.add(SIGN_FIELD, fault);
            None
        }
    };
    let (Some(expected), Some(basis), Some(proof)) = (expected, basis, proof) else {
        return approve_page(&state, &visit, &who, &seen, form, errors).await;
    };
    let mut change = Change::begin(&state, &who).await?;
    let now = queries::load(change.connection(), &code, &revision).await?;
    if let Some(why) = overtaken(&now, &form) {
        drop(change);
        return not_signed(&state, &visit, &who, &now, (form, why)).await;
    }
    may_approve(&who.id, &now.authors).map_err(|own| AppError::Refused(own.to_string()))?;
    supersede(&mut change, &now).await?;
    let (recipe, meaning) = (&now.recipe, Meaning::ApproveRecipe);
    queries::set_approved(&mut change, now.id, &proof.name, (&expected, &basis)).await?;
    let waited = further_way::add(change.connection(), &recipe.part, &recipe.code).await?;
    let content = json!({
        "version": now.version + 1,
        "expected": expected,
        "basis": basis,
        "recipe": recipe,
        "further_way_of": waited.iter().map(|number| format!("R{number}")).collect::<Vec<_>>(),
    });
    let subject = now.subject();
    let journal = sign(
        &mut change,
        "recipe.approved",
        subject,
        content,
        meaning,
        &proof,
    )
    .await?;
    let text = format!(
        "{} may be built by. Journal {journal}. {}",
        named(recipe),
        who_gets_it(&waited)
    );
    let notice = Notice::done("APPROVED", text);
    change.finish(&who, &path(recipe), notice).await
}

/// What comes of it for the requests that have it as a further way now.
fn who_gets_it(waited: &[i64]) -> String {
    let waited: Vec<String> = waited.iter().map(|number| format!("R{number}")).collect();
    match waited.as_slice() {
        [] => "Plan again to count with it.".to_owned(),
        [one] => format!("{one} has it as a further way: plan again to count with it."),
        many => format!(
            "{} have it as a further way: plan again to count with it.",
            many.join(", ")
        ),
    }
}

/// The revision that was approved until now is not used any more.
async fn supersede(change: &mut Change, revision: &Revision) -> Result<(), AppError> {
    let Some(old) = revision.approved() else {
        return Ok(());
    };
    let (code, number) = (old.code.as_str(), old.revision.to_string());
    let old = queries::load(change.connection(), code, &number).await?;
    queries::set_state(change, old.id, RecipeState::Superseded).await?;
    let content = json!({
        "version": old.version + 1,
        "by_revision": revision.recipe.revision,
    });
    change
        .journal("recipe.superseded", old.subject(), content)
        .await?;
    Ok(())
}

async fn approve_page(
    state: &AppState,
    visit: &Visit,
    who: &Who,
    revision: &Revision,
    form: ApproveForm,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let situation: Situation = situation::now(state).await?;
    let words = Words::new(&situation);
    let recipe = &revision.recipe;
    let against = revision.against();
    let differences = against.map(|old| words.differences(&difference(old, recipe)));
    let own = may_approve(&who.id, &revision.authors).err();
    let mut ask = ask(state, visit, who, Meaning::ApproveRecipe).await?;
    errors.of(SIGN_FIELD).clone_into(&mut ask.error);
    let page = ApprovePage {
        page: visit
            .layout(Screen::Catalogue, recipe.code.as_str())
            .await?,
        answer: match &own {
            Some(_) => format!("Have somebody else approve {}.", named(recipe)),
            None => format!("Check {} and sign, or leave it.", named(recipe)),
        },
        action: format!("{}/approve", path(recipe)),
        back: path(recipe),
        against: against.map_or_else(String::new, named),
        alone: match recipe.revision {
            1 => "It is the first revision",
            _ => "None before it was approved",
        },
        differences: differences.unwrap_or_default(),
        rows: rows(&situation, &words, recipe),
        pairs: said(&words, recipe),
        refused: own.map_or_else(String::new, |own| own.to_string()),
        ask,
        form,
        errors,
    };
    page_with(page.errors.status(), &page)
}
