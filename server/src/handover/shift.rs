//! The shift that is on and those before: who opened it, all that was journaled in it, what was written down, and
//! what it carries.

use askama::Template;
use axum::extract::{Path, Query, State};
use axum::response::Response;
use chrono::TimeDelta;
use mendpost_core::journal::Subject;
use mendpost_core::people::Act;
use mendpost_core::shift::{DRAFT_AFTER_MIN, Risk};
use serde::Deserialize;
use serde_json::json;
use uuid::Uuid;

use super::carried::LineForm;
use super::log::{Group, gathered};
use super::queries::{self, ClosedLine, Listed, Note, Shift};
use super::{CarriedKind, NoteKind, PATH, WRITE, path};
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted, choice, local_time, text};
use crate::page::{Layout, Notice, Screen, page, page_with};
use crate::people::{Visit, Who};

#[derive(Template)]
#[template(path = "handover/shift.html")]
struct ShiftPage {
    page: Layout,
    answer: String,
    reason: String,
    shift: Option<Shift>,
    /// Where the next act is, with its words.
    act: Option<(String, &'static str, String)>,
    may: bool,
    may_open: bool,
    carried: Vec<CarriedRow>,
    notes: Vec<NoteRow>,
    groups: Vec<Group>,
    handovers: Vec<HandoverRow>,
    older: Option<String>,
    kinds: Vec<(String, String)>,
    note_kinds: Vec<(String, String)>,
    typed: Typed,
    errors: FieldErrors,
}

#[derive(Template)]
#[template(path = "handover/past.html")]
struct PastPage {
    page: Layout,
    shift: Shift,
    span: String,
    notes: Vec<NoteRow>,
    closed: Vec<(String, String)>,
    groups: Vec<Group>,
    handovers: Vec<HandoverRow>,
}

struct CarriedRow {
    path: String,
    when: String,
    late: bool,
    kind: &'static str,
    text: String,
    by: String,
}

struct NoteRow {
    kind: &'static str,
    text: String,
    at: String,
    by: String,
}

struct HandoverRow {
    path: String,
    number: i64,
    told: String,
    risk: &'static str,
    end: String,
}

/// What was typed into one of the page's forms.
#[derive(Debug, Clone, Default)]
pub(super) struct Typed {
    pub line: LineForm,
    pub note: NoteForm,
    pub why: String,
}

#[derive(Deserialize)]
pub(super) struct From {
    before: Option<i64>,
}

pub(super) async fn show(
    State(state): State<AppState>,
    visit: Visit,
    Query(from): Query<From>,
) -> Result<Response, AppError> {
    shown(
        &state,
        &visit,
        Typed::default(),
        FieldErrors::default(),
        from.before,
    )
    .await
}

pub(super) async fn page_of(
    state: &AppState,
    visit: &Visit,
    typed: Typed,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    shown(state, visit, typed, errors, None).await
}

/// Handovers in the list.
const MOST: i64 = 10;

async fn shown(
    state: &AppState,
    visit: &Visit,
    mut typed: Typed,
    errors: FieldErrors,
    before: Option<i64>,
) -> Result<Response, AppError> {
    let page = visit
        .layout(Screen::Handover, Screen::Handover.word())
        .await?;
    let mut reading = state.db.read.begin().await?;
    let shift = queries::current(&mut *reading).await?;
    let waiting = queries::waiting(&mut *reading).await?;
    let before = before.unwrap_or(i64::MAX);
    let listed = queries::listed(&mut *reading, None, before, MOST).await?;
    let (mut notes, mut groups) = (Vec::new(), Vec::new());
    if let Some(shift) = &shift {
        notes = queries::notes(&mut *reading, shift.number).await?;
        groups = gathered(&mut reading, (shift.sequence, i64::MAX), &page).await?;
    }
    let may = visit.may(Act::HandOver);
    let (answer, reason) = answer(shift.as_ref(), waiting.as_ref().map(|it| it.number), &page);
    let act = match (&waiting, &shift) {
        _ if !may => None,
        (Some(waiting), _) => {
            let verb = format!("Open handover {}", waiting.number);
            Some((path(waiting.number), "told, not taken over", verb))
        }
        (None, Some(_)) => Some((
            WRITE.to_owned(),
            "a draft is kept field by field",
            "Write the handover".to_owned(),
        )),
        (None, None) => None,
    };
    if typed.line.due.is_empty() {
        let later = visit.now + TimeDelta::hours(12).num_milliseconds();
        typed.line.due = page.field_time(&later);
    }
    if typed.note.happened.is_empty() {
        typed.note.happened = page.field_time(&visit.now);
    }
    let full = i64::try_from(listed.len()) == Ok(MOST);
    let last = listed.last().filter(|it| full && it.number > 1);
    let carried = queries::carried(&mut *reading).await?;
    let page = ShiftPage {
        answer,
        reason,
        act,
        may,
        may_open: may && waiting.is_none(),
        carried: carried.iter().map(|it| carried_row(it, &page)).collect(),
        notes: notes.iter().map(|it| note_row(it, &page)).collect(),
        groups,
        older: last.map(|it| format!("{PATH}?before={}", it.number)),
        handovers: listed.iter().map(|it| handover_row(it, &page)).collect(),
        kinds: CarriedKind::ALL
            .iter()
            .map(|it| (it.to_string(), kind_word(*it).to_owned()))
            .collect(),
        note_kinds: NoteKind::ALL
            .iter()
            .map(|it| (it.to_string(), note_word(*it).to_owned()))
            .collect(),
        shift,
        typed,
        errors,
        page,
    };
    page_with(page.errors.status(), &page)
}

fn answer(shift: Option<&Shift>, waiting: Option<i64>, page: &Layout) -> (String, String) {
    let Some(shift) = shift else {
        return (
            "Open the first shift: nothing is gathered yet.".to_owned(),
            "What is journaled from then on gathers by itself.".to_owned(),
        );
    };
    let since = format!(
        "Shift {}, opened by {} {}.",
        shift.number,
        shift.opened_by,
        page.age(&shift.opened_ms)
    );
    let old = page.now() - shift.opened_ms >= DRAFT_AFTER_MIN * 60_000;
    match waiting {
        Some(number) => (format!("Take handover {number} over."), since),
        None if old => (
            "Write the handover: half the shift is over.".to_owned(),
            since,
        ),
        None => (
            "Note what happens; the handover gathers by itself.".to_owned(),
            since,
        ),
    }
}

fn carried_row(line: &queries::Carried, page: &Layout) -> CarriedRow {
    CarriedRow {
        path: format!("/handover/carried/{}", line.number),
        when: page.clock(&line.due_ms),
        late: line.due_ms < page.now(),
        kind: kind_word(line.kind),
        text: line.text.clone(),
        by: format!("{}, {}", line.by, page.moment(&line.at_ms)),
    }
}

fn note_row(note: &Note, page: &Layout) -> NoteRow {
    let late = note.written_ms - note.happened_ms > 15 * 60_000;
    let entered = match late {
        true => format!(", entered {}", page.clock(&note.written_ms)),
        false => String::new(),
    };
    NoteRow {
        kind: note_word(note.kind),
        text: note.text.clone(),
        at: page.clock(&note.happened_ms),
        by: format!("{}{entered}, journal {}", note.by, note.sequence),
    }
}

fn handover_row(listed: &Listed, page: &Layout) -> HandoverRow {
    HandoverRow {
        path: path(listed.number),
        number: listed.number,
        told: format!(
            "told by {}, {}",
            listed.told_by,
            page.moment(&listed.told_ms)
        ),
        risk: match listed.risk {
            Risk::Ordinary => "ordinary",
            Risk::StepUp => "step-up",
        },
        end: match &listed.end {
            None => "NOT TAKEN OVER".to_owned(),
            Some((true, by, at)) => format!("taken over by {by}, {}", page.moment(at)),
            Some((false, by, at)) => format!("refused by {by}, {}", page.moment(at)),
        },
    }
}

const fn kind_word(kind: CarriedKind) -> &'static str {
    match kind {
        CarriedKind::Promise => "promise",
        CarriedKind::Must => "next shift must",
    }
}

const fn note_word(kind: NoteKind) -> &'static str {
    match kind {
        NoteKind::Note => "note",
        NoteKind::Incident => "incident",
        NoteKind::NearMiss => "near miss",
    }
}

pub(super) async fn past(
    State(state): State<AppState>,
    visit: Visit,
    Path(number): Path<String>,
) -> Result<Response, AppError> {
    let none = || AppError::NotFound {
        what: format!("shift '{number}'"),
    };
    let parsed: i64 = number.parse().map_err(|_| none())?;
    let mut reading = state.db.read.begin().await?;
    let found = queries::shifts(&mut *reading, parsed, 1).await?.pop();
    let shift = found.filter(|it| it.number == parsed).ok_or_else(none)?;
    let layout = visit
        .layout(Screen::Handover, &format!("Shift {number}"))
        .await?;
    let up_to = shift.ended.map_or(i64::MAX, |(_, sequence)| sequence);
    let span = (shift.sequence, up_to);
    let closed = queries::closed(&mut *reading, span).await?;
    let closed = closed.iter().map(|it| closed_words(it, &layout)).collect();
    let end = shift
        .ended
        .map_or_else(|| "now".to_owned(), |(at, _)| layout.moment(&at));
    let notes = queries::notes(&mut *reading, parsed).await?;
    let handovers = queries::listed(&mut *reading, Some(parsed), i64::MAX, MOST).await?;
    page(&PastPage {
        span: format!("{} to {end}", layout.moment(&shift.opened_ms)),
        notes: notes.iter().map(|it| note_row(it, &layout)).collect(),
        closed,
        groups: gathered(&mut reading, span, &layout).await?,
        handovers: handovers
            .iter()
            .map(|it| handover_row(it, &layout))
            .collect(),
        shift,
        page: layout,
    })
}

fn closed_words(line: &ClosedLine, page: &Layout) -> (String, String) {
    let how = format!(
        "{}. {}, {}",
        line.how.trim_end_matches('.'),
        line.by,
        page.moment(&line.at_ms)
    );
    (format!("{}: {}", kind_word(line.kind), line.text), how)
}

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub(super) struct OpenForm {
    why: String,
}

/// Opens a shift without a handover: the first one, or where the one before left nothing.
pub(super) async fn open(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Posted(form): Posted<OpenForm>,
) -> Result<Response, AppError> {
    let mut errors = FieldErrors::default();
    let why = errors.check("why", text(&form.why, 400));
    let mut change = Change::begin(&state, &who).await?;
    if let Some(waiting) = queries::waiting(change.connection()).await? {
        return Err(AppError::Conflict(format!(
            "handover {} waits to be taken over; take it over, or refuse it, before a shift is opened without one",
            waiting.number
        )));
    }
    let Some(why) = why else {
        drop(change);
        let typed = Typed {
            why: form.why,
            ..Typed::default()
        };
        return page_of(&state, &visit, typed, errors).await;
    };
    let number = begin(&mut change, None, &why, (&who.name, who.id)).await?;
    let text = "What is journaled from now on gathers by itself. Look at the cell: nobody has told you how it stands.";
    let notice = Notice::done(format!("SHIFT {number} IS ON."), text);
    change.finish(&who, PATH, notice).await
}

/// Begins a shift, with the handover that was taken over or why there was none; its number.
pub(super) async fn begin(
    change: &mut Change,
    handover: Option<i64>,
    why: &str,
    (name, person): (&str, Uuid),
) -> Result<i64, AppError> {
    let number =
        sqlx::query_scalar!(r#"select coalesce(max(number), 0) + 1 as "number!: i64" from shift"#)
            .fetch_one(change.connection())
            .await?;
    let content = json!({ "handover": handover, "why": why, "opened_by": name });
    let subject = Subject::new("shift", number);
    let sequence = change.journal("shift.opened", subject, content).await?;
    let now = change.now();
    sqlx::query!(
        "insert into shift (number, handover, why, opened_by, person_id, opened_ms, journal_sequence)
         values (?, ?, ?, ?, ?, ?, ?)",
        number,
        handover,
        why,
        name,
        person,
        now,
        sequence,
    )
    .execute(change.connection())
    .await?;
    Ok(number)
}

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub(super) struct NoteForm {
    pub note_kind: String,
    pub note: String,
    pub happened: String,
}

/// Writes down what happened.
pub(super) async fn note(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Posted(form): Posted<NoteForm>,
) -> Result<Response, AppError> {
    let mut errors = FieldErrors::default();
    let kind = errors.check("note_kind", choice::<NoteKind>(&form.note_kind));
    let note = errors.check("note", text(&form.note, 1000));
    let happened = errors.check("happened", local_time(&form.happened, visit.site.zone));
    // A field shows whole minutes.
    if happened.is_some_and(|at| at > visit.now) {
        errors.add("happened", "this is still to come; say when it happened");
    }
    let mut change = Change::begin(&state, &who).await?;
    let shift = queries::current(change.connection()).await?;
    if shift.is_none() {
        errors.add_whole("no shift is on: open one, then write it down.");
    }
    let (Some(kind), Some(note), Some(happened), Some(shift), true) =
        (kind, note, happened, shift, errors.is_empty())
    else {
        drop(change);
        let typed = Typed {
            note: form,
            ..Typed::default()
        };
        return page_of(&state, &visit, typed, errors).await;
    };
    let content =
        json!({ "kind": kind, "text": note, "happened_ms": happened, "written_by": who.name });
    let subject = Subject::new("shift", shift.number);
    let sequence = change.journal("shift.noted", subject, content).await?;
    let (word, now) = (kind.as_str(), change.now());
    sqlx::query!(
        "insert into shift_note (journal_sequence, shift, kind, text, happened_ms, written_by, written_ms)
         values (?, ?, ?, ?, ?, ?, ?)",
        sequence,
        shift.number,
        word,
        note,
        happened,
        who.name,
        now,
    )
    .execute(change.connection())
    .await?;
    let text = format!(
        "It stands in shift {} with your name. Journal {sequence}.",
        shift.number
    );
    change
        .finish(&who, PATH, Notice::done("WRITTEN DOWN", text))
        .await
}
