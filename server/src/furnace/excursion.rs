//! Something went wrong with a load: its soak is void until each part was judged.

use axum::extract::{Path, State};
use axum::response::Response;
use mendpost_core::journal::Subject;
use serde::Deserialize;
use serde_json::json;

use super::queries::Load;
use super::{find, path};
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::finish::short;
use crate::form::{FieldErrors, Posted, local_time, text};
use crate::hold::{Cause, Held, hold_part};
use crate::page::act::{ActPage, Field};
use crate::page::{Notice, Screen, moment};
use crate::people::{Visit, Who};
use crate::requests::{History, named, whereabouts};

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct ExcursionForm {
    what: String,
    at: String,
}

/// Refuses a load in which nothing was treated.
fn soaked(load: &Load) -> Result<(), AppError> {
    match &load.closed {
        Some(closed) if closed.soak.is_none() => Err(AppError::Conflict(format!(
            "load {} was given up, and nothing in it counts as treated",
            load.code()
        ))),
        _ => Ok(()),
    }
}

pub(super) async fn ask(
    State(state): State<AppState>,
    visit: Visit,
    Path(number): Path<String>,
) -> Result<Response, AppError> {
    let mut reading = state.db.read.acquire().await?;
    let load = find(&mut reading, &number).await?;
    soaked(&load)?;
    form_page(
        &visit,
        &load,
        &ExcursionForm::default(),
        FieldErrors::default(),
    )
    .await
}

pub(super) async fn save(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(number): Path<String>,
    Posted(form): Posted<ExcursionForm>,
) -> Result<Response, AppError> {
    let zone = visit.site.zone;
    let mut errors = FieldErrors::default();
    let what = errors.check("what", text(&form.what, 400));
    let at = errors.check("at", local_time(&form.at, zone));
    if at.is_some_and(|at| at > visit.now) {
        let fault = format!("that is still to come: it is {}", moment(visit.now, zone));
        errors.add("at", fault);
    }
    let mut change = Change::begin(&state, &who).await?;
    let load = find(change.connection(), &number).await?;
    soaked(&load)?;
    let (Some(what), Some(at), true) = (what, at, errors.is_empty()) else {
        drop(change);
        return form_page(&visit, &load, &form, errors).await;
    };
    let subject = Subject::new("furnace-load", load.code());
    let content = json!({ "what": what, "at_ms": at });
    let journal = change
        .journal("furnace.excursion", subject, content)
        .await?;
    let now = change.now();
    sqlx::query!(
        "insert into furnace_excursion (journal_sequence, load_number, what, at_ms, told_by, told_ms)
         values (?, ?, ?, ?, ?, ?)",
        journal,
        load.number,
        what,
        at,
        who.name,
        now,
    )
    .execute(change.connection())
    .await?;
    let held = hold_all(&mut change, &load, &what, journal, &who).await?;
    let text = match held.is_empty() {
        true => format!("of load {}. Journal {journal}.", load.code()),
        false => format!(
            "of load {}. Journal {journal}. On hold until judged: {}.",
            load.code(),
            held.join(", ")
        ),
    };
    change
        .finish(&who, &path(load.number), Notice::wrong("EXCURSION", text))
        .await
}

/// Puts the question on each part that was in it and is here still; their requests.
async fn hold_all(
    change: &mut Change,
    load: &Load,
    what: &str,
    journal: i64,
    who: &Who,
) -> Result<Vec<String>, AppError> {
    let mut held = Vec::new();
    for part in &load.parts {
        let request = named(change.connection(), &part.request.to_string()).await?;
        let history = History::load(change.connection(), &request).await?;
        let still = history.still_done();
        let counts = match part.done {
            None => load.is_open(),
            Some(sequence) => still.iter().any(|done| done.sequence == sequence),
        };
        if !counts || !whereabouts(&request, &history).may_be_held() {
            continue;
        }
        let new = Held {
            request: part.request,
            cause: Cause::Furnace,
            of_sequence: Some(journal),
            what: &short(&format!("soak of load {} void: {what}", load.code())),
        };
        hold_part(change, &new, who).await?;
        held.push(format!("R{}", part.request));
    }
    Ok(held)
}

async fn form_page(
    visit: &Visit,
    load: &Load,
    form: &ExcursionForm,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let code = load.code();
    let act = ActPage {
        page: visit.layout(Screen::Cell, &format!("Load {code}")).await?,
        answer: format!("Say what went wrong with load {code}."),
        reason: "Its soak is void: each part in it is held until somebody has judged it, or it is treated again."
            .to_owned(),
        pairs: vec![("Furnace", load.station_name.clone()), ("Set to", format!("{} °C", load.set_c))],
        fields: vec![
            Field::area("what", "What went wrong", &form.what, "power cut, over temperature, thermocouple loose: for how long, how far"),
            Field::time("at", "From", &form.at, ""),
        ],
        action: format!("{}/excursion", path(load.number)),
        verb: "Report it",
        detail: "holds its parts".to_owned(),
        back: ("Nothing went wrong", path(load.number)),
        ask: None,
        errors,
    };
    act.answer()
}
