//! Spraying begins, stops for a cause, goes on; and what was done otherwise than the recipe says.

use axum::extract::{Path, State};
use axum::response::Response;
use mendpost_core::build::{Cause, Mark, can_follow, doing};
use mendpost_core::journal::Subject;
use serde::Deserialize;
use serde_json::json;

use super::pages::{Typed, build_page};
use super::path;
use super::queries::{self, Build, NewMark, times};
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted, integer, optional_text, text};
use crate::page::Notice;
use crate::people::{Visit, Who};
use crate::words::build::{cause_word, stopped};

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub(super) struct MarkForm {
    /// 'spray', or the word of a cause to stop for.
    pub what: String,
    pub pass: String,
    pub note: String,
}

pub(super) async fn save(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(number): Path<i64>,
    Posted(form): Posted<MarkForm>,
) -> Result<Response, AppError> {
    let mut change = Change::begin(&state, &who).await?;
    let build = open(&mut change, number).await?;
    let marks = queries::marks(change.connection(), build.id).await?;
    let mut errors = FieldErrors::default();
    let mark = match form.what.as_str() {
        "spray" => Some(Mark::Spray),
        cause => match cause.parse::<Cause>() {
            Ok(cause) => Some(Mark::Stop(cause)),
            Err(_) => {
                errors.add("what", "choose why it stops");
                None
            }
        },
    };
    let pass = match form.pass.trim() {
        "" => None,
        typed => errors.check("pass", integer(typed, 0..=100_000)),
    };
    let note = errors
        .check("note", optional_text(&form.note, 400))
        .flatten();
    let needs_words = |cause: Cause| cause.is_fault() || cause == Cause::ShiftChange;
    if let (Some(Mark::Stop(cause)), None) = (mark, &note)
        && needs_words(cause)
    {
        errors.add(
            "note",
            "say what was found, how it is parked, and what comes next",
        );
    }
    let (Some(mark), true) = (mark, errors.is_empty()) else {
        drop(change);
        let typed = Typed {
            mark: form,
            errors,
            ..Typed::default()
        };
        return build_page(&state, &visit, number, typed).await;
    };
    if let Err(fault) = can_follow(doing(&times(&marks)), mark) {
        return Err(AppError::Conflict(format!(
            "build {number}: {fault}; somebody else was quicker, look at it again"
        )));
    }
    let note = note.unwrap_or_default();
    let (kind, cause) = match mark {
        Mark::Spray => ("build.sprays", None),
        Mark::Stop(cause) => ("build.stopped", Some(cause)),
    };
    let content = json!({ "cause": cause, "pass": pass, "note": note });
    let entry = change
        .journal(kind, Subject::new("build", number), content)
        .await?;
    let new = NewMark {
        mark,
        pass,
        note: &note,
    };
    queries::insert_mark(&mut change, build.id, &new, &who, entry).await?;
    let text = match mark {
        Mark::Spray => format!("Powder flows, journal {entry}."),
        Mark::Stop(cause) => format!("{}, journal {entry}. {}", stopped(cause), next(cause)),
    };
    change
        .finish(&who, &path(number), Notice::done("SAVED", text))
        .await
}

/// What to do when it stops for this cause (common practice, no source).
fn next(cause: Cause) -> &'static str {
    match cause {
        Cause::Clog | Cause::NozzleWorn => {
            "Stop the feed, keep the gas until it is cool, then change the nozzle."
        }
        Cause::Feeder => "Vent, read zero, clear it, and prove it again on a coupon.",
        Cause::Heater => "Cool the heater with gas on.",
        Cause::Power => "Gas off, vent, door open; check oxygen before anybody goes in.",
        Cause::Collector => "Nobody sprays until it is emptied, cold and earthed.",
        Cause::Gas => "Read the bank before and after, then go on.",
        Cause::ShiftChange => "Tell the next shift what it must not be mistaken for.",
        Cause::LayerEnd | Cause::Measure => "Enter the thickness, then go on.",
        Cause::Powder => "Draw, then go on.",
        Cause::Compressor | Cause::Other => "Go on when it is put right.",
    }
}

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub(super) struct DeviationForm {
    pub words: String,
}

pub(super) async fn deviation(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(number): Path<i64>,
    Posted(form): Posted<DeviationForm>,
) -> Result<Response, AppError> {
    let mut errors = FieldErrors::default();
    let Some(words) = errors.check("words", text(&form.words, 400)) else {
        let typed = Typed {
            deviation: form,
            errors,
            ..Typed::default()
        };
        return build_page(&state, &visit, number, typed).await;
    };
    let mut change = Change::begin(&state, &who).await?;
    let build = found(&mut change, number).await?;
    let content = json!({ "words": words });
    let subject = Subject::new("build", number);
    let entry = change.journal("build.deviated", subject, content).await?;
    let now = change.now();
    sqlx::query!(
        "insert into build_deviation (journal_sequence, build_id, words, at_ms, done_by, person_id)
         values (?, ?, ?, ?, ?, ?)",
        entry,
        build.id,
        words,
        now,
        who.name,
        who.id,
    )
    .execute(change.connection())
    .await?;
    let text = format!("The deviation is on record, journal {entry}.");
    change
        .finish(&who, &path(number), Notice::done("SAVED", text))
        .await
}

/// A build of this number.
pub(super) async fn found(change: &mut Change, number: i64) -> Result<Build, AppError> {
    let build = queries::build(change.connection(), number).await?;
    build.ok_or_else(|| AppError::NotFound {
        what: format!("build {number}"),
    })
}

/// A build of this number that is under way.
pub(super) async fn open(change: &mut Change, number: i64) -> Result<Build, AppError> {
    let build = found(change, number).await?;
    match build.ended_ms {
        None => Ok(build),
        Some(_) => Err(AppError::Conflict(format!(
            "build {number} has ended; nothing is entered in it any more"
        ))),
    }
}

/// The causes to choose from, those of every day first.
pub(super) fn causes() -> Vec<(&'static str, &'static str)> {
    Cause::ALL
        .iter()
        .map(|cause| (cause.as_str(), cause_word(*cause)))
        .collect()
}
