//! Booking what came: one change with the receipt, its lots, and the delivery.

use mendpost_core::journal::Subject;
use mendpost_core::powder::receipt::Came;
use serde_json::{Value, json};
use uuid::Uuid;

use super::draft::Draft;
use super::form::New;
use super::queries::{self, Delivery, Kind, Line, labels_taken};
use crate::attachment::Named;
use crate::cell;
use crate::certificate::hang;
use crate::change::Change;
use crate::error::AppError;
use crate::form::FieldErrors;
use crate::form::section::Section;
use crate::people::Who;
use crate::seed::write::Ids;
use crate::seed::write::powder::{Whence, enter};

/// Notes lot numbers and container labels that are on record already.
pub async fn check_codes(
    change: &mut Change,
    draft: &Draft,
    new: &New,
    errors: &mut FieldErrors,
) -> Result<(), AppError> {
    let numbers = queries::numbers(change.connection()).await?;
    for (at, lot) in &new.lots {
        let head = format!("l{at}_");
        let own = Section::new(head.clone(), &draft.lots[*at].certificate.fields);
        let code = lot.lot.code.as_str();
        if numbers.taken.iter().any(|taken| taken == code) {
            let free = numbers.next(&[]).map(String::from).unwrap_or_default();
            let text = format!("lot {code} is on record already; the next free number is {free}");
            own.fault("code", text, errors);
        }
        let labels: Vec<String> = lot
            .containers
            .iter()
            .map(|can| can.code.to_string())
            .collect();
        let taken = labels_taken(change.connection(), &labels).await?;
        let cans = draft.lots[*at].cans(&head);
        for (can, label) in cans.iter().zip(&labels) {
            if taken.contains(label) {
                let text = format!("container {label} is on record already; read its label again");
                can.fault("code", text, errors);
            }
        }
    }
    Ok(())
}

/// What was booked: the number of the receipt, and the journal entry that tells it.
pub struct Booked {
    pub number: i64,
    pub journal: i64,
}

/// Books a receipt whole.
pub async fn book(
    change: &mut Change,
    who: &Who,
    delivery: Option<(&Delivery, &[Line])>,
    new: New,
    files: Vec<(usize, Vec<Named>)>,
) -> Result<Result<Booked, FieldErrors>, AppError> {
    let number = queries::next_number(change.connection()).await?;
    let subject = Subject::new("receipt", number);
    let told = content(delivery, &new);
    let journal = change.journal("receipt.entered", subject, told).await?;
    let id = insert(
        change,
        (number, journal),
        who,
        delivery.map(|(it, _)| it.id),
        &new,
    )
    .await?;
    if let Some((delivery, lines)) = delivery {
        for (line, (came, note)) in lines.iter().zip(&new.lines) {
            insert_line(change, id, line.id, came, note).await?;
            if line.kind == Kind::Gas && came.taken > came.damaged {
                let sound = came.taken - came.damaged;
                cell::bottles::came(change, (id, journal), line.id, sound, who).await?;
            }
        }
        sqlx::query!(
            "update delivery set state = 'arrived' where id = ?",
            delivery.id
        )
        .execute(change.connection())
        .await?;
    }
    let ids = Ids::stored(change.connection()).await?;
    let whence = Whence {
        by: &who.name,
        receipt: Some((id, number)),
    };
    for (_, lot) in &new.lots {
        let powder = ids.powders.get(&lot.lot.powder);
        let powder = powder.ok_or_else(|| AppError::internal("a powder was just there"))?;
        enter(change, lot, None, *powder, whence).await?;
    }
    for (at, files) in files {
        let Some((_, lot)) = new.lots.iter().find(|(place, _)| *place == at) else {
            continue;
        };
        let code = lot.lot.code.as_str();
        if let Err(faults) = hang(change, who, code, files).await? {
            let mut errors = FieldErrors::default();
            errors.add(&format!("l{at}_files"), faults.of("files"));
            return Ok(Err(errors));
        }
    }
    Ok(Ok(Booked { number, journal }))
}

fn content(delivery: Option<(&Delivery, &[Line])>, new: &New) -> Value {
    let lots: Vec<&str> = new
        .lots
        .iter()
        .map(|(_, lot)| lot.lot.code.as_str())
        .collect();
    let lines = delivery.map_or(&[][..], |(_, lines)| lines);
    let lines = lines.iter().zip(&new.lines).map(|(line, (came, note))| {
        json!({
            "kind": line.kind,
            "what": line.name,
            "expected": came.expected,
            "taken": came.taken,
            "damaged": came.damaged,
            "refused": came.refused,
            "note": note,
        })
    });
    json!({
        "delivery": delivery.map(|(delivery, _)| &delivery.code),
        "received_ms": new.received_at.timestamp_millis(),
        "note": new.note,
        "lots": lots,
        "lines": lines.collect::<Vec<_>>(),
    })
}

async fn insert(
    change: &mut Change,
    (number, journal): (i64, i64),
    who: &Who,
    delivery: Option<Uuid>,
    new: &New,
) -> Result<Uuid, AppError> {
    let id = Uuid::now_v7();
    let received = new.received_at.timestamp_millis();
    sqlx::query!(
        "insert into receipt (id, number, delivery_id, received_ms, received_by, note, journal_sequence)
         values (?, ?, ?, ?, ?, ?, ?)",
        id,
        number,
        delivery,
        received,
        who.name,
        new.note,
        journal,
    )
    .execute(change.connection())
    .await?;
    Ok(id)
}

async fn insert_line(
    change: &mut Change,
    receipt: Uuid,
    line: Uuid,
    came: &Came,
    note: &str,
) -> Result<(), AppError> {
    sqlx::query!(
        "insert into receipt_line (receipt_id, delivery_line_id, taken, damaged, refused, note)
         values (?, ?, ?, ?, ?, ?)",
        receipt,
        line,
        came.taken,
        came.damaged,
        came.refused,
        note,
    )
    .execute(change.connection())
    .await?;
    Ok(())
}
