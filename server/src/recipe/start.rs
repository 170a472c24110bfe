//! Starting to write: the first revision of a recipe, or a new one copied from another.

use axum::extract::{Path, State};
use axum::response::Response;
use mendpost_core::catalogue::{Flag, Part, Recipe, RecipeState, RecipeText, may_revise};
use mendpost_core::code::RecipeCode;
use mendpost_core::situation::Situation;
use serde::Deserialize;
use serde_json::json;
use std::collections::BTreeSet;

use super::queries::{self, subject};
use super::save::current;
use super::{named, path};
use crate::AppState;
use crate::catalogue::part_of;
use crate::catalogue::store::insert_recipe;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted, new_code};
use crate::page::act::{ActPage, Field};
use crate::page::{Notice, Screen};
use crate::people::{Visit, Who};
use crate::situation;

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct StartForm {
    code: String,
    like: String,
}

pub async fn blank(
    State(state): State<AppState>,
    visit: Visit,
    Path(part): Path<String>,
) -> Result<Response, AppError> {
    let situation = situation::now(&state).await?;
    let part = offered(&situation, &part)?;
    let form = StartForm::default();
    start_page(&visit, &situation, part, form, FieldErrors::default()).await
}

pub async fn start(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(part): Path<String>,
    Posted(form): Posted<StartForm>,
) -> Result<Response, AppError> {
    let mut change = Change::begin(&state, &who).await?;
    let now = visit.moment()?;
    let situation = situation::load(change.connection(), now).await?;
    let part = offered(&situation, &part)?;
    let mut errors = FieldErrors::default();
    let code = new_code::<RecipeCode>(&form.code, "code", &mut errors);
    let taken = code.as_ref().and_then(|code| {
        let mut recipes = situation.recipes.iter();
        recipes.find(|recipe| recipe.code == *code)
    });
    if let Some(taken) = taken {
        let fault = format!("{} makes {} already; give another", taken.code, taken.part);
        errors.add("code", fault);
    }
    let like = like(&situation, &form.like, &mut errors);
    let (Some(code), true) = (code, errors.is_empty()) else {
        drop(change);
        return start_page(&visit, &situation, part, form, errors).await;
    };
    let recipe = draft(code, 1, part, like, BTreeSet::new(), &who);
    begin(change, &who, &recipe, like).await
}

/// A new revision of a recipe, copied from one that is settled.
pub async fn revise(
    State(state): State<AppState>,
    who: Who,
    Path((code, revision)): Path<(String, String)>,
    Posted(form): Posted<super::state::VersionForm>,
) -> Result<Response, AppError> {
    let mut change = Change::begin(&state, &who).await?;
    let revision = queries::load(change.connection(), &code, &revision).await?;
    current(&revision, &form.version)?;
    let from = &revision.recipe;
    let open = |r: &&Recipe| !may_revise(r.state);
    let all = || revision.others.iter().chain([from]);
    if let Some(open) = all().find(open) {
        return Err(AppError::Conflict(format!(
            "{} is {} already; write on that one",
            named(open),
            open.state
        )));
    }
    let next = all().map(|r| r.revision).max().unwrap_or(0) + 1;
    let now = change.moment()?;
    let situation = situation::load(change.connection(), now).await?;
    let part = offered(&situation, from.part.as_str())?;
    let flags = from.flags.clone();
    let recipe = draft(from.code.clone(), next, part, Some(from), flags, &who);
    begin(change, &who, &recipe, Some(from)).await
}

/// A part of the catalogue that is not retired.
fn offered<'a>(situation: &'a Situation, code: &str) -> Result<&'a Part, AppError> {
    let part = part_of(situation, code)?;
    if part.retired {
        return Err(AppError::Conflict(format!(
            "{code} is retired; bring it back before a recipe is written for it"
        )));
    }
    Ok(part)
}

/// What is copied comes along; the flags that it holds for only within one recipe.
fn draft(
    code: RecipeCode,
    revision: i64,
    part: &Part,
    like: Option<&Recipe>,
    flags: BTreeSet<Flag>,
    who: &Who,
) -> Recipe {
    let text = like.map(|like| like.text.clone()).unwrap_or_default();
    Recipe {
        code,
        part: part.code.clone(),
        revision,
        state: RecipeState::Draft,
        written_by: who.name.clone(),
        also_written_by: BTreeSet::new(),
        approved_by: String::new(),
        base_metals: like
            .map(|like| like.base_metals.clone())
            .unwrap_or_default(),
        operations: like.map(|like| like.operations.clone()).unwrap_or_default(),
        flags,
        text: RecipeText {
            expected: String::new(),
            basis: String::new(),
            ..text
        },
        sizes: like.map(|like| like.sizes.clone()).unwrap_or_default(),
        coupons: like.map(|like| like.coupons.clone()).unwrap_or_default(),
    }
}

async fn begin(
    mut change: Change,
    who: &Who,
    recipe: &Recipe,
    like: Option<&Recipe>,
) -> Result<Response, AppError> {
    let id = insert_recipe(&mut change, recipe).await?;
    queries::add_author(&mut change, id, who.id).await?;
    // What nobody has approved yet has been looked at by nobody but who wrote it.
    if let Some(like) = like.filter(|like| like.approved_by.is_empty()) {
        let from = queries::id(change.connection(), like).await?;
        queries::copy_authors(&mut change, from, id).await?;
    }
    let content = json!({
        "version": 1,
        "part": recipe.part,
        "copied_from": like.map(named),
        "after": recipe,
    });
    let journal = change
        .journal("recipe.started", subject(recipe), content)
        .await?;
    let copied = like.map_or_else(String::new, |like| format!(", copied from {}", named(like)));
    let text = format!(
        "{} is a draft{copied}. Journal {journal}. Nothing is built by it before it is approved.",
        named(recipe)
    );
    change
        .finish(who, &path(recipe), Notice::done("SAVED", text))
        .await
}

/// The recipe to copy from, or none if nothing was chosen.
fn like<'a>(situation: &'a Situation, typed: &str, errors: &mut FieldErrors) -> Option<&'a Recipe> {
    if typed.is_empty() {
        return None;
    }
    let found = situation.recipes.iter().find(|r| choice_of(r) == typed);
    if found.is_none() {
        errors.add(
            "like",
            "that recipe is not there any more; choose from the list",
        );
    }
    found
}

fn choice_of(recipe: &Recipe) -> String {
    format!("{} {}", recipe.code, recipe.revision)
}

async fn start_page(
    visit: &Visit,
    situation: &Situation,
    part: &Part,
    form: StartForm,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let back = format!("/catalogue/{}", part.code);
    let like = situation.recipes.iter().map(|recipe| {
        let makes = situation.part(&recipe.part);
        let makes = makes.map_or_else(|| recipe.part.to_string(), |part| part.name.clone());
        (
            choice_of(recipe),
            format!("{}, {makes}, {}", named(recipe), recipe.state),
        )
    });
    let act = ActPage {
        page: visit.layout(Screen::Catalogue, "Write a recipe").await?,
        answer: format!("Write a recipe for the {}.", part.name),
        reason: "It is a draft until somebody else approves it.".to_owned(),
        pairs: vec![("Part", format!("{}, {}", part.name, part.code))],
        fields: vec![
            Field::text(
                "code",
                "Code of the recipe",
                &form.code,
                "short, as BR-043; its revisions are numbered",
            ),
            Field::choose(
                "like",
                "Copy from",
                &form.like,
                like.collect(),
                "its operations, metals and words; leave it to start from nothing",
            ),
        ],
        action: format!("{back}/recipe"),
        verb: "Start writing",
        detail: "then operation by operation".to_owned(),
        back: ("Write nothing", back),
        ask: None,
        errors,
    };
    act.answer()
}
