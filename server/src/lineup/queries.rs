use std::collections::BTreeMap;

use chrono::{DateTime, Utc};
use mendpost_core::journal::Hash;
use mendpost_core::lineup::{Accepted, LineUp};
use serde::Serialize;
use sha2::{Digest, Sha256};
use sqlx::{SqliteConnection, SqliteExecutor};
use uuid::Uuid;

use crate::db::decoded;

/// A line-up as computed and stored.
#[derive(Debug, Clone)]
pub struct Stored {
    pub number: i64,
    pub computed_ms: i64,
    pub search_ms: i64,
    pub iterations: i64,
    pub line_up: LineUp,
    /// Who accepted it, and when; none if nobody did.
    pub accepted: Option<(String, i64)>,
    /// Changes journaled since it was computed that could make it otherwise.
    pub changes_since: i64,
    /// Whether an asset was reported or a need said since it was computed.
    pub need_changed: bool,
    /// Who numbered it, where it is the crew's own order; none if it is the planner's.
    pub own_by: Option<String>,
}

/// What is to be stored.
pub struct New<'a> {
    /// As text, as problem and plan are.
    pub line_up: String,
    pub now: DateTime<Utc>,
    pub computed_ms: i64,
    pub search_ms: i64,
    pub iterations: i64,
    pub problem: String,
    pub plan: String,
    /// Who numbered it, where it is the crew's own order.
    pub own_by: Option<&'a str>,
    /// Sequence of the last change that it knew of.
    pub journal_sequence: i64,
}

impl New<'_> {
    /// What the journal holds of it beside its number.
    pub fn told(&self) -> Told {
        Told {
            now_ms: self.now.timestamp_millis(),
            search_ms: self.search_ms,
            iterations: self.iterations,
            knew: self.journal_sequence,
            sums: Sums::of(&self.problem, &self.plan, &self.line_up),
        }
    }
}

/// What a journal entry tells of a line-up that is stored by it, so that it can be held against it.
#[derive(Debug, Serialize)]
pub struct Told {
    now_ms: i64,
    search_ms: i64,
    iterations: i64,
    /// Sequence of the last change that it knew of.
    knew: i64,
    #[serde(flatten)]
    sums: Sums,
}

/// SHA-256 of what is stored of a line-up, in hexadecimal digits.
#[derive(Debug, Serialize)]
pub struct Sums {
    problem_sha256: String,
    plan_sha256: String,
    line_up_sha256: String,
}

impl Sums {
    pub fn of(problem: &str, plan: &str, line_up: &str) -> Sums {
        let sum = |text: &str| Hash(Sha256::digest(text.as_bytes()).into()).to_string();
        Sums {
            problem_sha256: sum(problem),
            plan_sha256: sum(plan),
            line_up_sha256: sum(line_up),
        }
    }
}

/// The sums of a line-up as it stands.
pub(super) async fn sums(
    connection: &mut SqliteConnection,
    number: i64,
) -> Result<Sums, sqlx::Error> {
    sqlx::query!(
        "select problem, plan, line_up from lineup where number = ?",
        number
    )
    .map(|row| Sums::of(&row.problem, &row.plan, &row.line_up))
    .fetch_one(connection)
    .await
}

/// The newest line-up.
pub async fn latest(executor: impl SqliteExecutor<'_>) -> Result<Option<Stored>, sqlx::Error> {
    sqlx::query!(
        r#"select l.number, l.computed_ms, l.search_ms, l.iterations, l.line_up, l.own_by,
             a.accepted_by as "accepted_by?", a.accepted_ms as "accepted_ms?",
             (select count(*) from journal j where j.sequence > l.journal_sequence and j.subject_kind not in ('lineup', 'person')) as "changes_since!: i64",
             exists (select 1 from journal j where j.sequence > l.journal_sequence and j.subject_kind in ('asset', 'capability')) as "need_changed!: bool"
           from lineup l
           left join lineup_accepted a on a.lineup_id = l.id
           order by l.number desc, a.sequence desc
           limit 1"#
    )
    .try_map(|row| {
        Ok(Stored {
            number: row.number,
            computed_ms: row.computed_ms,
            search_ms: row.search_ms,
            iterations: row.iterations,
            line_up: decoded(serde_json::from_str(&row.line_up))?,
            accepted: row.accepted_by.zip(row.accepted_ms),
            changes_since: row.changes_since,
            need_changed: row.need_changed,
            own_by: row.own_by,
        })
    })
    .fetch_optional(executor)
    .await
}

/// The line-up that the crew works to.
pub async fn accepted(executor: impl SqliteExecutor<'_>) -> Result<Option<Stored>, sqlx::Error> {
    sqlx::query!(
        r#"select l.number, l.computed_ms, l.search_ms, l.iterations, l.line_up, l.own_by, a.accepted_by, a.accepted_ms,
             (select count(*) from journal j where j.sequence > l.journal_sequence and j.subject_kind not in ('lineup', 'person')) as "changes_since!: i64",
             exists (select 1 from journal j where j.sequence > l.journal_sequence and j.subject_kind in ('asset', 'capability')) as "need_changed!: bool"
           from lineup_accepted a
           join lineup l on l.id = a.lineup_id
           order by a.sequence desc
           limit 1"#
    )
    .try_map(|row| {
        Ok(Stored {
            number: row.number,
            computed_ms: row.computed_ms,
            search_ms: row.search_ms,
            iterations: row.iterations,
            line_up: decoded(serde_json::from_str(&row.line_up))?,
            accepted: Some((row.accepted_by, row.accepted_ms)),
            changes_since: row.changes_since,
            need_changed: row.need_changed,
            own_by: row.own_by,
        })
    })
    .fetch_optional(executor)
    .await
}

/// The plan of the line-up that the crew works to.
pub async fn accepted_plan(
    executor: impl SqliteExecutor<'_>,
) -> Result<Option<Accepted>, sqlx::Error> {
    sqlx::query!(
        "select l.number, l.now_ms, l.plan
         from lineup_accepted a
         join lineup l on l.id = a.lineup_id
         order by a.sequence desc
         limit 1"
    )
    .try_map(|row| order(row.number, row.now_ms, &row.plan))
    .fetch_optional(executor)
    .await
}

/// The line-up that the crew works to, or the newest where none is accepted.
pub async fn worked_to(read: &sqlx::SqlitePool) -> Result<Option<Stored>, sqlx::Error> {
    match accepted(read).await? {
        Some(accepted) => Ok(Some(accepted)),
        None => latest(read).await,
    }
}

/// The plan behind a line-up.
pub async fn plan(executor: impl SqliteExecutor<'_>, number: i64) -> Result<Accepted, sqlx::Error> {
    sqlx::query!("select now_ms, plan from lineup where number = ?", number)
        .try_map(|row| order(number, row.now_ms, &row.plan))
        .fetch_one(executor)
        .await
}

fn order(number: i64, now_ms: i64, plan: &str) -> Result<Accepted, sqlx::Error> {
    Ok(Accepted {
        number,
        now: DateTime::from_timestamp_millis(now_ms).unwrap_or_default(),
        plan: decoded(serde_json::from_str(plan))?,
    })
}

/// The number of the newest line-up.
pub async fn newest_number(executor: impl SqliteExecutor<'_>) -> Result<Option<i64>, sqlx::Error> {
    sqlx::query_scalar!(r#"select max(number) as "number: i64" from lineup"#)
        .fetch_one(executor)
        .await
}

/// Of each powder that ever came, the grams with which most of its containers came; of as many, the larger.
pub(super) async fn container_grams(
    executor: impl SqliteExecutor<'_>,
) -> Result<BTreeMap<String, i64>, sqlx::Error> {
    let rows = sqlx::query!(
        r#"select p.code as "powder!: String", came.milligrams / 1000 as "grams!: i64", count(*) as "containers!: i64"
           from (select to_id as container_id, sum(milligrams) as milligrams
                 from movement m
                 where reason = 'receipt'
                   and not exists (select 1 from movement r where r.corrects_id = m.id)
                 group by to_id) came
           join container c on c.id = came.container_id
           join lot l on l.id = c.lot_id
           join powder p on p.id = l.powder_id
           where came.milligrams >= 1000
           group by p.code, came.milligrams / 1000
           order by 1, 3, 2"#
    )
    .fetch_all(executor)
    .await?;
    Ok(rows
        .into_iter()
        .map(|row| (row.powder, row.grams))
        .collect())
}

pub(super) async fn insert(
    connection: &mut SqliteConnection,
    number: i64,
    new: &New<'_>,
) -> Result<(), sqlx::Error> {
    let id = Uuid::now_v7();
    let now_ms = new.now.timestamp_millis();
    sqlx::query!(
        "insert into lineup
           (id, number, now_ms, computed_ms, search_ms, iterations, problem, plan, line_up, own_by, journal_sequence)
         values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        id,
        number,
        now_ms,
        new.computed_ms,
        new.search_ms,
        new.iterations,
        new.problem,
        new.plan,
        new.line_up,
        new.own_by,
        new.journal_sequence,
    )
    .execute(connection)
    .await?;
    Ok(())
}

/// Marks the line-up as accepted by the journal's last entry, which must be of this change.
pub(super) async fn accept(
    connection: &mut SqliteConnection,
    number: i64,
    at: i64,
    by: &str,
) -> Result<(), sqlx::Error> {
    sqlx::query!(
        "insert into lineup_accepted (sequence, lineup_id, accepted_ms, accepted_by)
         values ((select max(sequence) from journal), (select id from lineup where number = ?), ?, ?)",
        number,
        at,
        by,
    )
    .execute(connection)
    .await?;
    Ok(())
}
