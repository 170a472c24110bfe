//! The powder book: the one way in which powder moves from one place to another.
//!
//! What moves stands in the journal entry of its change under `moved`, so that the book can be made again from
//! the journal alone ([`replay`]).

pub mod queries;
mod replay;

use mendpost_core::journal::Subject;
use mendpost_core::powder::Reason;
use mendpost_core::powder::book::{Movement, Place};
use mendpost_core::signature::Meaning;
use serde::Serialize;
use serde_json::{Value, json};
use sqlx::SqliteConnection;
use uuid::Uuid;

use crate::change::Change;
use crate::error::AppError;
use crate::signature::{Proof, sign};
pub use queries::place_words;
use queries::{held, place_id};
pub use replay::{balances, replay};

/// A movement with when it was and what there is to say of it.
#[derive(Debug, Clone, Serialize)]
pub struct Line<'a> {
    #[serde(flatten)]
    pub movement: Movement,
    #[serde(skip_serializing_if = "str::is_empty")]
    pub note: &'a str,
    pub at_ms: i64,
}

/// What moves, as a journal entry has it in its content.
pub fn moved(lines: &[Line<'_>]) -> Value {
    json!(lines)
}

/// Journals what happened, with what moves by it under `moved`, and enters that.
///
/// # Errors
/// As [`enter`].
pub async fn record(
    change: &mut Change,
    kind: &str,
    subject: Subject,
    mut content: Value,
    lines: &[Line<'_>],
) -> Result<i64, AppError> {
    content["moved"] = moved(lines);
    let entry = change.journal(kind, subject, content).await?;
    enter(change, lines, entry).await?;
    Ok(entry)
}

/// Enters what moves by a journal entry that tells it already.
///
/// # Errors
/// [`AppError::Conflict`] where more would leave a place than is there, with both amounts.
pub async fn enter(
    change: &mut Change,
    lines: &[Line<'_>],
    entry: i64,
) -> Result<Vec<Uuid>, AppError> {
    let mut ids = Vec::with_capacity(lines.len());
    for line in lines {
        ids.push(insert(change.connection(), line, None, entry).await?);
    }
    Ok(ids)
}

/// Takes back all that moved under an earlier journal entry; signed, where that is needed.
///
/// # Errors
/// [`AppError::Conflict`] where nothing moved by it, where that was taken back before, and where the powder has
/// moved on.
pub async fn take_back(
    change: &mut Change,
    of: i64,
    reason: &str,
    subject: Subject,
    proof: Option<&Proof>,
) -> Result<i64, AppError> {
    let at_ms = change.now();
    let moved_then = queries::moved_by(change.connection(), of).await?;
    let fault = match moved_then.iter().find(|it| it.taken_back) {
        _ if moved_then.is_empty() => Some(format!("no powder moved by journal {of}")),
        Some(it) => Some(format!(
            "what moved of lot {} by journal {of} was taken back already",
            it.movement.lot
        )),
        None => None,
    };
    if let Some(fault) = fault {
        return Err(AppError::Conflict(fault));
    }
    // Backwards, so that what went on from a place is back there before it leaves.
    let back: Vec<Line<'_>> = moved_then
        .iter()
        .rev()
        .map(|it| Line {
            movement: it.movement.taken_back(),
            note: reason,
            at_ms,
        })
        .collect();
    let content = json!({ "of": of, "reason": reason, "moved": moved(&back) });
    let kind = "powder.taken-back";
    let entry = match proof {
        Some(proof) => sign(change, kind, subject, content, Meaning::TakeBack, proof).await?,
        None => change.journal(kind, subject, content).await?,
    };
    for (line, taken_back) in back.iter().zip(moved_then.iter().rev()) {
        insert(change.connection(), line, Some(taken_back.id), entry).await?;
    }
    Ok(entry)
}

async fn insert(
    connection: &mut SqliteConnection,
    line: &Line<'_>,
    corrects: Option<Uuid>,
    entry: i64,
) -> Result<Uuid, AppError> {
    let movement = &line.movement;
    let from = place_id(&mut *connection, &movement.from).await?;
    let to = place_id(&mut *connection, &movement.to).await?;
    let lot = queries::lot_id(&mut *connection, &movement.lot).await?;
    let into = queries::lot_id(&mut *connection, &movement.into).await?;
    let there = held(&mut *connection, from, lot).await?;
    let fault = movement.check(there).err();
    if let Some(fault) = fault {
        return Err(AppError::Conflict(fault.to_string()));
    }
    let id = Uuid::now_v7();
    let (mg, reason) = (movement.mass.0, movement.reason.as_str());
    sqlx::query!(
        "insert into movement (id, lot_id, into_lot_id, from_id, to_id, milligrams, reason, note, corrects_id,
           at_ms, journal_sequence)
         values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        id,
        lot,
        into,
        from,
        to,
        mg,
        reason,
        line.note,
        corrects,
        line.at_ms,
        entry,
    )
    .execute(connection)
    .await?;
    Ok(id)
}

/// Powder of one lot from one place to another; it arrives as the same lot.
pub fn movement(
    lot: &mendpost_core::code::LotCode,
    from: Place,
    to: Place,
    milligrams: i64,
    reason: Reason,
) -> Movement {
    Movement {
        lot: lot.clone(),
        into: lot.clone(),
        from,
        to,
        mass: mendpost_core::quantity::Milligrams(milligrams),
        reason,
    }
}
