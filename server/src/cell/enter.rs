//! Keeps a round of readings.

use axum::response::Response;
use mendpost_core::journal::Subject;
use serde::Serialize;
use uuid::Uuid;

use super::queries::{self, NewReading};
use super::reading::{Of, Round};
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::page::{Notice, Screen};
use crate::people::Who;

#[derive(Serialize)]
struct Entered<'a> {
    what: &'a str,
    bank: Option<&'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    station: Option<&'a str>,
    value: i64,
    read_at: i64,
    read_by: &'a str,
}

/// Keeps the readings of a round, and leads to where they count.
pub async fn enter(state: &AppState, who: &Who, round: &Round) -> Result<Response, AppError> {
    let mut change = Change::begin(state, who).await?;
    let last = keep(&mut change, who, round).await?;
    let what = match round.readings.len() {
        1 => "One reading",
        _ => "All readings",
    };
    let text = format!("{what} entered, journal {last}. Plan again to count with them.");
    let notice = Notice::done("SAVED", text);
    change.finish(who, Screen::Cell.path(), notice).await
}

/// Keeps the readings of a round as part of a change; the last journal entry.
pub async fn keep(change: &mut Change, who: &Who, round: &Round) -> Result<i64, AppError> {
    let mut last = 0;
    for read in &round.readings {
        let (id, what) = (Uuid::now_v7(), read.gauge.as_str());
        let (bank, station) = match &read.of {
            Of::Cell => (None, None),
            Of::Bank(id, code) => (Some((*id, code.as_str())), None),
            Of::Furnace(id, code) => (None, Some((*id, code.as_str()))),
        };
        let new = NewReading {
            id,
            what,
            bank: bank.map(|(id, _)| id),
            station: station.map(|(id, _)| id),
            value: read.value,
            at_ms: round.at_ms,
            by: &who.name,
        };
        queries::insert(change.connection(), &new).await?;
        let entered = Entered {
            what,
            bank: bank.map(|(_, code)| code),
            station: station.map(|(_, code)| code),
            value: read.value,
            read_at: round.at_ms,
            read_by: &who.name,
        };
        let subject = Subject::new("reading", id);
        last = change.journal("reading.entered", subject, entered).await?;
    }
    Ok(last)
}
