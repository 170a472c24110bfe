//! An item is retired, or counted.

use axum::extract::{Path, State};
use axum::response::Response;
use mendpost_core::code::ItemCode;
use mendpost_core::people::Act;
use mendpost_core::resupply::{Content, Counted};
use serde::Deserialize;
use serde_json::json;
use uuid::Uuid;

use super::queries::{self, Listed};
use super::{at, find, path, say, subject};
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted, integer, local_time, text};
use crate::page::act::{ActPage, Field};
use crate::page::{Notice, Screen, field_time, moment};
use crate::people::{Visit, Who};
use crate::routes::Routes;

pub(super) fn routes() -> Routes {
    Routes::default()
        .get("/resupply/items/{code}/retire", Act::KeepItems, ask_retire)
        .post("/resupply/items/{code}/retire", Act::KeepItems, retire)
        .get("/resupply/items/{code}/count", Act::KeepItems, ask_count)
        .post("/resupply/items/{code}/count", Act::KeepItems, count)
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct RetireForm {
    reason: String,
}

async fn load(state: &AppState, code: &str) -> Result<Listed, AppError> {
    let mut reading = state.db.read.acquire().await?;
    find(queries::one(&mut reading, code).await?, code)
}

async fn ask_retire(
    State(state): State<AppState>,
    visit: Visit,
    Path(code): Path<String>,
) -> Result<Response, AppError> {
    let listed = load(&state, &code).await?;
    in_use(&listed)?;
    retire_page(
        &visit,
        &listed,
        &RetireForm::default(),
        FieldErrors::default(),
    )
    .await
}

fn in_use(listed: &Listed) -> Result<(), AppError> {
    match &listed.retired {
        None => Ok(()),
        Some(reason) => Err(AppError::Conflict(format!(
            "{} is retired already: {reason}; say what holds of it to send for it again",
            listed.item.code
        ))),
    }
}

async fn retire(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(code): Path<String>,
    Posted(form): Posted<RetireForm>,
) -> Result<Response, AppError> {
    let mut errors = FieldErrors::default();
    let reason = errors.check("reason", text(&form.reason, 400));
    let mut change = Change::begin(&state, &who).await?;
    let listed = find(queries::one(change.connection(), &code).await?, &code)?;
    in_use(&listed)?;
    let counts = queries::counts_on(change.connection(), listed.id).await?;
    if !counts.is_empty() {
        let what = counts.join(", ");
        errors.add_whole(format!("Take it off {what} first: it is named there."));
    }
    let (Some(reason), true) = (reason, errors.is_empty()) else {
        drop(change);
        return retire_page(&visit, &listed, &form, errors).await;
    };
    let journal = say(&mut change, &listed, &listed.item, Some(&reason), &who.name).await?;
    let text =
        format!("{code} is no longer sent for: {reason}. It stays on record. Journal {journal}.");
    change
        .finish(&who, super::PATH, Notice::done("RETIRED", text))
        .await
}

async fn retire_page(
    visit: &Visit,
    listed: &Listed,
    form: &RetireForm,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let item = &listed.item;
    let act = ActPage {
        page: visit.layout(Screen::Resupply, item.code.as_str()).await?,
        answer: format!("Retire {}.", item.code),
        reason: "It is proposed on no list any more. It stays on record, and can be said anew."
            .to_owned(),
        pairs: vec![
            ("Item", item.name.clone()),
            ("Unit of issue", item.unit.clone()),
        ],
        fields: vec![Field::area("reason", "Why", &form.reason, "")],
        action: format!("{}/retire", path(&item.code)),
        verb: "Retire it",
        detail: String::new(),
        back: ("Leave it as it is", path(&item.code)),
        ask: None,
        errors,
    };
    act.answer()
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct CountForm {
    units: String,
    counted_by: String,
    counted_at: String,
}

async fn ask_count(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(code): Path<String>,
) -> Result<Response, AppError> {
    let listed = load(&state, &code).await?;
    is_consumable(&listed)?;
    let form = CountForm {
        counted_by: who.name,
        counted_at: field_time(visit.now, visit.site.zone),
        ..CountForm::default()
    };
    count_page(&visit, &listed, &form, FieldErrors::default()).await
}

fn is_consumable(listed: &Listed) -> Result<(), AppError> {
    in_use(listed)?;
    match listed.item.content {
        Content::Consumable(_) => Ok(()),
        _ => Err(AppError::Conflict(format!(
            "{} is not used up by spraying and crew, so it is not counted here; powder, gas, fuel and parts \
             are counted where they stand",
            listed.item.code
        ))),
    }
}

/// The most units that anybody counts.
const MOST: i64 = 1_000_000;

async fn count(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(code): Path<String>,
    Posted(form): Posted<CountForm>,
) -> Result<Response, AppError> {
    let zone = visit.site.zone;
    let mut errors = FieldErrors::default();
    let units = errors.check("units", integer(&form.units, 0..=MOST));
    let by = errors.check("counted_by", text(&form.counted_by, 80));
    let ms = errors.check("counted_at", local_time(&form.counted_at, zone));
    if ms.is_some_and(|ms| ms > visit.now) {
        let fault = format!("that is still to come: it is {}", moment(visit.now, zone));
        errors.add("counted_at", fault);
    }
    let mut change = Change::begin(&state, &who).await?;
    let listed = find(queries::one(change.connection(), &code).await?, &code)?;
    is_consumable(&listed)?;
    let (Some(units), Some(by), Some(ms), true) = (units, by, ms, errors.is_empty()) else {
        drop(change);
        return count_page(&visit, &listed, &form, errors).await;
    };
    let counted = Counted {
        units,
        at: at(ms)?,
        by,
    };
    let of = (listed.id, &listed.item.code);
    let journal = enter(&mut change, of, &counted).await?;
    let text = format!("{code}: {units} here. Journal {journal}.");
    let location = path(&listed.item.code);
    change
        .finish(&who, &location, Notice::done("COUNTED", text))
        .await
}

/// Enters a count; the entry's sequence.
pub(super) async fn enter(
    change: &mut Change,
    (id, code): (Uuid, &ItemCode),
    counted: &Counted,
) -> Result<i64, AppError> {
    let content = json!({
        "units": counted.units,
        "counted_by": counted.by,
        "counted_ms": counted.at.timestamp_millis(),
    });
    let journal = change
        .journal("item.counted", subject(code), content)
        .await?;
    queries::count(change.connection(), id, counted, journal).await?;
    Ok(journal)
}

async fn count_page(
    visit: &Visit,
    listed: &Listed,
    form: &CountForm,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let item = &listed.item;
    let stands = match &item.content {
        Content::Consumable(used) => used.counted.as_ref(),
        _ => None,
    };
    let stands = stands.map_or_else(
        || "nobody counted".to_owned(),
        |it| {
            let when = moment(it.at.timestamp_millis(), visit.site.zone);
            format!("{}, {}, {when}", it.units, it.by)
        },
    );
    let act = ActPage {
        page: visit.layout(Screen::Resupply, item.code.as_str()).await?,
        answer: format!("Count {}.", item.name),
        reason: "Whole units of issue; one that is begun counts as none.".to_owned(),
        pairs: vec![
            ("Item", format!("{}, {}", item.code, item.name)),
            ("Unit of issue", item.unit.clone()),
            ("Last count", stands),
        ],
        fields: vec![
            Field::amount("units", "Here", &form.units, "units", ""),
            Field::text("counted_by", "Counted by", &form.counted_by, ""),
            Field::time("counted_at", "When", &form.counted_at, ""),
        ],
        action: format!("{}/count", path(&item.code)),
        verb: "Counted",
        detail: String::new(),
        back: ("Count nothing", path(&item.code)),
        ask: None,
        errors,
    };
    act.answer()
}
