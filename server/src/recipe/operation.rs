//! The page of one operation of a draft: its figures, its place, and taking it out.

use askama::Template;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::Response;
use mendpost_core::catalogue::{Changed, Operation, Recipe, Way, difference};
use mendpost_core::situation::Situation;
use serde::Deserialize;

use super::field::Lists;
use super::form::{OperationForm, was};
use super::queries::{self, Revision};
use super::save::{OperationChange, current, editable, save as keep};
use super::takes::{Takes, takes};
use super::{named, path};
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted, choice};
use crate::page::{Layout, Screen, page_with};
use crate::people::{Visit, Who};
use crate::situation;
use crate::version::{self, Stale, is_current};
use crate::words::Words;
use crate::words::recipe::{field_word, kind};
use crate::words::work::sentence;

/// The button that only works the figures out.
pub const RECKON: &str = "reckon";

#[derive(Template)]
#[template(path = "recipe/operation.html")]
pub struct OperationPage {
    pub page: Layout,
    pub answer: String,
    pub reason: String,
    pub action: String,
    pub back: String,
    /// Where it is moved and taken out; none for one that is not there yet.
    pub itself: Option<String>,
    pub stage: bool,
    /// Its place, from 1.
    pub place: usize,
    pub first: bool,
    pub last: bool,
    pub lists: Lists,
    pub form: OperationForm,
    pub errors: FieldErrors,
    pub takes: Option<Takes>,
    pub stale: Option<Stale>,
}

impl OperationPage {
    /// Where another is added before this one, or after it.
    fn add_path(&self, what: &str, behind: bool) -> String {
        let after = if behind { self.place } else { self.place - 1 };
        format!("{}/add/{what}/{after}", self.back)
    }
}

type At = Path<(String, String, String)>;

/// An operation of a revision by its place, from 1.
fn place_in(recipe: &Recipe, typed: &str) -> Result<usize, AppError> {
    let place = typed.parse().ok();
    let place = place.filter(|place| (1..=recipe.operations.len()).contains(place));
    place.ok_or_else(|| AppError::NotFound {
        what: format!("operation '{typed}' in {}", named(recipe)),
    })
}

pub async fn open(
    State(state): State<AppState>,
    visit: Visit,
    Path((code, revision, position)): At,
) -> Result<Response, AppError> {
    let revision = queries::find(&state, &code, &revision).await?;
    editable(&revision)?;
    let place = place_in(&revision.recipe, &position)?;
    let situation = situation::now(&state).await?;
    let operation = &revision.recipe.operations[place - 1];
    let mut form = OperationForm::of(operation);
    form.version = revision.version.to_string();
    let worked_out = worked_out(&state, &situation, operation).await?;
    let mut shown = Shown::new(place, operation.spray.is_some());
    shown.takes = Some(worked_out);
    form_page(&visit, &situation, &revision.recipe, form, shown).await
}

pub async fn save(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path((code, revision, position)): At,
    Posted(mut form): Posted<OperationForm>,
) -> Result<Response, AppError> {
    let mut change = Change::begin(&state, &who).await?;
    let revision = queries::load(change.connection(), &code, &revision).await?;
    editable(&revision)?;
    let recipe = &revision.recipe;
    let place = place_in(recipe, &position)?;
    let now = situation::moment(visit.now).map_err(AppError::internal)?;
    let situation = situation::load(change.connection(), now).await?;
    let stands = &recipe.operations[place - 1];
    let stage = stands.spray.is_some();
    let mut shown = Shown::new(place, stage);
    let read = form.parse(
        stage,
        (place, recipe.operations.len()),
        &situation,
        &mut shown.errors,
    );
    let Some(mut after) = read else {
        drop(change);
        return form_page(&visit, &situation, recipe, form, shown).await;
    };
    keep_weighed(&mut after, stands);
    if form.then == RECKON {
        drop(change);
        shown.takes = Some(worked_out(&state, &situation, &after).await?);
        return form_page(&visit, &situation, recipe, form, shown).await;
    }
    if !is_current(&form.version, revision.version) {
        drop(change);
        overtaken(
            &state, &situation, &revision, place, &after, &mut form, &mut shown,
        )
        .await?;
        return form_page(&visit, &situation, recipe, form, shown).await;
    }
    let mut written = recipe.clone();
    written.operations[place - 1] = after.clone();
    let content = OperationChange {
        version: revision.version + 1,
        position: place,
        from: None,
        before: Some(stands),
        after: Some(&after),
    };
    let said = format!("operation {place}, {}", after.name);
    let kind = "recipe.operation-changed";
    keep(change, &who, &revision, &written, (kind, content), &said).await
}

/// Builds of the stage that were weighed count on while its powder stays.
fn keep_weighed(after: &mut Operation, stands: &Operation) {
    if let Some((after, stands)) = after.spray.as_mut().zip(stands.spray.as_ref())
        && after.powder == stands.powder
    {
        after.weighed.clone_from(&stands.weighed);
    }
}

/// What stands now beside what was typed; or, where another operation stands in its place, that.
async fn overtaken(
    state: &AppState,
    situation: &Situation,
    revision: &Revision,
    place: usize,
    typed: &Operation,
    form: &mut OperationForm,
    shown: &mut Shown,
) -> Result<(), AppError> {
    shown.status = StatusCode::CONFLICT;
    let stands = &revision.recipe.operations[place - 1];
    if was(stands) != form.was {
        shown.errors.add_whole(format!(
            "Not saved: the operations were put in another order meanwhile, and number {place} is \
             {} now. Look at the recipe and open this operation again.",
            stands.name
        ));
        return Ok(());
    }
    let fields = both(situation, &revision.recipe, place, typed);
    let stale = Stale::of(
        &state.db.read,
        &revision.subject(),
        revision.version,
        fields,
    )
    .await?;
    form.version = stale.version.to_string();
    shown.stale = Some(stale);
    Ok(())
}

/// The figures that differ between what stands and what was typed.
fn both(
    situation: &Situation,
    recipe: &Recipe,
    place: usize,
    typed: &Operation,
) -> Vec<version::Field> {
    let words = Words::new(situation);
    let mut yours = recipe.clone();
    yours.operations[place - 1] = typed.clone();
    let said = difference(recipe, &yours).into_iter();
    said.filter_map(|changed| match changed {
        Changed::Said {
            field, old, new, ..
        } => Some(version::Field::new(
            field_word(field),
            &words.value(field, &old),
            &words.value(field, &new),
        )),
        _ => None,
    })
    .collect()
}

pub async fn worked_out(
    state: &AppState,
    situation: &Situation,
    operation: &Operation,
) -> Result<Takes, AppError> {
    let machined_um = sqlx::query_scalar!("select throat_um from cell")
        .fetch_one(&state.db.read)
        .await?;
    Ok(takes(situation, operation, machined_um))
}

/// How the form of an operation is shown.
pub struct Shown {
    pub place: usize,
    pub stage: bool,
    /// After which operation it is to be added; none for one that is there.
    pub after: Option<usize>,
    pub status: StatusCode,
    pub errors: FieldErrors,
    pub takes: Option<Takes>,
    pub stale: Option<Stale>,
}

impl Shown {
    pub fn new(place: usize, stage: bool) -> Shown {
        Shown {
            place,
            stage,
            after: None,
            status: StatusCode::OK,
            errors: FieldErrors::default(),
            takes: None,
            stale: None,
        }
    }
}

pub async fn form_page(
    visit: &Visit,
    situation: &Situation,
    recipe: &Recipe,
    form: OperationForm,
    shown: Shown,
) -> Result<Response, AppError> {
    let (place, back) = (shown.place, path(recipe));
    let itself = format!("{back}/operations/{place}");
    let what = if shown.stage { "stage" } else { "step" };
    let answer = match (&shown.stale, shown.after) {
        (Some(_), _) => "Choose which of the two stands.".to_owned(),
        (None, Some(_)) => format!("Add a {what} at place {place}."),
        (None, None) => {
            let known = form.kind.parse().map(kind).unwrap_or("spray");
            format!("Set operation {place}: {known}.")
        }
    };
    let status = match shown.errors.is_empty() || shown.status == StatusCode::CONFLICT {
        true => shown.status,
        false => shown.errors.status(),
    };
    let page = OperationPage {
        page: visit
            .layout(Screen::Catalogue, recipe.code.as_str())
            .await?,
        answer,
        reason: format!("{}, {}.", sentence(&named(recipe)), recipe.state),
        action: match shown.after {
            Some(after) => format!("{back}/add/{what}/{after}"),
            None => itself.clone(),
        },
        itself: shown.after.is_none().then_some(itself),
        stage: shown.stage,
        place,
        first: place == 1,
        last: place >= recipe.operations.len(),
        lists: Lists::new(situation, recipe, place, shown.after.is_some()),
        back,
        form,
        errors: shown.errors,
        takes: shown.takes,
        stale: shown.stale,
    };
    page_with(status, &page)
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct MoveForm {
    way: String,
    version: String,
}

pub async fn shift(
    State(state): State<AppState>,
    who: Who,
    Path((code, revision, position)): At,
    Posted(form): Posted<MoveForm>,
) -> Result<Response, AppError> {
    let mut change = Change::begin(&state, &who).await?;
    let revision = queries::load(change.connection(), &code, &revision).await?;
    editable(&revision)?;
    current(&revision, &form.version)?;
    let place = place_in(&revision.recipe, &position)?;
    let way: Way = choice(&form.way).map_err(|_| AppError::NotFound {
        what: format!("way '{}' to move an operation", form.way),
    })?;
    let mut written = revision.recipe.clone();
    let to = written
        .shift(place, way)
        .ok_or_else(|| AppError::Conflict(format!("operation {place} goes no further {way}")))?;
    let content = OperationChange {
        version: revision.version + 1,
        position: to,
        from: Some(place),
        before: None,
        after: None,
    };
    let said = format!("{} is operation {to} now", written.operations[to - 1].name);
    let kind = "recipe.operation-moved";
    keep(change, &who, &revision, &written, (kind, content), &said).await
}

pub async fn remove(
    State(state): State<AppState>,
    who: Who,
    Path((code, revision, position)): At,
    Posted(form): Posted<MoveForm>,
) -> Result<Response, AppError> {
    let mut change = Change::begin(&state, &who).await?;
    let revision = queries::load(change.connection(), &code, &revision).await?;
    editable(&revision)?;
    current(&revision, &form.version)?;
    let place = place_in(&revision.recipe, &position)?;
    let mut written = revision.recipe.clone();
    let taken = written.remove(place);
    let content = OperationChange {
        version: revision.version + 1,
        position: place,
        from: None,
        before: taken.as_ref(),
        after: None,
    };
    let said = taken.as_ref().map(|o| format!("{} is taken out", o.name));
    let kind = "recipe.operation-removed";
    let said = said.unwrap_or_default();
    keep(change, &who, &revision, &written, (kind, content), &said).await
}
