//! The page of one operation of a draft: its figures, its place, and taking it out.

use askama::Template;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::Response;
use mendpost_core::catalogue::{Operation, Recipe, Way, operation_difference};
use mendpost_core::situation::Situation;
use serde::Deserialize;

use super::field::Lists;
use super::follow::Spot;
use super::form::OperationForm;
use super::queries::{self, Revision};
use super::save::{OperationChange, closed, current, editable, save as keep, stale};
use super::takes::{Takes, takes};
use super::{named, path};
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted, choice};
use crate::page::{Layout, Screen, page_with};
use crate::people::{Visit, Who};
use crate::situation;
use crate::version::{Stale, is_current};
use crate::words::recipe::kind;
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
    /// Whether nothing is written on the revision any more.
    pub closed: bool,
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

/// The number of an operation, from 1, whether there is one or not.
fn number(typed: &str) -> Result<usize, AppError> {
    let number = typed.parse().ok().filter(|number| *number > 0);
    number.ok_or_else(|| AppError::NotFound {
        what: format!("operation '{typed}'"),
    })
}

/// An operation of a revision by its place, from 1.
fn place_in(recipe: &Recipe, typed: &str) -> Result<usize, AppError> {
    let place = number(typed).ok();
    let place = place.filter(|place| *place <= recipe.operations.len());
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
    let machined_um = queries::machined_um(&state.db.read).await?;
    let mut shown = Shown::new(place, operation.spray.is_some());
    shown.takes = Some(takes(&situation, operation, machined_um));
    form_page(&visit, &situation, &revision.recipe, form, shown).await
}

pub async fn save(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path((code, revision, position)): At,
    Posted(mut form): Posted<OperationForm>,
) -> Result<Response, AppError> {
    let place = number(&position)?;
    if form.then == RECKON {
        let revision = queries::find(&state, &code, &revision).await?;
        let shown = Shown::followed(&state, &revision, place, &mut form).await?;
        return reckon(&state, &visit, &revision.recipe, form, shown).await;
    }
    let mut change = Change::begin(&state, &who).await?;
    let revision = queries::load(change.connection(), &code, &revision).await?;
    let recipe = &revision.recipe;
    let now = visit.moment()?;
    let situation = situation::load(change.connection(), now).await?;
    if !is_current(&form.version, revision.version) || closed(recipe).is_some() {
        drop(change);
        return overtaken(&state, &visit, &situation, &revision, (place, form)).await;
    }
    let place = place_in(recipe, &position)?;
    let stands = &recipe.operations[place - 1];
    let mut shown = Shown::new(place, stands.spray.is_some());
    let at = (place, recipe.operations.len());
    let read = form.parse(shown.stage, at, &situation, &mut shown.errors);
    let Some(mut after) = read else {
        drop(change);
        return form_page(&visit, &situation, recipe, form, shown).await;
    };
    keep_weighed(&mut after, stands);
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

/// What was typed with what it takes here, or with its faults. Nothing is written.
pub async fn reckon(
    state: &AppState,
    visit: &Visit,
    recipe: &Recipe,
    form: OperationForm,
    mut shown: Shown,
) -> Result<Response, AppError> {
    let situation = situation::now(state).await?;
    let places = recipe.operations.len() + usize::from(shown.after.is_some());
    let at = (shown.place, places);
    if let Some(mut typed) = form.parse(shown.stage, at, &situation, &mut shown.errors) {
        if shown.after.is_none() {
            keep_weighed(&mut typed, &recipe.operations[shown.place - 1]);
        }
        let machined_um = queries::machined_um(&state.db.read).await?;
        shown.takes = Some(takes(&situation, &typed, machined_um));
    }
    form_page(visit, &situation, recipe, form, shown).await
}

/// What was typed on a form that was opened before the last change: beside what stands now wherever the
/// operation is by now, and to be added where it was taken out.
async fn overtaken(
    state: &AppState,
    visit: &Visit,
    situation: &Situation,
    revision: &Revision,
    (place, mut form): (usize, OperationForm),
) -> Result<Response, AppError> {
    let recipe = &revision.recipe;
    let mut shown = Shown::followed(state, revision, place, &mut form).await?;
    shown.status = StatusCode::CONFLICT;
    let place = shown.place;
    if let Some(why) = closed(recipe) {
        shown.errors.add_whole(format!("Not saved: {why}."));
    } else if shown.after.is_some() {
        shown.errors.add_whole(format!(
            "Not saved: this operation was taken out meanwhile. What was typed is kept here; saving \
             adds it as operation {place}."
        ));
        form.version = revision.version.to_string();
    } else {
        let at = (place, recipe.operations.len());
        match form.parse(shown.stage, at, situation, &mut shown.errors) {
            Some(typed) => {
                let differs = operation_difference(&recipe.operations[place - 1], &typed);
                let stale = stale(state, situation, revision, differs).await?;
                form.version = stale.version.to_string();
                shown.stale = Some(stale);
            }
            None => shown.errors.add_whole(
                "Not saved: somebody changed the recipe while you had this open. Put right what is \
                 told below; then what stands and what was typed are shown side by side.",
            ),
        }
    }
    form_page(visit, situation, recipe, form, shown).await
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
    fn new(place: usize, stage: bool) -> Shown {
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

    /// Of a form whose operation stood at this place: where it stands now, or where it would be added.
    async fn followed(
        state: &AppState,
        revision: &Revision,
        place: usize,
        form: &mut OperationForm,
    ) -> Result<Shown, sqlx::Error> {
        let (recipe, stage) = (&revision.recipe, form.is_stage());
        let spot = form.follow(&state.db.read, revision, Spot::At(place));
        Ok(match spot.await? {
            Spot::At(place) if place <= recipe.operations.len() => Shown::new(place, stage),
            gone => Shown::added(recipe, stage, gone.place() - 1),
        })
    }

    /// To be added after an operation, at the latest after the last; 0: as the first.
    pub fn added(recipe: &Recipe, stage: bool, after: usize) -> Shown {
        let after = after.min(recipe.operations.len());
        Shown {
            after: Some(after),
            ..Shown::new(after + 1, stage)
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
    let closed = closed(recipe).is_some();
    let answer = match (&shown.stale, shown.after) {
        _ if closed => "Note down what you typed: it cannot be saved here.".to_owned(),
        (Some(_), _) => format!("Choose which of the two stands as operation {place}."),
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
        itself: (shown.after.is_none() && !closed).then_some(itself),
        closed,
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
