//! Making a blend: one change with the lot, its containers, and what moved.

use mendpost_core::journal::Subject;
use serde_json::json;

use super::form::New;
use crate::book::{self, Line};
use crate::change::Change;
use crate::error::AppError;
use crate::people::Who;
use crate::seed::write::Ids;
use crate::seed::write::powder::{Whence, insert};

/// The journal entry that tells it.
pub async fn make(change: &mut Change, who: &Who, new: &New) -> Result<i64, AppError> {
    let ids = Ids::stored(change.connection()).await?;
    let powder = ids.powders.get(&new.lot.lot.powder);
    let powder = powder.ok_or_else(|| AppError::internal("a powder was just there"))?;
    let whence = Whence {
        by: &who.name,
        receipt: None,
    };
    insert(change, &new.lot, *powder, whence).await?;
    let (lot, keeping) = (&new.lot.lot, &new.lot.keeping);
    let containers = new.lot.containers.iter().map(|can| {
        json!({
            "code": can.code,
            "net_mg": can.received.0,
            "gross_mg": can.as_it_came.gross.map(|mass| mass.0),
            "tare_mg": can.as_it_came.tare.map(|mass| mass.0),
        })
    });
    let content = json!({
        "powder": lot.powder,
        "state": lot.state,
        "note": lot.state_note,
        "maker_lot": new.lot.maker_lot,
        "received": new.lot.received_at.timestamp_millis(),
        "use_by": lot.use_by.map(|until| until.timestamp_millis()),
        "date_kind": keeping.date_kind,
        "made_on": keeping.made_on,
        "storage": keeping.storage,
        "humidity": keeping.humidity,
        "receipt": None::<i64>,
        "containers": containers.collect::<Vec<_>>(),
        "spilt_mg": new.spilt.0,
        "difference_mg": new.difference.0,
        "reason": new.reason,
    });
    let at_ms = change.now();
    let lines: Vec<Line<'_>> = new
        .movements
        .iter()
        .map(|movement| Line {
            movement: movement.clone(),
            note: &new.reason,
            at_ms,
        })
        .collect();
    let subject = Subject::new("lot", &lot.code);
    let journal = book::record(change, "lot.blended", subject, content, &lines).await?;
    for container in &new.opened {
        opened(change, container.as_str(), journal).await?;
    }
    Ok(journal)
}

/// A container that gave stood open for it, and is closed again.
async fn opened(change: &mut Change, container: &str, journal: i64) -> Result<(), AppError> {
    let now = change.now();
    sqlx::query!(
        "update container set opened_ms = coalesce(opened_ms, ?) where code = ?",
        now,
        container
    )
    .execute(change.connection())
    .await?;
    for open in [1, 0] {
        sqlx::query!(
            "insert into container_seal (journal_sequence, container_id, at_ms, open)
             select ?, id, ?, ? from container where code = ?",
            journal,
            now,
            open,
            container
        )
        .execute(change.connection())
        .await?;
    }
    Ok(())
}
