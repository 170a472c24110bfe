//! Load lists as rows.

use mendpost_core::code::ItemCode;
use mendpost_core::resupply::list::answer::{Answer, AnswerLine, Instead};
use mendpost_core::resupply::list::{Addition, ListLine, LoadList, Total};
use serde::{Deserialize, Serialize};
use sqlx::SqliteConnection;
use uuid::Uuid;

use crate::db::decoded;
use crate::situation::moment;

/// How many lists stand on one page.
pub const ON_A_PAGE: i64 = 50;

/// A list as the index has it.
pub struct Listed {
    pub number: i64,
    pub trip: String,
    pub trip_name: String,
    pub lines: i64,
    pub additions: i64,
    pub answers: i64,
    pub by: String,
    pub ms: i64,
    /// Of its delivery.
    pub state: String,
}

/// Lists before a number, the newest first.
pub async fn listed(
    connection: &mut SqliteConnection,
    before: Option<i64>,
) -> Result<Vec<Listed>, sqlx::Error> {
    sqlx::query_as!(
        Listed,
        r#"select l.number as "number!: i64", l.trip as "trip!: String", l.trip_name as "trip_name!: String",
             (select count(*) from load_list_line n where n.list_number = l.number) as "lines!: i64",
             (select count(*) - 1 from load_list_addition n where n.list_number = l.number) as "additions!: i64",
             (select count(*) from load_answer n where n.list_number = l.number) as "answers!: i64",
             a.added_by as "by!: String", a.added_ms as "ms!: i64", d.state as "state!: String"
           from load_list l
           join load_list_addition a on a.list_number = l.number and a.number = 0
           join delivery d on d.id = l.delivery_id
           where ?1 is null or l.number < ?1
           order by l.number desc limit ?2"#,
        before,
        ON_A_PAGE
    )
    .fetch_all(connection)
    .await
}

/// A limit as it is stored.
#[derive(Serialize, Deserialize)]
struct Limit {
    id: String,
    what: String,
    unit: String,
    allowed: i64,
}

/// The number of the list of a delivery.
pub async fn of_delivery(
    connection: &mut SqliteConnection,
    delivery: Uuid,
) -> Result<Option<i64>, sqlx::Error> {
    sqlx::query_scalar!(
        "select number from load_list where delivery_id = ?",
        delivery
    )
    .fetch_optional(connection)
    .await
}

pub async fn next_number(connection: &mut SqliteConnection) -> Result<i64, sqlx::Error> {
    sqlx::query_scalar!(r#"select coalesce(max(number), 0) + 1 as "number!: i64" from load_list"#)
        .fetch_one(connection)
        .await
}

/// 'expected', 'arrived' or 'cancelled'.
pub async fn trip_state(
    connection: &mut SqliteConnection,
    list: i64,
) -> Result<String, sqlx::Error> {
    sqlx::query_scalar!(
        "select d.state from delivery d join load_list l on l.delivery_id = d.id where l.number = ?",
        list
    )
    .fetch_one(connection)
    .await
}

/// One list, whole.
pub async fn one(
    connection: &mut SqliteConnection,
    site: &str,
    number: i64,
) -> Result<Option<LoadList>, sqlx::Error> {
    let head = sqlx::query!(
        "select trip, trip_name, mode, closes_ms, limits from load_list where number = ?",
        number
    )
    .fetch_optional(&mut *connection)
    .await?;
    let Some(head) = head else {
        return Ok(None);
    };
    let limits: Vec<Limit> = decoded(serde_json::from_str(&head.limits))?;
    let mut list = LoadList {
        number,
        site: site.to_owned(),
        trip: decoded(head.trip.parse())?,
        trip_name: head.trip_name,
        mode: decoded(head.mode.parse())?,
        closes: decoded(moment(head.closes_ms))?,
        additions: additions(connection, number).await?,
        lines: lines(connection, number).await?,
        totals: Vec::new(),
    };
    let totals = limits.into_iter().map(|it| Total {
        taken: list.taken(&it.id),
        id: it.id,
        what: it.what,
        unit: it.unit,
        allowed: it.allowed,
    });
    list.totals = totals.collect();
    Ok(Some(list))
}

async fn additions(
    connection: &mut SqliteConnection,
    list: i64,
) -> Result<Vec<Addition>, sqlx::Error> {
    sqlx::query!(
        "select number, reason, apart, added_by, added_ms, journal_sequence from load_list_addition
         where list_number = ? order by number",
        list
    )
    .try_map(|row| {
        Ok(Addition {
            number: row.number,
            at: decoded(moment(row.added_ms))?,
            by: row.added_by,
            reason: row.reason,
            journal: row.journal_sequence,
            apart: decoded(serde_json::from_str(&row.apart))?,
        })
    })
    .fetch_all(connection)
    .await
}

async fn lines(connection: &mut SqliteConnection, list: i64) -> Result<Vec<ListLine>, sqlx::Error> {
    sqlx::query!(
        r#"select l.number, l.addition, l.takes_back, i.code, l.name, l.unit, l.units, l.net_g, l.gross_g, l.x_mm,
             l.y_mm, l.z_mm, l.goods, l.uses, l.priority, l.needed_by_ms, l.reason, l.one_lot as "one_lot!: bool",
             l.substitutes, l.set_number
           from load_list_line l join item i on i.id = l.item_id where l.list_number = ? order by l.number"#,
        list
    )
    .try_map(|row| {
        let substitutes = row.substitutes.split_whitespace().map(str::parse);
        Ok(ListLine {
            number: row.number,
            addition: row.addition,
            takes_back: row.takes_back,
            item: decoded(row.code.parse())?,
            name: row.name,
            unit: row.unit,
            units: row.units,
            net_g: row.net_g,
            gross_g: row.gross_g,
            size_mm: [row.x_mm, row.y_mm, row.z_mm],
            goods: row.goods,
            uses: decoded(serde_json::from_str(&row.uses))?,
            priority: row.priority,
            needed_by: row.needed_by_ms.map(|ms| decoded(moment(ms))).transpose()?,
            reason: row.reason,
            one_lot: row.one_lot,
            substitutes: decoded(substitutes.collect::<Result<Vec<ItemCode>, _>>())?,
            set: row.set_number,
        })
    })
    .fetch_all(connection)
    .await
}

/// Writes the head of a new list.
pub async fn insert(
    connection: &mut SqliteConnection,
    delivery: Uuid,
    list: &LoadList,
) -> Result<(), sqlx::Error> {
    let limits: Vec<Limit> = list
        .totals
        .iter()
        .map(|it| Limit {
            id: it.id.clone(),
            what: it.what.clone(),
            unit: it.unit.clone(),
            allowed: it.allowed,
        })
        .collect();
    let limits = decoded(serde_json::to_string(&limits))?;
    let (trip, mode) = (list.trip.as_str(), list.mode.as_str());
    let closes = list.closes.timestamp_millis();
    sqlx::query!(
        "insert into load_list (number, delivery_id, trip, trip_name, mode, closes_ms, limits)
         values (?, ?, ?, ?, ?, ?, ?)",
        list.number,
        delivery,
        trip,
        list.trip_name,
        mode,
        closes,
        limits,
    )
    .execute(connection)
    .await?;
    Ok(())
}

/// Writes an addition with its lines; the list itself is number 0.
pub async fn insert_addition(
    connection: &mut SqliteConnection,
    list: &LoadList,
    addition: &Addition,
) -> Result<(), sqlx::Error> {
    let apart = decoded(serde_json::to_string(&addition.apart))?;
    let at = addition.at.timestamp_millis();
    sqlx::query!(
        "insert into load_list_addition (list_number, number, reason, apart, added_by, added_ms, journal_sequence)
         values (?, ?, ?, ?, ?, ?, ?)",
        list.number,
        addition.number,
        addition.reason,
        apart,
        addition.by,
        at,
        addition.journal,
    )
    .execute(&mut *connection)
    .await?;
    let own = list
        .lines
        .iter()
        .filter(|it| it.addition == addition.number);
    for line in own {
        insert_line(connection, list.number, line).await?;
    }
    Ok(())
}

async fn insert_line(
    connection: &mut SqliteConnection,
    list: i64,
    line: &ListLine,
) -> Result<(), sqlx::Error> {
    let item = line.item.as_str();
    let uses = decoded(serde_json::to_string(&line.uses))?;
    let needed_by = line.needed_by.map(|at| at.timestamp_millis());
    let substitutes: Vec<&str> = line.substitutes.iter().map(ItemCode::as_str).collect();
    let substitutes = substitutes.join(" ");
    let [x, y, z] = line.size_mm;
    sqlx::query!(
        "insert into load_list_line (list_number, number, addition, takes_back, item_id, name, unit, units, net_g,
           gross_g, x_mm, y_mm, z_mm, goods, uses, priority, needed_by_ms, reason, one_lot, substitutes, set_number)
         values (?, ?, ?, ?, (select id from item where code = ?), ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        list,
        line.number,
        line.addition,
        line.takes_back,
        item,
        line.name,
        line.unit,
        line.units,
        line.net_g,
        line.gross_g,
        x,
        y,
        z,
        line.goods,
        uses,
        line.priority,
        needed_by,
        line.reason,
        line.one_lot,
        substitutes,
        line.set,
    )
    .execute(connection)
    .await?;
    Ok(())
}

/// The depot's newest answer to a list, with its number, who entered it, when, and its journal entry.
pub struct Answered {
    pub number: i64,
    pub answer: Answer,
    pub entered_by: String,
    pub entered_ms: i64,
    pub journal: i64,
}

pub async fn answer(
    connection: &mut SqliteConnection,
    list: &LoadList,
) -> Result<Option<Answered>, sqlx::Error> {
    let head = sqlx::query!(
        "select number, answered_by, arrival_ms, entered_by, entered_ms, journal_sequence from load_answer
         where list_number = ? order by number desc limit 1",
        list.number
    )
    .fetch_optional(&mut *connection)
    .await?;
    let Some(head) = head else {
        return Ok(None);
    };
    Ok(Some(Answered {
        number: head.number,
        answer: Answer {
            list: list.number,
            trip: list.trip.clone(),
            by: head.answered_by,
            arrival: head.arrival_ms.map(|ms| decoded(moment(ms))).transpose()?,
            lines: answer_lines(connection, list.number, head.number).await?,
        },
        entered_by: head.entered_by,
        entered_ms: head.entered_ms,
        journal: head.journal_sequence,
    }))
}

async fn answer_lines(
    connection: &mut SqliteConnection,
    list: i64,
    number: i64,
) -> Result<Vec<AnswerLine>, sqlx::Error> {
    sqlx::query!(
        r#"select a.line, a.sent, a.cut, a.later, a.later_on, i.code as "instead?: String", a.instead_units,
             a.consignment, a.note
           from load_answer_line a left join item i on i.id = a.instead_id
           where a.list_number = ? and a.number = ? order by a.line"#,
        list,
        number
    )
    .try_map(|row| {
        let instead = row.instead.zip(row.instead_units).map(|(code, units)| {
            Ok::<_, sqlx::Error>(Instead {
                item: decoded(code.parse())?,
                units,
            })
        });
        Ok(AnswerLine {
            line: row.line,
            sent: row.sent,
            cut: row.cut,
            later: row.later,
            later_on: row.later_on.map(|on| decoded(on.parse())).transpose()?,
            instead: instead.transpose()?,
            consignment: row.consignment,
            note: row.note,
        })
    })
    .fetch_all(connection)
    .await
}

/// Writes an answer.
pub async fn insert_answer(
    connection: &mut SqliteConnection,
    answered: &Answered,
) -> Result<(), sqlx::Error> {
    let Answered {
        number,
        answer,
        entered_by,
        entered_ms,
        journal,
    } = answered;
    let arrival = answer.arrival.map(|at| at.timestamp_millis());
    sqlx::query!(
        "insert into load_answer (list_number, number, answered_by, arrival_ms, entered_by, entered_ms,
           journal_sequence)
         values (?, ?, ?, ?, ?, ?, ?)",
        answer.list,
        number,
        answer.by,
        arrival,
        entered_by,
        entered_ms,
        journal,
    )
    .execute(&mut *connection)
    .await?;
    for line in &answer.lines {
        let later_on = line.later_on.map(|on| on.to_string());
        let instead = line.instead.as_ref().map(|it| it.item.as_str());
        let units = line.instead.as_ref().map(|it| it.units);
        sqlx::query!(
            "insert into load_answer_line (list_number, number, line, sent, cut, later, later_on, instead_id,
               instead_units, consignment, note)
             values (?, ?, ?, ?, ?, ?, ?, (select id from item where code = ?), ?, ?, ?)",
            answer.list,
            number,
            line.line,
            line.sent,
            line.cut,
            line.later,
            later_on,
            instead,
            units,
            line.consignment,
            line.note,
        )
        .execute(&mut *connection)
        .await?;
    }
    Ok(())
}
