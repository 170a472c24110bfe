//! An answer entered in one change: it stands on record, the trip comes when the depot says, what its
//! delivery brings is what the depot sends, and requests that wait for a true part on it know when it comes.

use chrono::{DateTime, Utc};
use mendpost_core::code::ItemCode;
use mendpost_core::journal::Subject;
use mendpost_core::resupply::list::LoadList;
use mendpost_core::resupply::list::answer::Answer;
use mendpost_core::resupply::{Content, Item, Trip};
use serde::Serialize;
use serde_json::json;
use sqlx::SqliteConnection;
use uuid::Uuid;

use super::super::freeze::Ready;
use super::super::queries::{self, Answered};
use super::super::subject;
use crate::change::Change;
use crate::db::decoded;
use crate::error::AppError;
use crate::people::Who;
use crate::resupply::trip;

/// A line of a delivery as the journal tells it.
#[derive(Debug, Clone, Serialize)]
pub struct Brought {
    kind: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    powder: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    bank: Option<String>,
    amount: i64,
    #[serde(skip_serializing_if = "Option::is_none")]
    pressure_mbar: Option<i64>,
    what: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    list_line: Option<i64>,
}

/// How many lines of a delivery were announced without a list.
pub async fn besides(
    connection: &mut SqliteConnection,
    delivery: Uuid,
) -> Result<i64, sqlx::Error> {
    sqlx::query_scalar!(
        r#"select count(*) as "lines!: i64" from delivery_line where delivery_id = ? and list_number is null"#,
        delivery
    )
    .fetch_one(connection)
    .await
}

/// What entering an answer did.
pub struct Entered {
    pub journal: i64,
    /// Requests that now wait for their true part until it arrives.
    pub told: Vec<i64>,
}

/// Enters an answer. What was announced without a list stays or goes as `besides_go` says.
pub async fn enter(
    change: &mut Change,
    who: &Who,
    (list, ready): (&LoadList, &Ready),
    (answer, number): (Answer, i64),
    besides_go: bool,
) -> Result<Entered, AppError> {
    let delivery = ready.listed.id;
    let arrives = match answer.arrival {
        Some(at) => move_trip(change, who, ready, at).await?,
        None => ready.trip.usual,
    };
    let replaced = lines_of(change.connection(), delivery, list.number, besides_go).await?;
    remove(change.connection(), delivery, list.number, besides_go).await?;
    let lines = brought(list, &answer, &ready.items)?;
    insert(change.connection(), (delivery, list.number), &lines).await?;
    let content = json!({
        "answer": number,
        "by": answer.by,
        "arrival_ms": answer.arrival.map(|at| at.timestamp_millis()),
        "lines": answer.lines,
        "brings": lines,
        "replaced": replaced,
    });
    let journal = change
        .journal("load-list.answered", subject(list.number), content)
        .await?;
    let told = tell_requests(change, (list, ready), (&answer, arrives)).await?;
    let answered = Answered {
        number,
        answer,
        entered_by: who.name.clone(),
        entered_ms: change.now(),
        journal,
    };
    queries::insert_answer(change.connection(), &answered).await?;
    Ok(Entered { journal, told })
}

/// The trip usually comes when the depot says, and at the latest no sooner.
async fn move_trip(
    change: &mut Change,
    who: &Who,
    ready: &Ready,
    at: DateTime<Utc>,
) -> Result<DateTime<Utc>, AppError> {
    let before = &ready.trip;
    let earliest = before.earliest.min(at);
    let moved = Trip {
        earliest,
        usual: at,
        latest: before.latest.max(at),
        closes: before.closes.min(earliest),
        ..before.clone()
    };
    if moved != *before {
        let next = (ready.listed.id, ready.listed.version() + 1);
        trip::record(change, next, &moved, &who.name).await?;
    }
    Ok(at)
}

/// What an item is on a delivery's list, so many units of it.
fn of_item(item: &Item, units: i64, line: i64) -> Brought {
    let blank = Brought {
        kind: String::new(),
        powder: None,
        bank: None,
        amount: units,
        pressure_mbar: None,
        what: String::new(),
        list_line: Some(line),
    };
    match &item.content {
        Content::Powder { powder, grams } => Brought {
            kind: "powder".to_owned(),
            powder: Some(powder.to_string()),
            amount: units * grams,
            ..blank
        },
        Content::Gas {
            bank,
            pressure_mbar,
        } => Brought {
            kind: "gas".to_owned(),
            bank: Some(bank.to_string()),
            pressure_mbar: Some(*pressure_mbar),
            ..blank
        },
        Content::Fuel { ml } => Brought {
            kind: "fuel".to_owned(),
            amount: units * ml,
            ..blank
        },
        Content::Consumable(_) | Content::Part(_) | Content::Other => Brought {
            kind: "other".to_owned(),
            amount: 0,
            what: format!("{units} × {} {}, {}", item.code, item.name, item.unit),
            ..blank
        },
    }
}

fn brought(list: &LoadList, answer: &Answer, items: &[Item]) -> Result<Vec<Brought>, AppError> {
    let find = |code: &ItemCode| {
        let found = items.iter().find(|it| it.code == *code);
        let gone = || {
            AppError::Conflict(format!(
                "{code} is no longer sent for; list it anew, then enter the answer"
            ))
        };
        found.ok_or_else(gone)
    };
    let mut lines = Vec::new();
    for it in &answer.lines {
        let Some(asks) = list.line(it.line) else {
            continue;
        };
        if it.sent > 0 {
            lines.push(of_item(find(&asks.item)?, it.sent, it.line));
        }
        if let Some(instead) = &it.instead {
            lines.push(of_item(find(&instead.item)?, instead.units, it.line));
        }
    }
    Ok(lines)
}

async fn lines_of(
    connection: &mut SqliteConnection,
    delivery: Uuid,
    list: i64,
    besides_go: bool,
) -> Result<Vec<Brought>, sqlx::Error> {
    sqlx::query_as!(
        Brought,
        r#"select d.kind, p.code as "powder?: String", b.code as "bank?: String", d.amount, d.pressure_mbar, d.what,
             d.list_line
           from delivery_line d
           left join powder p on p.id = d.powder_id
           left join bank b on b.id = d.bank_id
           where d.delivery_id = ?1 and (d.list_number = ?2 or (?3 and d.list_number is null))
           order by d.position"#,
        delivery,
        list,
        besides_go
    )
    .fetch_all(connection)
    .await
}

async fn remove(
    connection: &mut SqliteConnection,
    delivery: Uuid,
    list: i64,
    besides_go: bool,
) -> Result<(), sqlx::Error> {
    sqlx::query!(
        "delete from delivery_line
         where delivery_id = ?1 and (list_number = ?2 or (?3 and list_number is null))",
        delivery,
        list,
        besides_go
    )
    .execute(connection)
    .await?;
    Ok(())
}

async fn insert(
    connection: &mut SqliteConnection,
    (delivery, list): (Uuid, i64),
    lines: &[Brought],
) -> Result<(), sqlx::Error> {
    for line in lines {
        let id = Uuid::now_v7();
        sqlx::query!(
            "insert into delivery_line (id, delivery_id, position, kind, powder_id, bank_id, amount, pressure_mbar, what,
               list_number, list_line)
             values (?1, ?2, (select coalesce(max(position), 0) + 1 from delivery_line where delivery_id = ?2), ?3,
               (select id from powder where code = ?4), (select id from bank where code = ?5), ?6, ?7, ?8, ?9, ?10)",
            id,
            delivery,
            line.kind,
            line.powder,
            line.bank,
            line.amount,
            line.pressure_mbar,
            line.what,
            list,
            line.list_line,
        )
        .execute(&mut *connection)
        .await?;
    }
    Ok(())
}

/// Requests for a part that is sent, whose way to the true part is this delivery, expect it when it arrives.
async fn tell_requests(
    change: &mut Change,
    (list, ready): (&LoadList, &Ready),
    (answer, arrives): (&Answer, DateTime<Utc>),
) -> Result<Vec<i64>, AppError> {
    let sent = answer.lines.iter().filter(|it| it.sent > 0);
    let parts: Vec<&str> = sent
        .filter_map(|it| {
            let asks = list.line(it.line)?;
            let item = ready.items.iter().find(|item| item.code == asks.item)?;
            match &item.content {
                Content::Part(part) => Some(part.as_str()),
                _ => None,
            }
        })
        .collect();
    let parts = decoded(serde_json::to_string(&parts))?;
    let (delivery, at) = (ready.listed.id, arrives.timestamp_millis());
    let waiting = sqlx::query!(
        r#"select r.id as "id!: Uuid", r.number, w.position, w.expected_ms as "before!: i64"
           from request_way w
           join request r on r.id = w.request_id
           join part p on p.id = r.part_id
           where w.kind = 'true-part' and w.delivery_id = ?1 and w.expected_ms <> ?2
             and p.code in (select value from json_each(?3))
           order by r.number"#,
        delivery,
        at,
        parts
    )
    .fetch_all(change.connection())
    .await?;
    let mut told = Vec::new();
    for row in waiting {
        sqlx::query!(
            "update request_way set expected_ms = ? where request_id = ? and position = ?",
            at,
            row.id,
            row.position
        )
        .execute(change.connection())
        .await?;
        let subject = Subject::new("request", row.number);
        let content = json!({ "list": list.number, "before_ms": row.before, "expected_ms": at });
        change
            .journal("request.true-part-expected", subject, content)
            .await?;
        told.push(row.number);
    }
    Ok(told)
}
