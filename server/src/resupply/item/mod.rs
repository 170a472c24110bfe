//! Items that the depot can send: what is said of each, and what was counted of a consumable.

mod act;
pub mod form;
mod pages;
pub mod queries;
pub mod words;

use axum::extract::{Path, State};
use axum::response::Response;
use chrono::DateTime;
use mendpost_core::code::ItemCode;
use mendpost_core::journal::Subject;
use mendpost_core::people::Act;
use mendpost_core::resupply::{Content, Item, Sheet};
use serde_json::{Value, json};
use uuid::Uuid;

use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::section::Fields;
use crate::form::{FieldErrors, Posted, new_code};
use crate::page::{Notice, page};
use crate::people::{Visit, Who};
use crate::resupply::form::Typed;
use crate::routes::Routes;
use crate::version::{Field, Stale, is_current};
use queries::{Listed, NewSaying};

pub const PATH: &str = "/resupply/items";

pub fn routes() -> Routes {
    Routes::default()
        .get(PATH, Act::Look, list)
        .get("/resupply/items/new", Act::KeepItems, blank)
        .post("/resupply/items/new", Act::KeepItems, add)
        .get("/resupply/items/{code}", Act::Look, one)
        .get("/resupply/items/{code}/change", Act::KeepItems, open)
        .post("/resupply/items/{code}/change", Act::KeepItems, save)
        .merge(act::routes())
}

pub fn path(code: &ItemCode) -> String {
    format!("{PATH}/{code}")
}

async fn list(State(state): State<AppState>, visit: Visit) -> Result<Response, AppError> {
    let mut reading = state.db.read.acquire().await?;
    let all = queries::all(&mut reading).await?;
    drop(reading);
    page(&pages::list(&visit, &all).await?)
}

async fn one(
    State(state): State<AppState>,
    visit: Visit,
    Path(code): Path<String>,
) -> Result<Response, AppError> {
    let mut reading = state.db.read.begin().await?;
    let listed = find(queries::one(&mut reading, &code).await?, &code)?;
    let counts = queries::counts(&mut reading, listed.id).await?;
    drop(reading);
    page(&pages::one(&visit, &listed, &counts).await?)
}

fn find(found: Option<Listed>, code: &str) -> Result<Listed, AppError> {
    found.ok_or_else(|| AppError::NotFound {
        what: format!("item {code}"),
    })
}

async fn blank(State(state): State<AppState>, visit: Visit) -> Result<Response, AppError> {
    let known = known(&state).await?;
    let fields = Fields::default();
    pages::add(&visit, &fields, &known, FieldErrors::default()).await
}

async fn known(state: &AppState) -> Result<form::Known, AppError> {
    let mut reading = state.db.read.acquire().await?;
    Ok(queries::known(&mut reading).await?)
}

async fn add(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Posted(fields): Posted<Fields>,
) -> Result<Response, AppError> {
    let mut change = Change::begin(&state, &who).await?;
    let known = queries::known(change.connection()).await?;
    let mut errors = FieldErrors::default();
    let typed = fields.get("code").map_or("", String::as_str);
    let code = new_code::<ItemCode>(typed, "code", &mut errors);
    if let Some(code) = &code
        && let Some(listed) = queries::one(change.connection(), code.as_str()).await?
    {
        let fault = format!("{code} is {} already; give another", listed.item.name);
        errors.add("code", fault);
    }
    let placeholder = || "X".parse::<ItemCode>().map_err(AppError::internal);
    // The rest is read too where the code is wrong, so that all faults are told at once.
    let read_as = code.clone().map_or_else(placeholder, Ok)?;
    let item = form::parse(read_as, &mut Typed::new(&fields, &mut errors), &known);
    let (Some(item), true) = (item, errors.is_empty()) else {
        drop(change);
        return pages::add(&visit, &fields, &known, errors).await;
    };
    let journal = record(&mut change, &item, &who.name).await?;
    let text = format!("{}, {}. Journal {journal}.", item.code, item.name);
    let location = path(&item.code);
    change
        .finish(&who, &location, Notice::done("SAVED", text))
        .await
}

async fn open(
    State(state): State<AppState>,
    visit: Visit,
    Path(code): Path<String>,
) -> Result<Response, AppError> {
    let mut reading = state.db.read.begin().await?;
    let listed = find(queries::one(&mut reading, &code).await?, &code)?;
    let known = queries::known(&mut reading).await?;
    drop(reading);
    let mut fields = form::fields(&listed.item);
    fields.insert("version".to_owned(), listed.version.to_string());
    let errors = FieldErrors::default();
    pages::change(&visit, &listed, &fields, &known, errors, None).await
}

async fn save(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(code): Path<String>,
    Posted(mut fields): Posted<Fields>,
) -> Result<Response, AppError> {
    let mut change = Change::begin(&state, &who).await?;
    let known = queries::known(change.connection()).await?;
    let listed = find(queries::one(change.connection(), &code).await?, &code)?;
    let mut errors = FieldErrors::default();
    let typed = &mut Typed::new(&fields, &mut errors);
    let item = form::parse(listed.item.code.clone(), typed, &known);
    let (Some(item), true) = (item, errors.is_empty()) else {
        drop(change);
        return pages::change(&visit, &listed, &fields, &known, errors, None).await;
    };
    let carried = fields.get("version").map_or("", String::as_str);
    if !is_current(carried, listed.version) {
        drop(change);
        let subject = subject(&listed.item.code);
        let both = both(&form::fields(&listed.item), &form::fields(&item));
        let stale = Stale::of(&state.db.read, &subject, listed.version, both).await?;
        fields.insert("version".to_owned(), stale.version.to_string());
        return pages::change(&visit, &listed, &fields, &known, errors, Some(stale)).await;
    }
    let journal = say(&mut change, &listed, &item, None, &who.name).await?;
    let text = format!("{code}, {}. Journal {journal}.", item.name);
    let location = path(&item.code);
    change
        .finish(&who, &location, Notice::done("SAVED", text))
        .await
}

/// What stands beside what was typed, field by field.
fn both(stands: &Fields, yours: &Fields) -> Vec<Field> {
    let value = |fields: &Fields, name: &str| fields.get(name).cloned().unwrap_or_default();
    let rows = form::COLUMNS.into_iter().skip(1);
    rows.map(|name| Field::new(name, &value(stands, name), &value(yours, name)))
        .filter(|field| !field.stands.is_empty() || !field.yours.is_empty())
        .collect()
}

fn subject(code: &ItemCode) -> Subject {
    Subject::new("item", code)
}

/// Lists items that may name one another as substitutes.
pub async fn record_all(change: &mut Change, items: &[Item], by: &str) -> Result<(), AppError> {
    let mut listed = Vec::new();
    for item in items {
        listed.push(queries::list(change.connection(), &item.code).await?);
    }
    for (id, item) in listed.into_iter().zip(items) {
        first_said(change, id, item, by).await?;
    }
    Ok(())
}

/// Lists an item with what is said of it; the entry's sequence.
async fn record(change: &mut Change, item: &Item, by: &str) -> Result<i64, AppError> {
    let id = queries::list(change.connection(), &item.code).await?;
    first_said(change, id, item, by).await
}

async fn first_said(change: &mut Change, id: Uuid, item: &Item, by: &str) -> Result<i64, AppError> {
    let new = NewSaying {
        id,
        version: 1,
        item,
        retired: None,
        by,
        ms: change.now(),
    };
    queries::say(change.connection(), &new).await?;
    let content = content(&new);
    let sequence = change
        .journal("item.listed", subject(&item.code), content)
        .await?;
    if let Content::Consumable(used) = &item.content
        && let Some(counted) = &used.counted
    {
        act::enter(change, (id, &item.code), counted).await?;
    }
    Ok(sequence)
}

/// Says what holds of an item from now on; the entry's sequence.
async fn say(
    change: &mut Change,
    listed: &Listed,
    item: &Item,
    retired: Option<&str>,
    by: &str,
) -> Result<i64, AppError> {
    let new = NewSaying {
        id: listed.id,
        version: listed.version + 1,
        item,
        retired,
        by,
        ms: change.now(),
    };
    queries::say(change.connection(), &new).await?;
    let kind = match retired {
        Some(_) => "item.retired",
        None => "item.said",
    };
    change
        .journal(kind, subject(&item.code), content(&new))
        .await
}

/// What the journal holds of it: each field as it would be typed.
fn content(new: &NewSaying) -> Value {
    let mut said = json!(form::fields(new.item));
    said["version"] = json!(new.version);
    if let Some(reason) = new.retired {
        said["retired"] = json!(reason);
    }
    said
}

/// What an item still lacks before it can be loaded; empty if nothing.
fn lacks(item: &Item) -> &'static str {
    match (&item.sheet, &item.content) {
        (Sheet::NotRead, _) => "Read its safety sheet: until then it is loaded on nothing.",
        (_, Content::Consumable(used)) if used.counted.is_none() => {
            "Count it: until then none is taken to be here."
        }
        _ => "",
    }
}

/// A moment as milliseconds, for pages.
fn at(ms: i64) -> Result<DateTime<chrono::Utc>, AppError> {
    crate::situation::moment(ms).map_err(AppError::internal)
}
