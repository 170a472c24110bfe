//! Shifts, handovers, notes and what is carried over, as rows.

use mendpost_core::journal::canonical;
use mendpost_core::shift::{Heard, Risk, Told};
use serde_json::{Value, json};
use sqlx::{SqliteConnection, SqliteExecutor};
use uuid::Uuid;

use super::{CarriedKind, NoteKind};
use crate::change::Change;
use crate::db::decoded;
use crate::error::AppError;

/// A shift.
#[derive(Debug, Clone)]
pub struct Shift {
    pub number: i64,
    /// The handover that was taken over with it.
    pub handover: Option<i64>,
    pub why: String,
    pub opened_by: String,
    pub opened_ms: i64,
    pub sequence: i64,
    /// When the next was opened, and under which entry.
    pub ended: Option<(i64, i64)>,
}

/// The newest shifts up to a number, the newest first.
pub async fn shifts(
    executor: impl SqliteExecutor<'_>,
    up_to: i64,
    most: i64,
) -> Result<Vec<Shift>, sqlx::Error> {
    let rows = sqlx::query!(
        r#"select s.number as "number!: i64", s.handover, s.why, s.opened_by, s.opened_ms, s.journal_sequence,
             n.opened_ms as "ended_ms?: i64", n.journal_sequence as "ended_sequence?: i64"
           from shift s
           left join shift n on n.number = s.number + 1
           where s.number <= ?
           order by s.number desc
           limit ?"#,
        up_to,
        most
    )
    .fetch_all(executor)
    .await?;
    let shift = rows.into_iter().map(|row| Shift {
        number: row.number,
        handover: row.handover,
        why: row.why,
        opened_by: row.opened_by,
        opened_ms: row.opened_ms,
        sequence: row.journal_sequence,
        ended: row.ended_ms.zip(row.ended_sequence),
    });
    Ok(shift.collect())
}

/// The shift that is on, if one was ever opened.
pub async fn current(executor: impl SqliteExecutor<'_>) -> Result<Option<Shift>, sqlx::Error> {
    Ok(shifts(executor, i64::MAX, 1).await?.pop())
}

/// A handover as it was told.
#[derive(Debug, Clone)]
pub struct Handover {
    pub number: i64,
    pub shift: i64,
    pub told: Told,
    pub risk: Risk,
    pub left_for_reader: bool,
    pub told_by: String,
    pub person: Uuid,
    pub told_ms: i64,
    pub sequence: i64,
    pub end: Option<End>,
}

/// How it ended.
#[derive(Debug, Clone)]
pub struct End {
    /// What was heard; none where it was refused.
    pub heard: Option<Heard>,
    pub reason: String,
    pub by: String,
    pub at_ms: i64,
    pub sequence: i64,
}

/// A handover by what stands in an address.
pub async fn find(connection: &mut SqliteConnection, number: &str) -> Result<Handover, AppError> {
    let none = || AppError::NotFound {
        what: format!("handover '{number}'"),
    };
    let parsed: i64 = number.parse().map_err(|_| none())?;
    handover(connection, parsed).await?.ok_or_else(none)
}

async fn handover(
    connection: &mut SqliteConnection,
    number: i64,
) -> Result<Option<Handover>, sqlx::Error> {
    sqlx::query!(
        r#"select h.number as "number!: i64", h.shift, h.told, h.risk, h.left_for_reader as "left!: bool", h.told_by,
             h.person_id as "person!: Uuid", h.told_ms, h.journal_sequence,
             e.heard, e.reason as "reason?: String", e.ended_by as "ended_by?: String", e.ended_ms as "ended_ms?: i64",
             e.journal_sequence as "ended_sequence?: i64"
           from handover h
           left join handover_end e on e.number = h.number
           where h.number = ?"#,
        number
    )
    .try_map(|row| {
        let heard = row.heard.map(|heard| decoded(serde_json::from_str(&heard)));
        let heard = heard.transpose()?;
        let end = row.ended_by.map(|by| End {
            heard,
            reason: row.reason.unwrap_or_default(),
            by,
            at_ms: row.ended_ms.unwrap_or_default(),
            sequence: row.ended_sequence.unwrap_or_default(),
        });
        Ok(Handover {
            number: row.number,
            shift: row.shift,
            told: decoded(serde_json::from_str(&row.told))?,
            risk: decoded(row.risk.parse())?,
            left_for_reader: row.left,
            told_by: row.told_by,
            person: row.person,
            told_ms: row.told_ms,
            sequence: row.journal_sequence,
            end,
        })
    })
    .fetch_optional(connection)
    .await
}

/// The handover that was told last.
pub async fn last(connection: &mut SqliteConnection) -> Result<Option<Handover>, sqlx::Error> {
    let number = sqlx::query_scalar!(r#"select max(number) as "number: i64" from handover"#)
        .fetch_one(&mut *connection)
        .await?;
    match number {
        None => Ok(None),
        Some(number) => handover(connection, number).await,
    }
}

/// How a handover ends, as it is journaled and kept.
pub struct Ending<'a> {
    pub number: i64,
    /// What was heard; none where it is refused.
    pub heard: Option<&'a Heard>,
    pub reason: &'a str,
    pub by: &'a str,
    pub person: Uuid,
}

impl Ending<'_> {
    /// What the journal holds of it.
    pub fn content(&self) -> Value {
        json!({
            "taken": self.heard.is_some(),
            "heard": self.heard,
            "reason": self.reason,
            "ended_by": self.by,
        })
    }
}

/// Keeps how a handover ended, under the entry that says so.
pub async fn end(change: &mut Change, ending: &Ending<'_>, sequence: i64) -> Result<(), AppError> {
    let heard = ending.heard.map(canonical).transpose();
    let heard = heard.map_err(AppError::internal)?;
    let (taken, now) = (ending.heard.is_some(), change.now());
    sqlx::query!(
        "insert into handover_end (number, taken, heard, reason, ended_by, person_id, ended_ms, journal_sequence)
         values (?, ?, ?, ?, ?, ?, ?, ?)",
        ending.number,
        taken,
        heard,
        ending.reason,
        ending.by,
        ending.person,
        now,
        sequence,
    )
    .execute(change.connection())
    .await?;
    Ok(())
}

/// A handover that nobody has taken over yet, as every screen says.
#[derive(Debug, Clone)]
pub struct Waiting {
    pub number: i64,
    pub left_for_reader: bool,
    pub told_by: String,
    pub told_ms: i64,
    pub risk: Risk,
}

pub async fn waiting(executor: impl SqliteExecutor<'_>) -> Result<Option<Waiting>, sqlx::Error> {
    sqlx::query!(
        r#"select number as "number!: i64", left_for_reader as "left!: bool", told_by, told_ms, risk
           from handover
           where number = (select max(number) from handover)
             and number not in (select number from handover_end)"#
    )
    .try_map(|row| {
        Ok(Waiting {
            number: row.number,
            left_for_reader: row.left,
            told_by: row.told_by,
            told_ms: row.told_ms,
            risk: decoded(row.risk.parse())?,
        })
    })
    .fetch_optional(executor)
    .await
}

/// A handover in a list.
#[derive(Debug, Clone)]
pub struct Listed {
    pub number: i64,
    pub told_by: String,
    pub told_ms: i64,
    pub risk: Risk,
    /// Whether it was taken over, by whom and when; none while it waits.
    pub end: Option<(bool, String, i64)>,
}

/// Handovers before a number, or of one shift, the newest first.
pub async fn listed(
    executor: impl SqliteExecutor<'_>,
    shift: Option<i64>,
    before: i64,
    most: i64,
) -> Result<Vec<Listed>, sqlx::Error> {
    sqlx::query!(
        r#"select h.number as "number!: i64", h.told_by, h.told_ms, h.risk, e.taken as "taken?: bool",
             e.ended_by as "ended_by?: String", e.ended_ms as "ended_ms?: i64"
           from handover h
           left join handover_end e on e.number = h.number
           where (?1 is null or h.shift = ?1) and h.number < ?2
           order by h.number desc
           limit ?3"#,
        shift,
        before,
        most
    )
    .try_map(|row| {
        let end = row.taken.zip(row.ended_by).zip(row.ended_ms);
        Ok(Listed {
            number: row.number,
            told_by: row.told_by,
            told_ms: row.told_ms,
            risk: decoded(row.risk.parse())?,
            end: end.map(|((taken, by), at)| (taken, by, at)),
        })
    })
    .fetch_all(executor)
    .await
}

/// Something that was added to a handover after it was told.
#[derive(Debug, Clone)]
pub struct Added {
    pub text: String,
    pub by: String,
    pub at_ms: i64,
    pub sequence: i64,
}

pub async fn added(
    executor: impl SqliteExecutor<'_>,
    handover: i64,
) -> Result<Vec<Added>, sqlx::Error> {
    sqlx::query_as!(
        Added,
        r#"select text, added_by as by, added_ms as at_ms, journal_sequence as "sequence!: i64" from handover_line
           where handover = ? order by journal_sequence"#,
        handover
    )
    .fetch_all(executor)
    .await
}

/// A note, incident or near miss.
#[derive(Debug, Clone)]
pub struct Note {
    pub kind: NoteKind,
    pub text: String,
    pub happened_ms: i64,
    pub by: String,
    pub written_ms: i64,
    pub sequence: i64,
}

/// What was written down in a shift, the newest first.
pub async fn notes(
    executor: impl SqliteExecutor<'_>,
    shift: i64,
) -> Result<Vec<Note>, sqlx::Error> {
    sqlx::query!(
        r#"select kind, text, happened_ms, written_by, written_ms, journal_sequence as "sequence!: i64"
           from shift_note where shift = ? order by journal_sequence desc"#,
        shift
    )
    .try_map(|row| {
        Ok(Note {
            kind: decoded(row.kind.parse())?,
            text: row.text,
            happened_ms: row.happened_ms,
            by: row.written_by,
            written_ms: row.written_ms,
            sequence: row.sequence,
        })
    })
    .fetch_all(executor)
    .await
}

/// What is carried over.
#[derive(Debug, Clone)]
pub struct Carried {
    pub number: i64,
    pub kind: CarriedKind,
    pub text: String,
    pub due_ms: i64,
    pub by: String,
    pub at_ms: i64,
}

/// What nobody has closed yet, the earliest latest time first: what is overdue rises.
pub async fn carried(executor: impl SqliteExecutor<'_>) -> Result<Vec<Carried>, sqlx::Error> {
    sqlx::query!(
        r#"select number as "number!: i64", kind, text, due_ms, written_by, written_ms
           from carried
           where number not in (select number from carried_closed)
           order by due_ms, number"#
    )
    .try_map(|row| {
        Ok(Carried {
            number: row.number,
            kind: decoded(row.kind.parse())?,
            text: row.text,
            due_ms: row.due_ms,
            by: row.written_by,
            at_ms: row.written_ms,
        })
    })
    .fetch_all(executor)
    .await
}

/// What somebody closed, and how.
#[derive(Debug, Clone)]
pub struct ClosedLine {
    pub kind: CarriedKind,
    pub text: String,
    pub how: String,
    pub by: String,
    pub at_ms: i64,
}

/// What was closed between two entries of the journal.
pub async fn closed(
    executor: impl SqliteExecutor<'_>,
    (after, up_to): (i64, i64),
) -> Result<Vec<ClosedLine>, sqlx::Error> {
    sqlx::query!(
        r#"select c.kind, c.text, d.how, d.closed_by, d.closed_ms
           from carried_closed d
           join carried c on c.number = d.number
           where d.journal_sequence > ? and d.journal_sequence <= ?
           order by d.journal_sequence"#,
        after,
        up_to
    )
    .try_map(|row| {
        Ok(ClosedLine {
            kind: decoded(row.kind.parse())?,
            text: row.text,
            how: row.how,
            by: row.closed_by,
            at_ms: row.closed_ms,
        })
    })
    .fetch_all(executor)
    .await
}
