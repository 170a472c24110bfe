//! One handover: as it was told, with what is needed to take it over while it waits, and how it ended.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::Response;
use mendpost_core::journal::Subject;
use mendpost_core::journal::code::HeadCode;
use mendpost_core::people::Act;
use mendpost_core::shift::{Fact, GOOD_FOR_MIN, Risk};
use mendpost_core::signature::Meaning;
use serde::Deserialize;
use serde_json::json;

use super::hear::still_waits;
use super::queries::{self, Added, Ending, Handover};
use super::sheet::Sheet;
use super::{WRITE, fields, path};
use crate::AppState;
use crate::change::{self, Change};
use crate::error::AppError;
use crate::form::section::{Fields, Shown};
use crate::form::{FieldErrors, Posted, text};
use crate::page::act::SIGN_FIELD;
use crate::page::{Layout, Notice, Screen, page_with};
use crate::people::{Visit, Who};
use crate::signature::{Ask, Secret, Signature, ask as asked, of_subject};

#[derive(Template)]
#[template(path = "handover/one.html")]
struct OnePage {
    page: Layout,
    number: i64,
    answer: String,
    reason: String,
    shift: i64,
    span: String,
    sheet: Sheet,
    step_up: bool,
    waits: bool,
    /// Set for who may take it over.
    ask: Option<Ask>,
    may_add: bool,
    typed: Fields,
    /// Keys of places whose reading is too old by now.
    stale: Vec<String>,
    seen: Vec<SeenLine>,
    ended: Option<EndWords>,
    added: Vec<Added>,
    signatures: Vec<Signature>,
    head: Option<HeadCode>,
    /// Smaller type on paper, so that it stays one page.
    dense: bool,
    errors: FieldErrors,
}

/// What the receiver saw of a fact.
struct SeenLine {
    what: String,
    told: String,
    seen: String,
    agrees: bool,
}

struct EndWords {
    taken: bool,
    by: String,
    at: String,
    reason: String,
    settled: String,
    read_back: String,
    again: Vec<(String, String)>,
}

/// What a receiver typed, and what is wrong with it.
#[derive(Default)]
pub(super) struct Hearing {
    pub typed: Fields,
    pub errors: FieldErrors,
}

pub(super) async fn show(
    State(state): State<AppState>,
    visit: Visit,
    Path(number): Path<String>,
) -> Result<Response, AppError> {
    let mut reading = state.db.read.acquire().await?;
    let handover = queries::find(&mut reading, &number).await?;
    drop(reading);
    page_of(&state, &visit, handover, Hearing::default()).await
}

/// Lines on one sheet of paper in its usual type.
const ROOM: usize = 14;

pub(super) async fn page_of(
    state: &AppState,
    visit: &Visit,
    handover: Handover,
    hearing: Hearing,
) -> Result<Response, AppError> {
    let number = handover.number;
    let title = format!("Handover {number}");
    let page = visit.layout(Screen::Handover, &title).await?;
    let mut reading = state.db.read.acquire().await?;
    let (sequence, hash) = change::head(&mut reading).await?;
    let added = queries::added(&mut *reading, number).await?;
    drop(reading);
    let signatures = of_subject(&state.db.read, "handover", &number.to_string()).await?;
    let own = visit
        .who
        .as_ref()
        .is_some_and(|who| who.id == handover.person);
    let waits = handover.end.is_none();
    let mut ask = match &visit.who {
        Some(who) if waits && !own && visit.may(Act::HandOver) => {
            Some(asked(state, visit, who, Meaning::TakeOver).await?)
        }
        _ => None,
    };
    if let Some(ask) = &mut ask {
        hearing.errors.of(SIGN_FIELD).clone_into(&mut ask.error);
    }
    let sheet = Sheet::of(&handover.told, &page);
    let good = |ms: i64| visit.now - ms <= GOOD_FOR_MIN * 60_000;
    let stale = sheet.stands.iter().filter(|it| !good(it.read_ms));
    let lines = sheet.half.len() * 2 + sheet.own.holds.len().max(sheet.guards.len());
    let lines = lines + sheet.own.moved.len().max(sheet.own.promises.len()) + sheet.own.musts.len();
    let (answer, reason) = answer(&handover, own, &page);
    let record = &handover.told.record;
    let page = OnePage {
        number,
        answer,
        reason,
        shift: handover.shift,
        span: format!(
            "{} to {}",
            page.moment(&record.from_ms),
            page.moment(&handover.told_ms)
        ),
        step_up: handover.risk == Risk::StepUp,
        waits,
        may_add: visit.may(Act::HandOver),
        stale: stale.map(|it| it.key.clone()).collect(),
        seen: seen(&handover),
        ended: ended(&handover, &page),
        head: (sequence > 0).then(|| HeadCode::new(sequence, hash)),
        dense: lines > ROOM,
        typed: hearing.typed,
        errors: hearing.errors,
        ask,
        sheet,
        added,
        signatures,
        page,
    };
    page_with(page.errors.status(), &page)
}

fn answer(handover: &Handover, own: bool, page: &Layout) -> (String, String) {
    let number = handover.number;
    let told = format!(
        "Told by {}, {}.",
        handover.told_by,
        page.age(&handover.told_ms)
    );
    match &handover.end {
        None if own => (
            format!("Handover {number} waits: somebody else takes it over."),
            told,
        ),
        None if handover.left_for_reader => (
            format!("Read handover {number} first: it was left for you."),
            told,
        ),
        None => (format!("Take handover {number} over, item by item."), told),
        Some(end) => {
            let how = match end.heard {
                Some(_) => "taken over",
                None => "refused",
            };
            let at = page.moment(&end.at_ms);
            (
                format!("Handover {number} was {how} by {}, {at}.", end.by),
                told,
            )
        }
    }
}

fn seen(handover: &Handover) -> Vec<SeenLine> {
    let heard = handover.end.as_ref().and_then(|end| end.heard.as_ref());
    let Some(heard) = heard else {
        return Vec::new();
    };
    let facts = handover.told.facts.iter();
    let line = |fact: &Fact| {
        let seen = heard.seen.get(&fact.key);
        SeenLine {
            what: fact.what.clone(),
            told: fact.told.clone(),
            seen: seen.map_or_else(String::new, |it| it.value.clone()),
            agrees: seen.and_then(|it| it.agrees) == Some(true),
        }
    };
    facts.map(line).collect()
}

fn ended(handover: &Handover, page: &Layout) -> Option<EndWords> {
    let end = handover.end.as_ref()?;
    let heard = end.heard.clone().unwrap_or_default();
    let name = |key: &String| {
        let mut stands = handover.told.record.stands.iter();
        stands
            .find(|it| it.key == *key)
            .map_or_else(|| key.clone(), |it| it.name.clone())
    };
    Some(EndWords {
        taken: end.heard.is_some(),
        by: end.by.clone(),
        at: page.moment(&end.at_ms),
        reason: end.reason.clone(),
        settled: heard.settled,
        read_back: heard.read_back,
        again: heard
            .again
            .iter()
            .map(|(key, text)| (name(key), text.clone()))
            .collect(),
    })
}

impl OnePage {
    /// Whether an item was ticked as read.
    fn ticked(&self, name: &str) -> bool {
        fields::ticked(&self.typed, name)
    }

    fn field(&self, key: &str, field: &str) -> Shown {
        let name = format!("{key}{field}");
        Shown {
            value: self.typed.get(&name).cloned().unwrap_or_default(),
            error: self.errors.of(&name).to_owned(),
            name,
        }
    }

    fn is_stale(&self, key: &str) -> bool {
        self.stale.iter().any(|it| it == key)
    }
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(super) struct RefuseForm {
    reason: String,
}

/// Refuses a handover, so that it is told anew; what was written of it is still there.
pub(super) async fn refuse(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(number): Path<String>,
    Posted(form): Posted<RefuseForm>,
) -> Result<Response, AppError> {
    let mut errors = FieldErrors::default();
    let reason = errors.check("reason", text(&form.reason, 400));
    let mut change = Change::begin(&state, &who).await?;
    let handover = queries::find(change.connection(), &number).await?;
    still_waits(&handover)?;
    let Some(reason) = reason else {
        drop(change);
        let typed = Fields::from([("reason".to_owned(), form.reason)]);
        return page_of(&state, &visit, handover, Hearing { typed, errors }).await;
    };
    let ending = Ending {
        number: handover.number,
        heard: None,
        reason: &reason,
        by: &who.name,
        person: who.id,
    };
    let subject = Subject::new("handover", handover.number);
    let sequence = change
        .journal("handover.refused", subject, ending.content())
        .await?;
    queries::end(&mut change, &ending, sequence).await?;
    let notice = Notice::wrong(
        format!("HANDOVER {number} IS REFUSED."),
        "Put right what is wrong, and tell it anew. What was written stands below.",
    );
    change.finish(&who, WRITE, notice).await
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(super) struct AddForm {
    added: String,
}

/// Adds a line to a handover that was told: it is never edited.
pub(super) async fn add(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(number): Path<String>,
    Posted(form): Posted<AddForm>,
) -> Result<Response, AppError> {
    let mut errors = FieldErrors::default();
    let added = errors.check("added", text(&form.added, 400));
    let mut change = Change::begin(&state, &who).await?;
    let handover = queries::find(change.connection(), &number).await?;
    let Some(added) = added else {
        drop(change);
        let typed = Fields::from([("added".to_owned(), form.added)]);
        return page_of(&state, &visit, handover, Hearing { typed, errors }).await;
    };
    let content = json!({ "text": added, "added_by": who.name });
    let subject = Subject::new("handover", handover.number);
    let sequence = change.journal("handover.added", subject, content).await?;
    let now = change.now();
    sqlx::query!(
        "insert into handover_line (journal_sequence, handover, text, added_by, added_ms) values (?, ?, ?, ?, ?)",
        sequence,
        handover.number,
        added,
        who.name,
        now,
    )
    .execute(change.connection())
    .await?;
    let text =
        format!("It stands on handover {number} with your name and the time. Journal {sequence}.");
    change
        .finish(&who, &path(handover.number), Notice::done("ADDED", text))
        .await
}
