//! What a draft says beside its operations: metals, flags, coupons, inspection, notes.

use askama::Template;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::Response;
use mendpost_core::catalogue::{Flag, Recipe, difference};
use mendpost_core::situation::Situation;
use serde::Deserialize;
use serde_json::json;

use super::queries;
use super::save::{closed, editable, save as keep, stale};
use super::{named, path};
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted, optional_text, ticked};
use crate::page::{Layout, Screen, page_with};
use crate::people::{Visit, Who};
use crate::situation;
use crate::version::{Stale, is_current};
use crate::words::work::{flag, sentence};

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub struct AboutForm {
    metal: Vec<String>,
    flag: Vec<String>,
    coupons: String,
    inspection: String,
    notes: String,
    version: String,
}

impl AboutForm {
    fn of(recipe: &Recipe, version: i64) -> AboutForm {
        AboutForm {
            metal: recipe.base_metals.iter().map(ToString::to_string).collect(),
            flag: recipe.flags.iter().map(ToString::to_string).collect(),
            coupons: recipe.text.coupons.clone(),
            inspection: recipe.text.inspection.clone(),
            notes: recipe.text.notes.clone(),
            version: version.to_string(),
        }
    }

    /// The recipe with what was typed, or every fault.
    fn parse(&self, recipe: &Recipe, situation: &Situation) -> Result<Recipe, FieldErrors> {
        let mut errors = FieldErrors::default();
        let metals = situation.metals.iter().map(|metal| &metal.code);
        let metals = errors.check("metal", ticked(&self.metal, metals));
        let flags = errors.check("flag", ticked(&self.flag, Flag::ALL));
        let mut text = |name, typed: &str| {
            let text = errors.check(name, optional_text(typed, 2000));
            text.flatten().unwrap_or_default()
        };
        let mut after = recipe.clone();
        after.text.coupons = text("coupons", &self.coupons);
        after.text.inspection = text("inspection", &self.inspection);
        after.text.notes = text("notes", &self.notes);
        match metals.zip(flags) {
            Some((metals, flags)) if errors.is_empty() => {
                after.base_metals = metals;
                after.flags = flags;
                Ok(after)
            }
            _ => Err(errors),
        }
    }
}

#[derive(Template)]
#[template(path = "recipe/about.html")]
struct AboutPage {
    page: Layout,
    answer: String,
    action: String,
    back: String,
    /// Whether nothing is written on the revision any more.
    closed: bool,
    /// Value, words, whether it is chosen.
    metals: Vec<(String, String, bool)>,
    flags: Vec<(String, String, bool)>,
    form: AboutForm,
    errors: FieldErrors,
    stale: Option<Stale>,
}

type At = Path<(String, String)>;

pub async fn open(
    State(state): State<AppState>,
    visit: Visit,
    Path((code, revision)): At,
) -> Result<Response, AppError> {
    let revision = queries::find(&state, &code, &revision).await?;
    editable(&revision)?;
    let situation = situation::now(&state).await?;
    let form = AboutForm::of(&revision.recipe, revision.version);
    let shown = (StatusCode::OK, FieldErrors::default(), None);
    about_page(&visit, &situation, &revision.recipe, form, shown).await
}

pub async fn save(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path((code, revision)): At,
    Posted(mut form): Posted<AboutForm>,
) -> Result<Response, AppError> {
    let mut change = Change::begin(&state, &who).await?;
    let revision = queries::load(change.connection(), &code, &revision).await?;
    let recipe = &revision.recipe;
    let now = visit.moment()?;
    let situation = situation::load(change.connection(), now).await?;
    if let Some(why) = closed(recipe) {
        drop(change);
        let mut errors = FieldErrors::default();
        errors.add_whole(format!("Not saved: {why}."));
        let shown = (StatusCode::CONFLICT, errors, None);
        return about_page(&visit, &situation, recipe, form, shown).await;
    }
    let after = match form.parse(recipe, &situation) {
        Ok(after) => after,
        Err(errors) => {
            drop(change);
            let shown = (errors.status(), errors, None);
            return about_page(&visit, &situation, recipe, form, shown).await;
        }
    };
    if !is_current(&form.version, revision.version) {
        drop(change);
        let differs = difference(&revision.recipe, &after);
        let stale = stale(&state, &situation, &revision, differs).await?;
        form.version = stale.version.to_string();
        let shown = (StatusCode::CONFLICT, FieldErrors::default(), Some(stale));
        return about_page(&visit, &situation, recipe, form, shown).await;
    }
    let says = |r: &Recipe| json!({ "metals": r.base_metals, "flags": r.flags, "text": r.text });
    let content = json!({
        "version": revision.version + 1,
        "before": says(recipe),
        "after": says(&after),
    });
    let said = format!("what {} says beside its operations", named(recipe));
    let kind = "recipe.said";
    keep(change, &who, &revision, &after, (kind, content), &said).await
}

async fn about_page(
    visit: &Visit,
    situation: &Situation,
    recipe: &Recipe,
    form: AboutForm,
    (status, errors, stale): (StatusCode, FieldErrors, Option<Stale>),
) -> Result<Response, AppError> {
    let metals = situation.metals.iter().map(|metal| {
        let code = metal.code.to_string();
        let chosen = form.metal.contains(&code);
        (code, sentence(&metal.name), chosen)
    });
    let flags = Flag::ALL.iter().map(|of| {
        let chosen = form.flag.iter().any(|typed| typed == of.as_str());
        (of.to_string(), sentence(flag(*of)), chosen)
    });
    let page = AboutPage {
        page: visit
            .layout(Screen::Catalogue, recipe.code.as_str())
            .await?,
        answer: match closed(recipe) {
            Some(_) => "Note down what you typed: it cannot be saved here.".to_owned(),
            None => format!(
                "Say what {} is valid for and how it is checked.",
                named(recipe)
            ),
        },
        action: format!("{}/about", path(recipe)),
        back: path(recipe),
        closed: closed(recipe).is_some(),
        metals: metals.collect(),
        flags: flags.collect(),
        form,
        errors,
        stale,
    };
    page_with(status, &page)
}
