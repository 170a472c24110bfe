//! What the site wrote down of the rules by which dangerous goods travel by road, sea and air. It warns only.

pub mod form;
mod pages;
pub mod queries;

use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::Response;
use mendpost_core::journal::Subject;
use mendpost_core::people::Act;
use mendpost_core::resupply::{CarriageRules, Mode};
use serde_json::json;

use super::form::Typed;
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::section::{Fields, Section, numbered};
use crate::form::{FieldErrors, Posted};
use crate::page::{Notice, page};
use crate::people::{Visit, Who};
use crate::routes::Routes;
use crate::version::is_current;

pub const PATH: &str = "/resupply/carriage";

pub fn routes() -> Routes {
    Routes::default()
        .get(PATH, Act::Look, show)
        .get("/resupply/carriage/{mode}", Act::KeepItems, open)
        .post("/resupply/carriage/{mode}", Act::KeepItems, save)
}

fn mode(word: &str) -> Result<Mode, AppError> {
    word.parse().map_err(|_| AppError::NotFound {
        what: format!("mode of carriage '{word}'"),
    })
}

async fn show(State(state): State<AppState>, visit: Visit) -> Result<Response, AppError> {
    let mut reading = state.db.read.begin().await?;
    let mut all = Vec::new();
    for mode in Mode::ALL.iter().copied() {
        all.push((mode, queries::of(&mut reading, mode).await?));
    }
    drop(reading);
    page(&pages::show(&visit, &all).await?)
}

async fn open(
    State(state): State<AppState>,
    visit: Visit,
    Path(word): Path<String>,
) -> Result<Response, AppError> {
    let mode = mode(&word)?;
    let mut reading = state.db.read.acquire().await?;
    let found = queries::newest(&mut reading, mode).await?;
    drop(reading);
    let mut fields = found
        .as_ref()
        .map_or_else(Fields::default, |(_, rules)| form::fields(rules));
    let version = found.map_or(0, |(version, _)| version);
    fields.insert("version".to_owned(), version.to_string());
    let shown = (StatusCode::OK, FieldErrors::default());
    pages::form(&visit, mode, &fields, shown).await
}

/// The rules and pairs that were typed, each by its place in the form; empty places are left out.
fn parse(
    (mode, fields): (Mode, &Fields),
    (by, now): (&str, chrono::DateTime<chrono::Utc>),
    errors: &mut FieldErrors,
) -> Option<CarriageRules> {
    let typed = &mut Typed::new(fields, errors);
    let edition = typed.text("edition", 200);
    let points = typed.figure_if(&form::LIMIT);
    let (rules, at_rules) = each(fields, 'r', errors, form::rule);
    let (apart, at_pairs) = each(fields, 'a', errors, form::apart);
    let again = form::twice(&rules, &apart);
    if let Some(place) = again.0.and_then(|at| at_rules.get(at)) {
        let fault = "another rule holds for just these entries; keep one of the two";
        errors.add(&format!("r{place}_note"), fault);
    }
    if let Some(place) = again.1.and_then(|at| at_pairs.get(at)) {
        let fault = "these two are named above already; keep one";
        errors.add(&format!("a{place}_other"), fault);
    }
    if !errors.is_empty() {
        return None;
    }
    Some(CarriageRules {
        mode,
        edition: edition?,
        entered_by: by.to_owned(),
        entered_at: now,
        points_milli: points?,
        rules,
        apart,
    })
}

/// What stands in the sections of a letter, and where each stood; a section in which nothing is typed but
/// what is chosen beforehand is none.
fn each<T>(
    fields: &Fields,
    letter: char,
    errors: &mut FieldErrors,
    read: fn(&mut Typed) -> Option<T>,
) -> (Vec<T>, Vec<usize>) {
    let (mut all, mut places) = (Vec::new(), Vec::new());
    for (at, section) in numbered(fields, letter) {
        if section.values().all(|typed| typed.trim().is_empty()) {
            continue;
        }
        let mut typed = Typed {
            section: Section::new(format!("{letter}{at}_"), &section),
            errors: &mut *errors,
        };
        if let Some(one) = read(&mut typed) {
            all.push(one);
            places.push(at);
        }
    }
    (all, places)
}

async fn save(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(word): Path<String>,
    Posted(mut fields): Posted<Fields>,
) -> Result<Response, AppError> {
    let mode = mode(&word)?;
    let mut errors = FieldErrors::default();
    let mut change = Change::begin(&state, &who).await?;
    let now = change.moment()?;
    let Some(rules) = parse((mode, &fields), (&who.name, now), &mut errors) else {
        drop(change);
        let shown = (errors.status(), errors);
        return pages::form(&visit, mode, &fields, shown).await;
    };
    let found = queries::newest(change.connection(), mode).await?;
    let version = found.as_ref().map_or(0, |(version, _)| *version);
    let carried = fields.get("version").map_or("", String::as_str);
    if !is_current(carried, version) {
        drop(change);
        let by = found.map_or_else(String::new, |(_, rules)| rules.entered_by);
        errors.add_whole(format!(
            "Not saved: {by} wrote these down anew while you had them open. Save again if yours are right as they \
             stand here; else look at what holds now."
        ));
        fields.insert("version".to_owned(), version.to_string());
        let shown = (StatusCode::CONFLICT, errors);
        return pages::form(&visit, mode, &fields, shown).await;
    }
    let journal = record(&mut change, version + 1, &rules).await?;
    let text = format!("Rules by {mode}. Journal {journal}.");
    change.finish(&who, PATH, Notice::done("SAVED", text)).await
}

/// Writes down the rules of a mode; the entry's sequence.
pub async fn record(
    change: &mut Change,
    version: i64,
    rules: &CarriageRules,
) -> Result<i64, AppError> {
    queries::say(change.connection(), version, rules).await?;
    let mut content = json!(form::fields(rules));
    content["version"] = json!(version);
    let subject = Subject::new("carriage", rules.mode);
    change.journal("carriage.said", subject, content).await
}
