//! Trips: what the vehicle of a delivery may carry, when it comes, when its list closes, and what must go
//! with it.

pub mod form;
mod pages;
pub mod queries;

use axum::extract::{Path, State};
use axum::response::Response;
use mendpost_core::code::DeliveryCode;
use mendpost_core::journal::Subject;
use mendpost_core::people::Act;
use mendpost_core::resupply::Trip;
use serde_json::json;
use sqlx::SqliteConnection;
use uuid::Uuid;

use super::form::Typed;
use super::item;
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::section::Fields;
use crate::form::{FieldErrors, Posted, new_code};
use crate::page::{Notice, page};
use crate::people::{Visit, Who};
use crate::routes::Routes;
use crate::version::{Field, Stale, is_current};
use queries::Listed;

pub const PATH: &str = "/resupply/trips";

pub fn routes() -> Routes {
    Routes::default()
        .get(PATH, Act::Look, list)
        .get("/resupply/trips/new", Act::KeepItems, blank)
        .post("/resupply/trips/new", Act::KeepItems, add)
        .get("/resupply/trips/{code}", Act::Look, one)
        .get("/resupply/trips/{code}/change", Act::KeepItems, open)
        .post("/resupply/trips/{code}/change", Act::KeepItems, save)
}

pub fn path(code: &DeliveryCode) -> String {
    format!("{PATH}/{}", code.as_str().replace('/', "%2F"))
}

fn subject(code: &DeliveryCode) -> Subject {
    Subject::new("trip", code)
}

async fn list(State(state): State<AppState>, visit: Visit) -> Result<Response, AppError> {
    let mut reading = state.db.read.acquire().await?;
    let all = queries::listed(&mut reading).await?;
    drop(reading);
    page(&pages::list(&visit, &all).await?)
}

async fn one(
    State(state): State<AppState>,
    visit: Visit,
    Path(code): Path<String>,
) -> Result<Response, AppError> {
    let mut reading = state.db.read.begin().await?;
    let listed = find(&mut reading, &code).await?;
    let items = item::queries::all(&mut reading).await?;
    drop(reading);
    page(&pages::one(&visit, &listed, &items).await?)
}

async fn find(connection: &mut SqliteConnection, code: &str) -> Result<Listed, AppError> {
    let all = queries::listed(connection).await?;
    let found = all.into_iter().find(|it| it.code.as_str() == code);
    found.ok_or_else(|| unknown(code))
}

/// That there is no trip of this code, or none to be expected.
pub fn unknown(code: &str) -> AppError {
    AppError::NotFound {
        what: format!("trip {code}"),
    }
}

async fn blank(visit: Visit) -> Result<Response, AppError> {
    pages::add(&visit, &Fields::default(), FieldErrors::default()).await
}

/// What was typed, with what must go.
async fn parse(
    connection: &mut SqliteConnection,
    code: DeliveryCode,
    fields: &Fields,
    visit: &Visit,
    errors: &mut FieldErrors,
) -> Result<Option<Trip>, AppError> {
    let known = item::queries::known(connection).await?.items;
    let typed = &mut Typed::new(fields, errors);
    let trip = form::parse(code, typed, visit.site.zone);
    let must_go = form::must_go(typed, &known);
    if let Some(trip) = &trip
        && trip.latest.timestamp_millis() <= visit.now
    {
        typed.fault(
            "latest",
            "that has passed; receive what came, or give another",
        );
    }
    let both = trip.zip(must_go).filter(|_| errors.is_empty());
    Ok(both.map(|(trip, must_go)| Trip { must_go, ..trip }))
}

async fn add(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Posted(fields): Posted<Fields>,
) -> Result<Response, AppError> {
    let mut change = Change::begin(&state, &who).await?;
    let mut errors = FieldErrors::default();
    let typed = fields.get("code").map_or("", String::as_str);
    let code = new_code::<DeliveryCode>(typed, "code", &mut errors);
    if let Some(code) = &code {
        let all = queries::listed(change.connection()).await?;
        if let Some(known) = all.iter().find(|it| it.code == *code) {
            let fault = format!("{code} is {} already; give another", known.name);
            errors.add("code", fault);
        }
    }
    let placeholder = || "X".parse::<DeliveryCode>().map_err(AppError::internal);
    // The rest is read too where the code is wrong, so that all faults are told at once.
    let read_as = code.map_or_else(placeholder, Ok)?;
    let parsed = parse(change.connection(), read_as, &fields, &visit, &mut errors).await?;
    let Some(trip) = parsed else {
        drop(change);
        return pages::add(&visit, &fields, errors).await;
    };
    let delivery = queries::announce(change.connection(), &trip).await?;
    let content = json!({
        "name": trip.name,
        "expected": trip.usual.timestamp_millis(),
        "latest": trip.latest.timestamp_millis(),
        "payload_kg": trip.payload_g / 1000,
        "lines": 0,
    });
    let announced = Subject::new("delivery", &trip.code);
    change
        .journal("delivery.announced", announced, content)
        .await?;
    let journal = record(&mut change, (delivery, 1), &trip, &who.name).await?;
    let text = format!(
        "{}, {}. Journal {journal}. Plan again to count with it.",
        trip.code, trip.name
    );
    let location = path(&trip.code);
    change
        .finish(&who, &location, Notice::done("SAVED", text))
        .await
}

/// Says what holds of the trip of a delivery from now on; the entry's sequence.
pub async fn record(
    change: &mut Change,
    (delivery, version): (Uuid, i64),
    trip: &Trip,
    by: &str,
) -> Result<i64, AppError> {
    let now = change.now();
    queries::say(change.connection(), (delivery, version), trip, (by, now)).await?;
    let must_go: Vec<_> = trip
        .must_go
        .iter()
        .map(|(item, units)| json!({ "item": item, "units": units }))
        .collect();
    let content = json!({
        "version": version,
        "name": trip.name,
        "mode": trip.mode,
        "payload_g": trip.payload_g,
        "reserve_permille": trip.reserve_permille,
        "volume_ml": trip.volume_ml,
        "longest_mm": trip.longest_mm,
        "heaviest_g": trip.heaviest_g,
        "dangerous": trip.dangerous,
        "earliest_ms": trip.earliest.timestamp_millis(),
        "usual_ms": trip.usual.timestamp_millis(),
        "latest_ms": trip.latest.timestamp_millis(),
        "closes_ms": trip.closes.timestamp_millis(),
        "takes_back": trip.takes_back,
        "must_go": must_go,
    });
    change
        .journal("trip.said", subject(&trip.code), content)
        .await
}

/// A trip that is over is no longer changed.
fn still_expected(listed: &Listed) -> Result<(), AppError> {
    match listed.is_expected() {
        true => Ok(()),
        false => Err(AppError::Conflict(format!(
            "{} is {}; nothing is said of it any more: announce a new trip",
            listed.code, listed.state
        ))),
    }
}

async fn open(
    State(state): State<AppState>,
    visit: Visit,
    Path(code): Path<String>,
) -> Result<Response, AppError> {
    let mut reading = state.db.read.acquire().await?;
    let listed = find(&mut reading, &code).await?;
    drop(reading);
    still_expected(&listed)?;
    let mut fields = match &listed.said {
        Some(said) => form::fields(&said.trip, visit.site.zone),
        None => Fields::from([
            ("name".to_owned(), listed.name.clone()),
            (
                "usual".to_owned(),
                crate::page::field_time(listed.expected_ms, visit.site.zone),
            ),
        ]),
    };
    fields.insert("version".to_owned(), listed.version().to_string());
    pages::change(&visit, &listed, &fields, FieldErrors::default(), None).await
}

async fn save(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(code): Path<String>,
    Posted(mut fields): Posted<Fields>,
) -> Result<Response, AppError> {
    let mut change = Change::begin(&state, &who).await?;
    let listed = find(change.connection(), &code).await?;
    still_expected(&listed)?;
    let mut errors = FieldErrors::default();
    let of = listed.code.clone();
    let parsed = parse(change.connection(), of, &fields, &visit, &mut errors).await?;
    let Some(trip) = parsed else {
        drop(change);
        return pages::change(&visit, &listed, &fields, errors, None).await;
    };
    let carried = fields.get("version").map_or("", String::as_str);
    if !is_current(carried, listed.version()) {
        drop(change);
        let zone = visit.site.zone;
        let stands = listed.said.as_ref().map(|it| form::fields(&it.trip, zone));
        let both = both(&stands.unwrap_or_default(), &form::fields(&trip, zone));
        let of = subject(&listed.code);
        let stale = Stale::of(&state.db.read, &of, listed.version(), both).await?;
        fields.insert("version".to_owned(), stale.version.to_string());
        return pages::change(&visit, &listed, &fields, errors, Some(stale)).await;
    }
    let next = (listed.id, listed.version() + 1);
    let journal = record(&mut change, next, &trip, &who.name).await?;
    let text = format!("{code}. Journal {journal}. Plan again to count with it.");
    let location = path(&trip.code);
    change
        .finish(&who, &location, Notice::done("SAVED", text))
        .await
}

/// What stands beside what was typed, field by field.
fn both(stands: &Fields, yours: &Fields) -> Vec<Field> {
    let value = |fields: &Fields, name: &str| fields.get(name).cloned().unwrap_or_default();
    let names = form::COLUMNS.into_iter().skip(1).chain(["must_go"]);
    names
        .map(|name| Field::new(name, &value(stands, name), &value(yours, name)))
        .collect()
}
