//! What is read of the journal: what happened to one thing, and what a filter asks for, the newest first.

use mendpost_core::journal::Subject;
use serde_json::Value;
use sqlx::{SqliteExecutor, SqlitePool};

use super::filter::Filter;
use crate::db::decoded;

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

/// Entries on one page.
pub(super) const ROWS: usize = 50;
const LIMIT: i64 = ROWS as i64;

/// A stored entry.
pub(super) struct Stored {
    pub sequence: i64,
    pub time: i64,
    pub actor: String,
    pub kind: String,
    pub subject_kind: String,
    pub subject_id: String,
    pub content: String,
    pub time_before: i64,
}

/// Stored entries, the newest first, found by one index or by their order, and of the rest of what is asked for.
macro_rules! newest {
    ($from:literal, $where:literal, $filter:ident, $kinds:ident, $span:ident) => {
        sqlx::query_as!(
            Stored,
            r#"select sequence as "sequence!: i64", time as "time!: i64", actor as "actor!: String",
                 kind as "kind!: String", subject_kind as "subject_kind!: String", subject_id as "subject_id!: String",
                 content as "content!: String",
                 coalesce((select time from journal p where p.sequence = j.sequence - 1), time)
                   as "time_before!: i64"
               from journal j "#
                + $from
                + " where sequence between ?1 and ?2 and +time between ?3 and ?4 and "
                + $where
                + " order by sequence desc limit ?8",
            $span.0,
            $span.1,
            $filter.from_ms,
            $filter.to_ms,
            $filter.actor,
            $kinds,
            $filter.id,
            LIMIT
        )
    };
}

/// What a filter asks for, of the kinds of subjects that there are.
pub(super) async fn newest(
    read: &SqlitePool,
    filter: &Filter,
    kinds: &[String],
) -> Result<Vec<Stored>, sqlx::Error> {
    let span = span(read, filter).await?;
    let asked = [filter.subject.clone()];
    let kinds = decoded(serde_json::to_string(match filter.subject.as_str() {
        "" => kinds,
        _ => &asked,
    }))?;
    match (filter.subject.as_str(), filter.id.as_str(), filter.actor.as_str()) {
        ("", "", "") => {
            newest!("", "?5 = '' and ?6 <> '' and ?7 = ''", filter, kinds, span)
                .fetch_all(read)
                .await
        }
        ("", "", _) => {
            newest!("indexed by journal_by_actor", "actor = ?5 and ?6 <> '' and ?7 = ''", filter, kinds, span)
                .fetch_all(read)
                .await
        }
        (_, "", _) => {
            newest!(
                "indexed by journal_by_subject_kind",
                "subject_kind = ?6 ->> 0 and ?7 = '' and ?5 in ('', actor)",
                filter,
                kinds,
                span
            )
            .fetch_all(read)
            .await
        }
        _ => {
            newest!(
                "indexed by journal_by_subject",
                "subject_kind in (select value from json_each(?6)) and subject_id = ?7 and ?5 in ('', actor)",
                filter,
                kinds,
                span
            )
            .fetch_all(read)
            .await
        }
    }
}

/// The first and the last entry that can be of the time asked for: times may go back, numbers do not.
async fn span(read: &SqlitePool, filter: &Filter) -> Result<(i64, i64), sqlx::Error> {
    let mut span = (1, filter.before.saturating_sub(1));
    if filter.from_ms > i64::MIN {
        let first = sqlx::query_scalar!(
            r#"select min(sequence) as "first: i64" from journal where time >= ?"#,
            filter.from_ms
        )
        .fetch_one(read)
        .await?;
        span.0 = first.unwrap_or(i64::MAX);
    }
    if filter.to_ms < i64::MAX {
        let last = sqlx::query_scalar!(
            r#"select max(sequence) as "last: i64" from journal where time <= ?"#,
            filter.to_ms
        )
        .fetch_one(read)
        .await?;
        span.1 = span.1.min(last.unwrap_or(0));
    }
    Ok(span)
}

/// The kinds of subjects that entries are about, found one after another in their index.
pub(super) async fn kinds(executor: impl SqliteExecutor<'_>) -> Result<Vec<String>, sqlx::Error> {
    sqlx::query_scalar!(
        r#"with recursive known (kind) as (
             select min(subject_kind) from journal
             union all
             select (select min(subject_kind) from journal where subject_kind > known.kind)
             from known where known.kind is not null
           )
           select kind as "kind!: String" from known where kind is not null"#
    )
    .fetch_all(executor)
    .await
}
