//! Sets: items that are sent together or not at all, as a powder and the gas that it takes.

mod pages;
pub mod queries;

use std::collections::BTreeSet;

use axum::extract::{Path, State};
use axum::response::Response;
use mendpost_core::code::ItemCode;
use mendpost_core::journal::Subject;
use mendpost_core::people::Act;
use serde::Deserialize;
use serde_json::json;

use super::item;
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted, text, ticked};
use crate::page::{Notice, page};
use crate::people::{Visit, Who};
use crate::routes::Routes;
use crate::version::{Field, Stale, is_current};
use queries::Set;

pub const PATH: &str = "/resupply/sets";

pub fn routes() -> Routes {
    Routes::default()
        .get(PATH, Act::Look, list)
        .get("/resupply/sets/new", Act::KeepItems, blank)
        .post("/resupply/sets/new", Act::KeepItems, add)
        .get("/resupply/sets/{number}", Act::KeepItems, open)
        .post("/resupply/sets/{number}", Act::KeepItems, save)
}

/// The fewest and the most that go together.
pub const SIZE: std::ops::RangeInclusive<usize> = 2..=20;

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct SetForm {
    item: Vec<String>,
    why: String,
    version: String,
    /// Given: they go together no longer.
    part: String,
}

async fn list(State(state): State<AppState>, visit: Visit) -> Result<Response, AppError> {
    let mut reading = state.db.read.begin().await?;
    let sets = queries::all(&mut reading).await?;
    let items = item::queries::all(&mut reading).await?;
    drop(reading);
    page(&pages::list(&visit, &sets, &items).await?)
}

async fn blank(State(state): State<AppState>, visit: Visit) -> Result<Response, AppError> {
    let mut reading = state.db.read.acquire().await?;
    let items = item::queries::items(&mut reading).await?;
    drop(reading);
    let form = SetForm::default();
    pages::form(&visit, None, &items, &form, (FieldErrors::default(), None)).await
}

/// What was typed: the items, each once, and why they go together.
fn parse(
    form: &SetForm,
    known: &BTreeSet<ItemCode>,
    errors: &mut FieldErrors,
) -> Option<(Vec<ItemCode>, String)> {
    let items = errors.check("item", ticked(&form.item, known));
    let why = errors.check("why", text(&form.why, 400));
    let items = items?;
    if let Some(fault) = size_fault(items.len()) {
        errors.add("item", fault);
        return None;
    }
    Some((items.into_iter().collect(), why?))
}

/// Why so many items are no set.
pub fn size_fault(count: usize) -> Option<String> {
    let (least, most) = (SIZE.start(), SIZE.end());
    let fault = || format!("{count} items are no set; choose {least} to {most}");
    (!SIZE.contains(&count)).then(fault)
}

async fn add(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Posted(form): Posted<SetForm>,
) -> Result<Response, AppError> {
    let mut change = Change::begin(&state, &who).await?;
    let items = item::queries::items(change.connection()).await?;
    let known = codes(&items);
    let mut errors = FieldErrors::default();
    let Some((of, why)) = parse(&form, &known, &mut errors) else {
        drop(change);
        return pages::form(&visit, None, &items, &form, (errors, None)).await;
    };
    let (number, journal) = record(&mut change, &of, &why, &who.name).await?;
    let text = format!(
        "Set {number}: {} go together. Journal {journal}.",
        in_words(&of)
    );
    change.finish(&who, PATH, Notice::done("SAVED", text)).await
}

fn codes(items: &[(uuid::Uuid, mendpost_core::resupply::Item)]) -> BTreeSet<ItemCode> {
    items.iter().map(|(_, item)| item.code.clone()).collect()
}

fn in_words(items: &[ItemCode]) -> String {
    let codes: Vec<&str> = items.iter().map(ItemCode::as_str).collect();
    codes.join(", ")
}

/// Enters a set; its number and the entry's sequence.
pub async fn record(
    change: &mut Change,
    items: &[ItemCode],
    why: &str,
    by: &str,
) -> Result<(i64, i64), AppError> {
    let number = queries::next_number(change.connection()).await?;
    let set = Set {
        number,
        version: 1,
        items: items.to_vec(),
        why: why.to_owned(),
        said_by: by.to_owned(),
        said_ms: change.now(),
    };
    Ok((number, say(change, &set).await?))
}

async fn say(change: &mut Change, set: &Set) -> Result<i64, AppError> {
    queries::say(change.connection(), set).await?;
    let content = json!({ "version": set.version, "items": set.items, "why": set.why });
    let subject = Subject::new("item-set", set.number);
    change.journal("item-set.said", subject, content).await
}

async fn load(state: &AppState, number: &str) -> Result<(Set, Items), AppError> {
    let mut reading = state.db.read.begin().await?;
    let set = find(queries::all(&mut reading).await?, number)?;
    Ok((set, item::queries::items(&mut reading).await?))
}

type Items = Vec<(uuid::Uuid, mendpost_core::resupply::Item)>;

fn find(all: Vec<Set>, number: &str) -> Result<Set, AppError> {
    let found = all.into_iter().find(|set| set.number.to_string() == number);
    found.ok_or_else(|| AppError::NotFound {
        what: format!("set {number}"),
    })
}

async fn open(
    State(state): State<AppState>,
    visit: Visit,
    Path(number): Path<String>,
) -> Result<Response, AppError> {
    let (set, items) = load(&state, &number).await?;
    let form = SetForm {
        item: set.items.iter().map(ToString::to_string).collect(),
        why: set.why.clone(),
        version: set.version.to_string(),
        part: String::new(),
    };
    let shown = (FieldErrors::default(), None);
    pages::form(&visit, Some(set.number), &items, &form, shown).await
}

async fn save(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(number): Path<String>,
    Posted(mut form): Posted<SetForm>,
) -> Result<Response, AppError> {
    let mut change = Change::begin(&state, &who).await?;
    let set = find(queries::all(change.connection()).await?, &number)?;
    let items = item::queries::items(change.connection()).await?;
    let mut errors = FieldErrors::default();
    let parsed = match form.part.as_str() {
        "" => parse(&form, &codes(&items), &mut errors),
        _ => errors
            .check("why", text(&form.why, 400))
            .map(|why| (Vec::new(), why)),
    };
    let Some((of, why)) = parsed else {
        drop(change);
        return pages::form(&visit, Some(set.number), &items, &form, (errors, None)).await;
    };
    if !is_current(&form.version, set.version) {
        drop(change);
        let subject = Subject::new("item-set", set.number);
        let fields = vec![
            Field::new("Items", &in_words(&set.items), &in_words(&of)),
            Field::new("Why", &set.why, &why),
        ];
        let stale = Stale::of(&state.db.read, &subject, set.version, fields).await?;
        form.version = stale.version.to_string();
        let shown = (errors, Some(stale));
        return pages::form(&visit, Some(set.number), &items, &form, shown).await;
    }
    let set = Set {
        version: set.version + 1,
        items: of,
        why,
        said_by: who.name.clone(),
        said_ms: change.now(),
        ..set
    };
    let journal = say(&mut change, &set).await?;
    let text = match set.items.is_empty() {
        true => format!("Set {number} is parted. Journal {journal}."),
        false => format!(
            "Set {number}: {} go together. Journal {journal}.",
            in_words(&set.items)
        ),
    };
    change.finish(&who, PATH, Notice::done("SAVED", text)).await
}
