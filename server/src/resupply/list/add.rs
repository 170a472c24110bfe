//! Additions to a frozen list: further lines, and units that are taken back of earlier ones.

use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::Response;
use mendpost_core::resupply::list::{Addition, ListLine, LoadList};
use serde_json::json;

use super::draft::{Draft, Read, parse, why};
use super::freeze::Ready;
use super::{find, pages, path, queries, subject, words};
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted};
use crate::page::Notice;
use crate::people::{Visit, Who};

pub async fn open(
    State(state): State<AppState>,
    visit: Visit,
    Path(number): Path<String>,
) -> Result<Response, AppError> {
    let mut reading = state.db.read.begin().await?;
    let list = find(&mut reading, &visit, &number).await?;
    let ready = Ready::of(&mut reading, list.trip.as_str()).await?;
    drop(reading);
    let draft = Draft {
        trip: list.trip.to_string(),
        version: version(&list),
        ..Draft::default()
    };
    let errors = (FieldErrors::default(), StatusCode::OK);
    pages::draft(&visit, &ready, draft, None, errors, Some(&list)).await
}

/// Of how many additions a form knows.
fn version(list: &LoadList) -> String {
    list.additions.len().to_string()
}

pub async fn add(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(number): Path<String>,
    Posted(fields): Posted<Vec<(String, String)>>,
) -> Result<Response, AppError> {
    let mut draft = Draft::of(&fields);
    let mut errors = FieldErrors::default();
    let mut change = Change::begin(&state, &who).await?;
    let list = find(change.connection(), &visit, &number).await?;
    let ready = Ready::of(change.connection(), list.trip.as_str()).await?;
    let read = parse(&draft, &ready.against(&visit, Some(&list)), &mut errors)?;
    let is_look = draft.step == "look";
    let why = if is_look {
        None
    } else {
        why(&draft, &mut errors)
    };
    let mut status = if is_look {
        StatusCode::OK
    } else {
        errors.status()
    };
    if !is_look && draft.version != version(&list) && errors.is_empty() {
        status = StatusCode::CONFLICT;
        errors.add_whole(
            "Somebody added to this list meanwhile: look at it below, and \
             send this again if it still holds.",
        );
        draft.version = version(&list);
    }
    let Some(why) = why.filter(|_| errors.is_empty()) else {
        drop(change);
        return pages::draft(
            &visit,
            &ready,
            draft,
            Some(&read),
            (errors, status),
            Some(&list),
        )
        .await;
    };
    let (list, journal) = record(&mut change, &who, &ready, list, (&read, why)).await?;
    let added = list.additions.len() - 1;
    let text = format!(
        "addition {added} to load list {}, now {}. Journal {journal}. Send it to the depot again.",
        list.number,
        words::both(&list)
    );
    let location = path(list.number);
    change
        .finish(&who, &location, Notice::done("ADDED", text))
        .await
}

async fn record(
    change: &mut Change,
    who: &Who,
    ready: &Ready,
    mut list: LoadList,
    (read, reason): (&Read, String),
) -> Result<(LoadList, i64), AppError> {
    let addition = i64::try_from(list.additions.len()).map_err(AppError::internal)?;
    let before = list.lines.len();
    for wanted in &read.wanted {
        let number = i64::try_from(list.lines.len() + 1).map_err(AppError::internal)?;
        let asks = wanted.takes_back.and_then(|of| list.line(of)).cloned();
        let line = match asks {
            // It takes back what was asked for as it was then, whatever the item weighs by now.
            Some(asks) => ListLine {
                number,
                addition,
                takes_back: wanted.takes_back,
                units: wanted.units,
                reason: wanted.reason.clone(),
                ..asks
            },
            None => ready.line(number, addition, wanted)?,
        };
        list.lines.push(line);
    }
    // Limits are those of the freezing; one that was written down since is not on the list.
    let known: Vec<String> = list.totals.iter().map(|it| it.id.clone()).collect();
    for line in &mut list.lines[before..] {
        line.uses.retain(|id, _| known.contains(id));
    }
    let mut totals = list.totals.clone();
    for total in &mut totals {
        total.taken = list.taken(&total.id);
    }
    list.totals = totals;
    list.additions.push(Addition {
        number: addition,
        at: change.moment()?,
        by: who.name.clone(),
        reason,
        journal: 0,
        apart: read.judged.apart.clone(),
    });
    list.check().map_err(AppError::internal)?;
    let last = list.additions.len() - 1;
    let content = json!({
        "addition": addition,
        "reason": list.additions[last].reason,
        "lines": list.lines[before..],
        "totals": list.totals,
        "apart": list.additions[last].apart,
    });
    let journal = change
        .journal("load-list.added", subject(list.number), content)
        .await?;
    list.additions[last].journal = journal;
    queries::insert_addition(change.connection(), &list, &list.additions[last]).await?;
    Ok((list, journal))
}
