//! A load is closed with what its chart shows: the heat treatment of every part in it is done, in one change. Or it
//! is given up before the soak, and nothing is.

use axum::extract::{Path, State};
use axum::response::Response;
use mendpost_core::journal::Subject;
use serde::Deserialize;
use serde_json::json;
use sqlx::SqliteConnection;

use super::form::{CloseForm, NewClosed};
use super::queries::{InIt, Load};
use super::{find_open, path};
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted, text};
use crate::page::act::{ActPage, Field};
use crate::page::{Notice, Screen};
use crate::people::{Visit, Who};
use crate::requests::{History, named};

/// When what comes before the heat treatment ended, for the last of the parts.
async fn before(connection: &mut SqliteConnection, load: &Load) -> Result<Option<i64>, AppError> {
    let mut latest = None;
    for part in &load.parts {
        let request = named(&mut *connection, &part.request.to_string()).await?;
        let history = History::load(&mut *connection, &request).await?;
        let ended = history.still_done().last().map(|done| done.ended_ms);
        latest = latest.max(ended);
    }
    Ok(latest)
}

/// Refuses where a part is no longer before this heat treatment: somebody sent it back or scrapped it.
async fn still_there(
    connection: &mut SqliteConnection,
    load: &Load,
    part: &InIt,
) -> Result<(), AppError> {
    let request = named(&mut *connection, &part.request.to_string()).await?;
    let history = History::load(&mut *connection, &request).await?;
    let done = history.still_done().last().map_or(0, |done| done.position);
    match history.stand.is_open() && done + 1 == part.position {
        true => Ok(()),
        false => Err(AppError::Conflict(format!(
            "R{} does not stand before {} any more; give load {} up, and open another for the rest",
            part.request,
            part.name,
            load.code()
        ))),
    }
}

pub(super) async fn ask(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(number): Path<String>,
) -> Result<Response, AppError> {
    let mut reading = state.db.read.acquire().await?;
    let load = find_open(&mut reading, &number).await?;
    let form = CloseForm {
        operator: who.name,
        ..CloseForm::default()
    };
    close_page(&visit, &load, &form, FieldErrors::default()).await
}

pub(super) async fn save(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(number): Path<String>,
    Posted(form): Posted<CloseForm>,
) -> Result<Response, AppError> {
    let mut errors = FieldErrors::default();
    let mut change = Change::begin(&state, &who).await?;
    let load = find_open(change.connection(), &number).await?;
    let before = before(change.connection(), &load).await?;
    let new = form.parse((visit.now, before), visit.site.zone, &mut errors);
    let (Some(new), true) = (new, errors.is_empty()) else {
        drop(change);
        return close_page(&visit, &load, &form, errors).await;
    };
    for part in &load.parts {
        still_there(change.connection(), &load, part).await?;
    }
    let content = json!({
        "actual_c": new.soak.actual_c,
        "soak_from_ms": new.soak.from_ms,
        "soak_to_ms": new.soak.to_ms,
        "chart": new.chart,
        "operator": new.operator,
        "note": new.note,
    });
    let subject = Subject::new("furnace-load", load.code());
    let journal = change.journal("furnace.closed", subject, content).await?;
    insert(&mut change, &load, Some(&new), &new.note, &who, journal).await?;
    for part in &load.parts {
        enter_done(&mut change, &load, part, &new, &who).await?;
    }
    let done = match load.parts.len() {
        0 => String::new(),
        1 => " Its part is heat treated.".to_owned(),
        parts => format!(" Its {parts} parts are heat treated."),
    };
    let text = format!("load {}.{done} Journal {journal}.", load.code());
    change
        .finish(&who, &path(load.number), Notice::done("CLOSED", text))
        .await
}

/// The heat treatment of one part, as its own entry of the journal says it too.
async fn enter_done(
    change: &mut Change,
    load: &Load,
    part: &InIt,
    new: &NewClosed,
    who: &Who,
) -> Result<(), AppError> {
    let content = json!({
        "recipe": part.code,
        "revision": part.revision,
        "position": part.position,
        "kind": "heat-treat",
        "ended_ms": new.soak.to_ms,
        "note": new.note,
        "load": load.number,
    });
    let subject = Subject::new("request", format!("R{}", part.request));
    let sequence = change
        .journal("request.work-done", subject, content)
        .await?;
    let note = format!("load {}, chart {}", load.code(), new.chart);
    sqlx::query!(
        "insert into work_done (journal_sequence, request_id, recipe_id, position, ended_ms, done_by,
           person_id, note)
         values (?, (select id from request where number = ?), ?, ?, ?, ?, ?, ?)",
        sequence,
        part.request,
        part.recipe,
        part.position,
        new.soak.to_ms,
        who.name,
        who.id,
        note,
    )
    .execute(change.connection())
    .await?;
    sqlx::query!(
        "insert into furnace_done (journal_sequence, load_number) values (?, ?)",
        sequence,
        load.number,
    )
    .execute(change.connection())
    .await?;
    Ok(())
}

async fn insert(
    change: &mut Change,
    load: &Load,
    new: Option<&NewClosed>,
    note: &str,
    who: &Who,
    journal: i64,
) -> Result<(), AppError> {
    let soak = new.map(|new| new.soak);
    let (actual_c, from) = (
        soak.map(|soak| soak.actual_c),
        soak.map(|soak| soak.from_ms),
    );
    let (to, now) = (soak.map(|soak| soak.to_ms), change.now());
    let chart = new.map_or("", |new| new.chart.as_str());
    let operator = new.map_or("", |new| new.operator.as_str());
    sqlx::query!(
        "insert into furnace_closed (load_number, actual_c, soak_from_ms, soak_to_ms, chart, operator, note,
           closed_by, closed_ms, journal_sequence)
         values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        load.number,
        actual_c,
        from,
        to,
        chart,
        operator,
        note,
        who.name,
        now,
        journal,
    )
    .execute(change.connection())
    .await?;
    Ok(())
}

fn pairs(load: &Load) -> Vec<(&'static str, String)> {
    let parts: Vec<String> = load
        .parts
        .iter()
        .map(|part| format!("R{} {}", part.request, part.part_name))
        .collect();
    let containers: Vec<String> = load
        .containers
        .iter()
        .map(|container| format!("{} of lot {}", container.code, container.lot))
        .collect();
    let mut pairs = vec![
        ("Furnace", load.station_name.clone()),
        ("Set to", format!("{} °C", load.set_c)),
    ];
    if !load.dries() {
        pairs.push(("Cycle", load.cycle.clone()));
        pairs.push(("In it", parts.join("; ")));
    } else {
        pairs.push(("In it", containers.join("; ")));
    }
    pairs
}

async fn close_page(
    visit: &Visit,
    load: &Load,
    form: &CloseForm,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let code = load.code();
    let act = ActPage {
        page: visit.layout(Screen::Cell, &format!("Load {code}")).await?,
        answer: format!("Close load {code} with what its chart shows."),
        reason: match load.dries() {
            true => "It stands on the page of each lot then.".to_owned(),
            false => "The heat treatment of every part in it is done then.".to_owned(),
        },
        pairs: pairs(load),
        fields: vec![
            Field::amount(
                "actual_c",
                "Temperature at the soak",
                &form.actual_c,
                "°C",
                "as the chart shows it",
            ),
            Field::time("soak_from", "Soak from", &form.soak_from, ""),
            Field::time("soak_to", "Soak to", &form.soak_to, ""),
            Field::text("chart", "Chart", &form.chart, "its number"),
            Field::text("operator", "Who ran it", &form.operator, ""),
            Field::area(
                "note",
                "What else is to be known",
                &form.note,
                "may stay empty; what went wrong is reported apart",
            ),
        ],
        action: format!("{}/close", path(load.number)),
        verb: "Close the load",
        detail: String::new(),
        back: ("Not yet", path(load.number)),
        ask: None,
        errors,
    };
    act.answer()
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct GiveUpForm {
    reason: String,
}

pub(super) async fn ask_give_up(
    State(state): State<AppState>,
    visit: Visit,
    Path(number): Path<String>,
) -> Result<Response, AppError> {
    let mut reading = state.db.read.acquire().await?;
    let load = find_open(&mut reading, &number).await?;
    give_up_page(
        &visit,
        &load,
        &GiveUpForm::default(),
        FieldErrors::default(),
    )
    .await
}

pub(super) async fn give_up(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(number): Path<String>,
    Posted(form): Posted<GiveUpForm>,
) -> Result<Response, AppError> {
    let mut errors = FieldErrors::default();
    let reason = errors.check("reason", text(&form.reason, 400));
    let mut change = Change::begin(&state, &who).await?;
    let load = find_open(change.connection(), &number).await?;
    let Some(reason) = reason else {
        drop(change);
        return give_up_page(&visit, &load, &form, errors).await;
    };
    let subject = Subject::new("furnace-load", load.code());
    let content = json!({ "reason": reason });
    let journal = change.journal("furnace.given-up", subject, content).await?;
    insert(&mut change, &load, None, &reason, &who, journal).await?;
    let text = format!(
        "load {}: nothing in it was treated. Journal {journal}.",
        load.code()
    );
    change
        .finish(&who, &path(load.number), Notice::done("GIVEN UP", text))
        .await
}

async fn give_up_page(
    visit: &Visit,
    load: &Load,
    form: &GiveUpForm,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let code = load.code();
    let act = ActPage {
        page: visit.layout(Screen::Cell, &format!("Load {code}")).await?,
        answer: format!("Give load {code} up."),
        reason: "Nothing in it counts as treated; what was in it may go into another load."
            .to_owned(),
        pairs: pairs(load),
        fields: vec![Field::area(
            "reason",
            "Why",
            &form.reason,
            "the wrong part, a furnace that does not heat",
        )],
        action: format!("{}/give-up", path(load.number)),
        verb: "Give it up",
        detail: "nothing was treated".to_owned(),
        back: ("Leave it open", path(load.number)),
        ask: None,
        errors,
    };
    act.answer()
}
