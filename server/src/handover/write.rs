//! The page on which a handover is written, and the saving of its fields while it is.

use askama::Template;
use axum::Json;
use axum::extract::State;
use axum::response::{IntoResponse, Redirect, Response};
use mendpost_core::shift::{GuardLine, Half, HalfKind, MOST_MUSTS, Risk, Stand, risk, triggers};
use mendpost_core::signature::Meaning;
use serde_json::json;

use super::draft::{Draft, Merged};
use super::gather::{Gathered, asked, gather};
use super::queries::{self, Shift};
use super::sheet::{ByItself, guard_word, photos, question_word, trigger_word};
use super::{PATH, WRITE, fields};
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::section::{Fields, Shown};
use crate::form::{FieldErrors, Posted};
use crate::once;
use crate::page::act::SIGN_FIELD;
use crate::page::{Layout, Notice, Screen, page_with};
use crate::people::{Visit, Who};
use crate::signature::{Ask, Secret, ask as ask_again};

#[derive(Template)]
#[template(path = "handover/write.html")]
pub(super) struct WritePage {
    page: Layout,
    shift: Shift,
    /// The saving of the draft that the page shows.
    base: i64,
    /// Whether anything was kept of it, and of which saving.
    kept: bool,
    round: Shown,
    stands: Vec<StandRow>,
    half: Vec<HalfRow>,
    guards: Vec<GuardRow>,
    own: ByItself,
    more_musts: bool,
    could_bite: Shown,
    questions: Vec<(&'static str, Shown)>,
    people_words: Shown,
    clock_agrees: Shown,
    /// What makes it one of higher risk, as it is written by now.
    triggers: Vec<&'static str>,
    step_up: bool,
    left_for_reader: bool,
    yes_no: Vec<(String, String)>,
    off_on: Vec<(String, String)>,
    ask: Ask,
    errors: FieldErrors,
}

struct StandRow {
    name: String,
    known: String,
    words: Vec<(String, String)>,
    word: Shown,
    reading: Shown,
    read: Shown,
}

struct HalfRow {
    what: String,
    finished: String,
    photos: String,
    request: Option<String>,
    next: Shown,
    parked: Option<Shown>,
    not_for: Shown,
    seen: Shown,
}

struct GuardRow {
    name: &'static str,
    off: Shown,
    what: Shown,
    restore: Shown,
}

/// What the page is made of.
pub(super) struct Written {
    pub shift: Shift,
    pub gathered: Gathered,
    pub typed: Fields,
    pub base: i64,
    pub left_for_reader: bool,
}

pub(super) async fn show(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
) -> Result<Response, AppError> {
    let Some(shift) = queries::current(&state.db.read).await? else {
        return Ok(Redirect::to(PATH).into_response());
    };
    if let Some(waiting) = queries::waiting(&state.db.read).await? {
        return Ok(Redirect::to(&super::path(waiting.number)).into_response());
    }
    let page = layout(&visit).await?;
    let gathered = gather(&state, &visit, &page, &shift).await?;
    let mut reading = state.db.read.acquire().await?;
    let draft = Draft::load(&mut reading, shift.number, visit.now).await?;
    drop(reading);
    let typed = gathered.typed(|name| draft.value(name).map(str::to_owned));
    let written = Written {
        shift,
        gathered,
        typed,
        base: draft.version,
        left_for_reader: false,
    };
    let errors = FieldErrors::default();
    page_of(&state, &visit, &who, page, written, errors).await
}

pub(super) async fn layout(visit: &Visit) -> Result<Layout, AppError> {
    visit.layout(Screen::Handover, "Write the handover").await
}

pub(super) async fn page_of(
    state: &AppState,
    visit: &Visit,
    who: &Who,
    page: Layout,
    written: Written,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let mut ask = ask_again(state, visit, who, Meaning::Tell).await?;
    errors.of(SIGN_FIELD).clone_into(&mut ask.error);
    let mut record = written.gathered.record.clone();
    let mut ignored = FieldErrors::default();
    let here = (visit.now, visit.site.zone);
    fields::apply(&mut record, &written.typed, here, &mut ignored);
    let found = triggers(&record);
    let shown = |name: &str| Shown {
        name: name.to_owned(),
        value: written.typed.get(name).cloned().unwrap_or_default(),
        error: errors.of(name).to_owned(),
    };
    let page = WritePage {
        base: written.base,
        kept: written.base > 0,
        round: shown(fields::ROUND),
        stands: stands(&written.gathered, shown),
        half: half(&written.gathered, shown),
        guards: guards(&written.gathered, shown),
        own: ByItself::of(&record, &page),
        more_musts: record.musts.len() < MOST_MUSTS,
        could_bite: shown("could_bite"),
        questions: record
            .people
            .answers
            .iter()
            .map(|(it, _)| (question_word(*it), shown(&format!("people_{it}"))))
            .collect(),
        people_words: shown("people_words"),
        clock_agrees: shown("clock_agrees"),
        step_up: risk(&found) == Risk::StepUp,
        triggers: found.into_iter().map(trigger_word).collect(),
        left_for_reader: written.left_for_reader,
        yes_no: pairs([("yes", "yes"), ("no", "no")]),
        off_on: pairs([("no", "none off"), ("yes", "OFF")]),
        shift: written.shift,
        ask,
        page,
        errors,
    };
    page_with(page.errors.status(), &page)
}

fn pairs(of: [(&str, &str); 2]) -> Vec<(String, String)> {
    of.map(|(value, word)| (value.to_owned(), word.to_owned()))
        .into()
}

fn stands(gathered: &Gathered, shown: impl Fn(&str) -> Shown) -> Vec<StandRow> {
    let stands = gathered.record.stands.iter();
    let row = |stand: &Stand| {
        let key = &stand.key;
        let words = stand.place.words().iter();
        StandRow {
            name: stand.name.clone(),
            known: gathered.known.get(key).cloned().unwrap_or_default(),
            words: words
                .map(|it| (it.word.to_owned(), it.word.to_owned()))
                .collect(),
            word: shown(&format!("{key}_word")),
            reading: shown(&format!("{key}_reading")),
            read: shown(&format!("{key}_read")),
        }
    };
    stands.map(row).collect()
}

fn half(gathered: &Gathered, shown: impl Fn(&str) -> Shown) -> Vec<HalfRow> {
    let half = gathered.record.half.iter();
    let row = |half: &Half| {
        let key = &half.key;
        let request = gathered.requests.get(key);
        HalfRow {
            what: half.what.clone(),
            finished: half.finished.clone(),
            photos: photos(half.photos),
            request: request.map(|number| format!("/requests/{number}")),
            next: shown(&format!("{key}_next")),
            parked: (half.kind != HalfKind::Feeder).then(|| shown(&format!("{key}_parked"))),
            not_for: shown(&format!("{key}_not")),
            seen: shown(&format!("{key}_seen")),
        }
    };
    half.map(row).collect()
}

fn guards(gathered: &Gathered, shown: impl Fn(&str) -> Shown) -> Vec<GuardRow> {
    let guards = gathered.record.guards.iter();
    let row = |line: &GuardLine| GuardRow {
        name: guard_word(line.guard),
        off: shown(&format!("{}_off", line.guard)),
        what: shown(&format!("{}_what", line.guard)),
        restore: shown(&format!("{}_restore", line.guard)),
    };
    guards.map(row).collect()
}

/// The shift that a form was written in, if it is still on and waits for nothing.
pub(super) async fn still_on(change: &mut Change, typed: &Fields) -> Result<Shift, AppError> {
    let shift = queries::current(change.connection()).await?;
    let meant = typed.get("shift").map_or("", String::as_str);
    let shift = shift.filter(|it| it.number.to_string() == meant);
    let shift = shift.ok_or_else(|| {
        AppError::Conflict(format!(
            "shift {meant} has ended; open the handover's page anew and write in the shift that is on"
        ))
    })?;
    match queries::waiting(change.connection()).await? {
        None => Ok(shift),
        Some(waiting) => Err(AppError::Conflict(format!(
            "handover {} was told by {} meanwhile; add what is missing to it, or refuse it and tell it anew",
            waiting.number, waiting.told_by
        ))),
    }
}

/// The saving of the draft that a page showed.
fn base(typed: &Fields) -> i64 {
    let base = typed.get("base").and_then(|it| it.parse().ok());
    base.unwrap_or(0)
}

/// What was typed, against what others wrote; clashes are told beside their fields.
pub(super) fn merge(
    draft: &Draft,
    gathered: &Gathered,
    typed: &Fields,
    me: &str,
    errors: &mut FieldErrors,
) -> Merged {
    let names = fields::names(&gathered.record);
    let mut merged = draft.merge(&names, (typed, &gathered.proposed), (base(typed), me));
    merged.changed.retain(|name, value| {
        let fits = fields::said(typed, name, errors) == *value;
        fits && errors.of(name).is_empty()
    });
    for clash in &merged.clashes {
        let stands = match clash.stands.as_str() {
            "" => "rubbed this out".to_owned(),
            stands => format!("wrote '{stands}' here"),
        };
        let fault = format!(
            "{} {stands} meanwhile; save again to put yours in its place",
            clash.by
        );
        errors.add(&clash.field, fault);
    }
    went_on(&names, typed, errors);
    merged
}

/// What was written of work that went on meanwhile belongs to no field any more, and is shown.
fn went_on(names: &[String], typed: &Fields, errors: &mut FieldErrors) {
    let of_work = typed.iter().filter(|(name, value)| {
        name.starts_with("half-") && !name.ends_with("_seen") && !value.trim().is_empty()
    });
    let gone = of_work.filter(|(name, _)| !names.contains(name));
    let said: Vec<String> = gone
        .map(|(_, value)| format!("'{}'", value.trim()))
        .collect();
    if said.is_empty() {
        return;
    }
    errors.add_whole(format!(
        "Work went on while you wrote, so it is asked of anew below. What was written of it before: {}.",
        said.join(", ")
    ));
}

/// Keeps the fields while somebody writes, for the script that sends them: answers with the number of the saving.
pub(super) async fn keep(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Posted(typed): Posted<Fields>,
) -> Result<Response, AppError> {
    // Not `layout`: what is to be said on the next page is not said to a script.
    let page = Layout::of(&visit, Screen::Handover, "", Vec::new());
    let mut change = Change::begin(&state, &who).await?;
    let shift = still_on(&mut change, &typed).await?;
    let gathered = asked(&state, &page, &shift).await?;
    let draft = Draft::load(change.connection(), shift.number, visit.now).await?;
    let mut errors = FieldErrors::default();
    let merged = merge(&draft, &gathered, &typed, &who.name, &mut errors);
    let clash = merged.clashes.first().map(|it| it.by.clone());
    let mut base = base(&typed);
    if !merged.changed.is_empty() {
        let version = draft
            .keep(&mut change, shift.number, &merged.changed, &who.name)
            .await?;
        let notice = Notice::done("KEPT", "The draft is kept.");
        change.finish_shown_once(WRITE, notice).await?;
        // The page shows what it showed, so that fields of others are still told apart by their saving.
        if draft.version == base {
            base = version;
        }
    }
    let answer = json!({
        "base": base,
        "once": once::number(),
        "kept": page.hour(&visit.now),
        "clash": clash,
    });
    Ok(Json(answer).into_response())
}
