//! The journal as people read it: every change, the newest first, with who, when and what.

mod filter;
mod queries;

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::{Query, State};
use axum::response::Response;
use mendpost_core::journal::clock::{Doubt, doubt};
use mendpost_core::journal::code::HeadCode;
use mendpost_core::people::Act;
use uuid::Uuid;

use crate::AppState;
use crate::change::{self, verify_journal};
use crate::error::AppError;
use crate::form::FieldErrors;
use crate::page::{Layout, Screen, page_with};
use crate::people::{self, Visit};
use crate::routes::Routes;
use crate::words::work::sentence;
use filter::{Asked, Filter, Known};
pub use queries::{Told, of};

pub fn routes() -> Routes {
    Routes::default().get("/journal", Act::Look, show)
}

#[derive(Template)]
#[template(path = "journal.html")]
struct JournalPage {
    page: Layout,
    /// Number and code of the last entry; none before the first.
    head: Option<(i64, HeadCode)>,
    /// What the check of the chain found; none if it was not asked for.
    checked: Option<Result<String, String>>,
    about: String,
    asked: Asked,
    /// Actor and name of each that can be asked for.
    people: Vec<(String, String)>,
    /// Kinds of subjects, with their words.
    kinds: Vec<(String, String)>,
    errors: FieldErrors,
    /// Whether anything is left out.
    is_part: bool,
    rows: Vec<Row>,
    /// Where the entries before these are.
    earlier: Option<String>,
}

struct Row {
    sequence: i64,
    time: i64,
    /// Why the time is doubted; empty where it is believed.
    doubt: &'static str,
    who: String,
    what: String,
    subject: String,
    content: String,
}

async fn show(
    State(state): State<AppState>,
    visit: Visit,
    Query(asked): Query<Asked>,
) -> Result<Response, AppError> {
    let known = known(&state).await?;
    let mut errors = FieldErrors::default();
    let filter = asked.filter(&known, visit.site.zone, &mut errors);
    let rows = rows(&state, &filter, &known).await?;
    let last = rows.last().filter(|_| rows.len() == queries::ROWS);
    let checked = match asked.check.as_str() {
        "" => None,
        _ => Some(check(&state).await?),
    };
    let page = JournalPage {
        page: visit.layout(Screen::Site, "Journal").await?,
        head: head(&state).await?,
        checked,
        about: about(&filter.subject, &filter.id),
        earlier: last.map(|row| asked.before(row.sequence)),
        is_part: filter.is_part(),
        people: known.people,
        kinds: known
            .kinds
            .into_iter()
            .map(|kind| {
                let said = words(&kind);
                (kind, said)
            })
            .collect(),
        asked,
        rows,
        errors,
    };
    page_with(page.errors.status(), &page)
}

async fn head(state: &AppState) -> Result<Option<(i64, HeadCode)>, AppError> {
    let mut connection = state.db.read.acquire().await?;
    let (sequence, hash) = change::head(&mut connection).await?;
    Ok((sequence > 0).then(|| (sequence, HeadCode::new(sequence, hash))))
}

async fn check(state: &AppState) -> Result<Result<String, String>, AppError> {
    let verified = verify_journal(&state.db.read).await?;
    Ok(verified
        .map(|chain| chain.head().to_string())
        .map_err(|broken| sentence(&broken.to_string()) + "."))
}

/// What the program itself is called.
const ITSELF: &str = "Mendpost itself";

/// Who and what can be asked for.
async fn known(state: &AppState) -> Result<Known, AppError> {
    let people = people::queries::everybody(&state.db.read).await?;
    let people = people
        .into_iter()
        .map(|person| (Uuid::to_string(&person.id), person.name));
    let itself = (change::Actor::Mendpost.to_string(), ITSELF.to_owned());
    Ok(Known {
        people: people.chain([itself]).collect(),
        kinds: queries::kinds(&state.db.read).await?,
    })
}

async fn rows(state: &AppState, filter: &Filter, known: &Known) -> Result<Vec<Row>, AppError> {
    let names: BTreeMap<&str, &str> = known
        .people
        .iter()
        .map(|(actor, name)| (actor.as_str(), name.as_str()))
        .collect();
    let rows = queries::newest(&state.db.read, filter, &known.kinds).await?;
    Ok(rows
        .into_iter()
        .map(|row| Row {
            sequence: row.sequence,
            time: row.time,
            doubt: doubt_word(row.time_before, row.time),
            who: (*names.get(row.actor.as_str()).unwrap_or(&ITSELF)).to_owned(),
            what: words(&row.kind),
            subject: about(&row.subject_kind, &row.subject_id),
            content: row.content,
        })
        .collect())
}

fn doubt_word(before: i64, time: i64) -> &'static str {
    match doubt(before, time) {
        None => "",
        Some(Doubt::Back(_)) => "in doubt: earlier than the entry before",
        Some(Doubt::Ahead(_)) => "in doubt: over a day after the entry before",
    }
}

/// 'lot.released' as 'lot released'.
pub(crate) fn words(kind: &str) -> String {
    kind.replace(['.', '-'], " ").replace("lineup", "line-up")
}

/// 'lot L0408'; of things that are known by no number, their sort alone.
pub(crate) fn about(kind: &str, id: &str) -> String {
    let kind = words(kind);
    match Uuid::parse_str(id) {
        Ok(_) => kind,
        Err(_) => format!("{kind} {id}").trim().to_owned(),
    }
}
