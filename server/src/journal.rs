//! The journal as people read it: every change, the newest first, with who, when and what.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::{Query, State};
use axum::response::Response;
use mendpost_core::journal::Subject;
use mendpost_core::journal::clock::{Doubt, doubt};
use mendpost_core::people::Act;
use serde::Deserialize;
use serde_json::Value;
use sqlx::SqliteExecutor;
use uuid::Uuid;

use crate::AppState;
use crate::change::{self, verify_journal};
use crate::db::decoded;
use crate::error::AppError;
use crate::page::{Layout, Screen, page};
use crate::people::{self, Visit};
use crate::routes::Routes;
use crate::words::work::sentence;

pub fn routes() -> Routes {
    Routes::default().get("/journal", Act::Look, show)
}

#[derive(Default, Deserialize)]
#[serde(default)]
struct Choice {
    /// Show entries before this one.
    before: String,
    /// Show what happened to this thing only, as 'lot' and 'L0408'.
    subject: String,
    id: String,
    /// Check the whole chain.
    check: String,
}

#[derive(Template)]
#[template(path = "journal.html")]
struct JournalPage {
    page: Layout,
    /// Sequence and hash of the last entry; none before the first.
    head: Option<(i64, String)>,
    /// What the check of the chain found; none if it was not asked for.
    checked: Option<Result<String, String>>,
    about: String,
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
    Query(choice): Query<Choice>,
) -> Result<Response, AppError> {
    let before = choice.before.parse().unwrap_or(i64::MAX);
    let rows = entries(&state, before, choice.subject.trim(), choice.id.trim()).await?;
    let earlier = rows.last().filter(|_| rows.len() == ROWS).map(|row| {
        let query = form_urlencoded::Serializer::new(String::new())
            .append_pair("before", &row.sequence.to_string())
            .append_pair("subject", choice.subject.trim())
            .append_pair("id", choice.id.trim())
            .finish();
        format!("/journal?{query}")
    });
    let checked = match choice.check.as_str() {
        "" => None,
        _ => Some(check(&state).await?),
    };
    let about = [choice.subject.trim(), choice.id.trim()].join(" ");
    page(&JournalPage {
        page: visit.layout(Screen::Site, "Journal").await?,
        head: head(&state).await?,
        checked,
        about: about.trim().to_owned(),
        rows,
        earlier,
    })
}

/// Entries on one page.
const ROWS: usize = 50;

async fn head(state: &AppState) -> Result<Option<(i64, String)>, AppError> {
    let mut connection = state.db.read.acquire().await?;
    let (sequence, hash) = change::head(&mut connection).await?;
    Ok((sequence > 0).then(|| (sequence, hash.to_string())))
}

/// An entry about a thing, and by whom.
pub struct Told {
    pub sequence: i64,
    pub time: i64,
    pub kind: String,
    pub by: String,
    pub content: Value,
}

/// What happened to a thing, the newest first and at most so much; only what made this version of it, where
/// one is given.
pub async fn of(
    executor: impl SqliteExecutor<'_>,
    subject: &Subject,
    version: Option<i64>,
    most: i64,
) -> Result<Vec<Told>, sqlx::Error> {
    sqlx::query!(
        r#"select j.sequence, j.time, j.kind, j.content,
             coalesce(person.name, 'Mendpost itself') as "by!: String"
           from journal j
           left join person on lower(hex(person.id)) = replace(j.actor, '-', '')
           where subject_kind = ?1 and subject_id = ?2
             and (?3 is null or json_extract(content, '$.version') = ?3)
           order by sequence desc
           limit ?4"#,
        subject.kind,
        subject.id,
        version,
        most,
    )
    .try_map(|row| {
        Ok(Told {
            sequence: row.sequence,
            time: row.time,
            kind: row.kind,
            by: row.by,
            content: decoded(serde_json::from_str(&row.content))?,
        })
    })
    .fetch_all(executor)
    .await
}

async fn check(state: &AppState) -> Result<Result<String, String>, AppError> {
    let verified = verify_journal(&state.db.read).await?;
    Ok(verified
        .map(|head| head.to_string())
        .map_err(|broken| sentence(&broken.to_string()) + "."))
}

/// Stored entries before one, the newest first, of what a condition says.
macro_rules! newest {
    ($where:literal, $($bound:expr),*) => {
        sqlx::query_as!(
            Stored,
            r#"select sequence, time, actor, kind, subject_kind, subject_id, content,
                 coalesce((select time from journal p where p.sequence = j.sequence - 1), time) as "time_before!: i64"
               from journal j
               where sequence < ?1 and "#
                + $where
                + " order by sequence desc limit ?4",
            $($bound),*
        )
    };
}

struct Stored {
    sequence: i64,
    time: i64,
    actor: String,
    kind: String,
    subject_kind: String,
    subject_id: String,
    content: String,
    time_before: i64,
}

async fn entries(
    state: &AppState,
    before: i64,
    subject: &str,
    id: &str,
) -> Result<Vec<Row>, AppError> {
    let people = people::queries::everybody(&state.db.read).await?;
    let names: BTreeMap<String, String> = people
        .into_iter()
        .map(|person| (Uuid::to_string(&person.id), person.name))
        .collect();
    let limit = i64::try_from(ROWS).map_err(AppError::internal)?;
    let rows = match (subject, id) {
        // One thing's entries are found by their index, which the words of a condition that may be empty would hide.
        ("", _) | (_, "") => {
            newest!(
                "(?2 = '' or +subject_kind = ?2) and (?3 = '' or subject_id = ?3)",
                before,
                subject,
                id,
                limit
            )
            .fetch_all(&state.db.read)
            .await?
        }
        _ => {
            newest!(
                "subject_kind = ?2 and subject_id = ?3",
                before,
                subject,
                id,
                limit
            )
            .fetch_all(&state.db.read)
            .await?
        }
    };
    Ok(rows
        .into_iter()
        .map(|row| Row {
            sequence: row.sequence,
            time: row.time,
            doubt: doubt_word(row.time_before, row.time),
            who: match names.get(&row.actor) {
                Some(name) => name.clone(),
                None => "Mendpost itself".to_owned(),
            },
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
fn words(kind: &str) -> String {
    kind.replace(['.', '-'], " ").replace("lineup", "line-up")
}

/// 'lot L0408'; of things that are known by no number, their sort alone.
fn about(kind: &str, id: &str) -> String {
    let kind = words(kind);
    match Uuid::parse_str(id) {
        Ok(_) => kind,
        Err(_) => format!("{kind} {id}"),
    }
}
