//! Which nozzle is in, and how long it has run: its hours are those of the builds that it sprayed.

use axum::extract::State;
use axum::response::Response;
use mendpost_core::build::minutes;
use mendpost_core::journal::Subject;
use serde::Deserialize;
use serde_json::json;
use sqlx::SqliteConnection;

use super::queries::{self, times};
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted, decimal, optional_text, text};
use crate::page::act::{ActPage, Field};
use crate::page::{Notice, Screen, minutes as spoken, moment};
use crate::people::{Visit, Who};
use crate::situation;

pub(super) const PATH: &str = "/cell/nozzle";

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub(super) struct NozzleForm {
    code: String,
    hours: String,
    note: String,
}

/// The nozzle that is in.
struct Fitted {
    code: String,
    at_ms: i64,
    /// Minutes in all, elsewhere before included.
    minutes: i64,
}

async fn fitted(connection: &mut SqliteConnection) -> Result<Option<Fitted>, AppError> {
    let last = sqlx::query!(
        "select journal_sequence, code, at_ms, minutes_before from nozzle_fitted order by journal_sequence desc limit 1"
    )
    .fetch_optional(&mut *connection)
    .await?;
    let Some(last) = last else {
        return Ok(None);
    };
    let mut ran = last.minutes_before;
    let builds = queries::with_nozzle(&mut *connection, &last.code, last.journal_sequence).await?;
    for build in builds {
        let marks = queries::marks(&mut *connection, build.id).await?;
        let at = |ms| situation::moment(ms).map_err(AppError::internal);
        let end = build.ended_ms.unwrap_or(build.begun_ms);
        ran += minutes(at(build.begun_ms)?, &times(&marks), at(end)?).spraying;
    }
    Ok(Some(Fitted {
        code: last.code,
        at_ms: last.at_ms,
        minutes: ran,
    }))
}

pub(super) async fn show(
    State(state): State<AppState>,
    visit: Visit,
) -> Result<Response, AppError> {
    nozzle_page(
        &state,
        &visit,
        NozzleForm::default(),
        FieldErrors::default(),
    )
    .await
}

/// Notes that another nozzle is in from now on.
pub(super) async fn save(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Posted(form): Posted<NozzleForm>,
) -> Result<Response, AppError> {
    let mut errors = FieldErrors::default();
    let code = errors.check("code", text(&form.code, 40));
    if code.as_deref().is_some_and(|code| code.contains('/')) {
        errors.add("code", "a code has no '/', since it stands in addresses");
    }
    let before = match form.hours.trim() {
        "" => Some(0),
        // Tenths of an hour are six minutes.
        typed => errors
            .check("hours", decimal(typed, 1, 0..=100_000))
            .map(|tenths| tenths * 6),
    };
    let note = errors.check("note", optional_text(&form.note, 200));
    let (Some(code), Some(before), Some(note), true) = (code, before, note, errors.is_empty())
    else {
        return nozzle_page(&state, &visit, form, errors).await;
    };
    let note = note.unwrap_or_default();
    let mut change = Change::begin(&state, &who).await?;
    let old = fitted(change.connection()).await?;
    let content = json!({
        "code": code,
        "minutes_before": before,
        "note": note,
        "old": old.as_ref().map(|it| it.code.as_str()),
        "old_minutes": old.as_ref().map(|it| it.minutes),
    });
    let entry = change
        .journal("nozzle.fitted", Subject::new("cell", "nozzle"), content)
        .await?;
    let now = change.now();
    sqlx::query!(
        "insert into nozzle_fitted (journal_sequence, code, at_ms, minutes_before, note) values (?, ?, ?, ?, ?)",
        entry,
        code,
        now,
        before,
        note,
    )
    .execute(change.connection())
    .await?;
    let text =
        format!("Nozzle {code} is in, journal {entry}. Gauge its bore before the next build.");
    change.finish(&who, PATH, Notice::done("SAVED", text)).await
}

async fn nozzle_page(
    state: &AppState,
    visit: &Visit,
    form: NozzleForm,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let mut reading = state.db.read.acquire().await?;
    let now = fitted(&mut reading).await?;
    drop(reading);
    let (answer, pairs) = match &now {
        None => (
            "Say which nozzle is in: nobody has yet.".to_owned(),
            Vec::new(),
        ),
        Some(it) => (
            format!(
                "Nozzle {} is in; it has sprayed {}.",
                it.code,
                spoken(it.minutes)
            ),
            vec![
                ("Nozzle", it.code.clone()),
                ("Fitted", moment(it.at_ms, visit.site.zone)),
                ("Sprayed so far", spoken(it.minutes)),
                ("What it touched", format!("/trace/nozzles/{}", it.code)),
            ],
        ),
    };
    let act = ActPage {
        page: visit.layout(Screen::Cell, "Nozzle").await?,
        answer,
        reason: "Its hours count from the builds that it sprays.".to_owned(),
        pairs,
        fields: vec![
            Field::text(
                "code",
                "Nozzle that is put in",
                &form.code,
                "as it is marked",
            ),
            Field::amount(
                "hours",
                "Sprayed before",
                &form.hours,
                "h",
                "elsewhere, or before this book; empty: new",
            ),
            Field::area(
                "note",
                "Note",
                &form.note,
                "why it is changed: worn, clogged, another size",
            ),
        ],
        action: PATH.to_owned(),
        verb: "It is in",
        detail: "builds from now on are sprayed with it".to_owned(),
        back: ("Back to the cell", Screen::Cell.path().to_owned()),
        ask: None,
        errors,
    };
    act.answer()
}
