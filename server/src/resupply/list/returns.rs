//! What goes back with the vehicle that brings a list: what the records know of, since the last vehicle left,
//! and what somebody writes down besides.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::Response;
use mendpost_core::people::Act;
use mendpost_core::resupply::{Content, Item};
use serde::Deserialize;
use serde_json::json;
use sqlx::SqliteConnection;

use super::draft::{note, one_line};
use super::{find, path, subject};
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted, decimal, integer};
use crate::page::{Layout, Notice, Screen, grams_exact, page_with, whole};
use crate::people::{Visit, Who};
use crate::resupply::item::{queries as items, words::mass};

/// A row that the records know of: what, how much, and how it travels.
type Known = (String, String, String);

/// When the last delivery came; before the first the beginning of all records. What it could take back is not
/// listed again.
async fn since(connection: &mut SqliteConnection) -> Result<i64, sqlx::Error> {
    sqlx::query_scalar!(
        r#"select coalesce(max(received_ms), 0) as "since!: i64" from receipt where delivery_id is not null"#
    )
    .fetch_one(connection)
    .await
}

async fn known(
    connection: &mut SqliteConnection,
    listed: &[Item],
) -> Result<Vec<Known>, sqlx::Error> {
    let since = since(connection).await?;
    let mut rows = containers(connection, since).await?;
    rows.extend(bottles(connection, since).await?);
    rows.extend(waste(connection, since, listed).await?);
    rows.extend(parts(connection, since).await?);
    let copy = (
        "Copy of the records".to_owned(),
        "1".to_owned(),
        "on a medium of its own, with its sum file".to_owned(),
    );
    rows.push(copy);
    Ok(rows)
}

async fn containers(
    connection: &mut SqliteConnection,
    since: i64,
) -> Result<Vec<Known>, sqlx::Error> {
    let rows = sqlx::query!(
        r#"select p.code as "powder!: String", count(*) as "cans!: i64"
           from container c join lot l on l.id = c.lot_id join powder p on p.id = l.powder_id
           where c.holds = 0
             and exists (select 1 from movement m where m.from_id = c.id and m.at_ms > ?)
           group by p.code order by p.code"#,
        since
    )
    .fetch_all(connection)
    .await?;
    let row = |powder: String, cans| {
        let words = "closed; dust may cling inside".to_owned();
        (format!("Empty containers of {powder}"), whole(cans), words)
    };
    Ok(rows.into_iter().map(|it| row(it.powder, it.cans)).collect())
}

async fn bottles(connection: &mut SqliteConnection, since: i64) -> Result<Vec<Known>, sqlx::Error> {
    let rows = sqlx::query!(
        r#"select gas as "gas!: String", sum(taken_off) as "bottles!: i64" from bottle_move
           where taken_off > 0 and moved_ms > ? group by gas order by gas"#,
        since
    )
    .fetch_all(connection)
    .await?;
    let row = |gas: String, bottles| {
        let words = "valve shut, cap on; gas is left in it".to_owned();
        (format!("Empty bottles of {gas}"), whole(bottles), words)
    };
    Ok(rows.into_iter().map(|it| row(it.gas, it.bottles)).collect())
}

/// What was swept up or written off, and what stands in rejected lots.
async fn waste(
    connection: &mut SqliteConnection,
    since: i64,
    listed: &[Item],
) -> Result<Vec<Known>, sqlx::Error> {
    let goods = |powder: &str| {
        let of = |item: &&Item| matches!(&item.content, Content::Powder { powder: it, .. } if it.as_str() == powder);
        match listed.iter().find(of) {
            Some(item) => format!(
                "new it is: {}; ask the shipper for the waste",
                item.sheet.in_one_line()
            ),
            None => "ask the shipper for its entry".to_owned(),
        }
    };
    let swept = sqlx::query!(
        r#"select p.code as "powder!: String", sum(m.milligrams) as "mg!: i64"
           from movement m join place t on t.id = m.to_id and t.kind = 'waste'
           join lot l on l.id = m.lot_id join powder p on p.id = l.powder_id
           where m.at_ms > ? and not exists (select 1 from movement c where c.corrects_id = m.id)
           group by p.code order by p.code"#,
        since
    )
    .fetch_all(&mut *connection)
    .await?;
    let rejected = sqlx::query!(
        r#"select l.code as "lot!: String", p.code as "powder!: String",
             sum(n.milligrams) as "mg!: i64"
           from lot l join powder p on p.id = l.powder_id
           join container c on c.lot_id = l.id and c.holds = 1 join container_now n on n.container_id = c.id
           where l.state = 'rejected' group by l.id order by l.code"#
    )
    .fetch_all(connection)
    .await?;
    let swept = swept.into_iter().map(|it| {
        let entry = goods(&it.powder);
        (
            format!("Waste powder of {}", it.powder),
            grams_exact(it.mg),
            entry,
        )
    });
    let rejected = rejected.into_iter().map(|it| {
        let entry = goods(&it.powder);
        (
            format!("Rejected lot {} of {}", it.lot, it.powder),
            grams_exact(it.mg),
            entry,
        )
    });
    Ok(swept.chain(rejected).collect())
}

/// Interim parts that came off, and pieces that were scrapped.
async fn parts(connection: &mut SqliteConnection, since: i64) -> Result<Vec<Known>, sqlx::Error> {
    let off = sqlx::query!(
        r#"select i.number, i.part_name from interim_off o join interim_part i on i.id = o.interim_id
           where o.off_ms > ? order by i.number"#,
        since
    )
    .fetch_all(&mut *connection)
    .await?;
    let scrapped = sqlx::query!(
        r#"select r.number, r.part_name from request_decision d join request r on r.id = d.request_id
           where d.decision = 'scrapped' and d.decided_ms > ? order by d.journal_sequence"#,
        since
    )
    .fetch_all(connection)
    .await?;
    let off = off.into_iter().map(|it| {
        let what = format!("Interim part {} that came off, {}", it.number, it.part_name);
        (what, "1".to_owned(), "marked as not to be used".to_owned())
    });
    let scrapped = scrapped.into_iter().map(|it| {
        let what = format!("Scrapped piece of request {}, {}", it.number, it.part_name);
        (what, "1".to_owned(), "marked as scrap".to_owned())
    });
    Ok(off.chain(scrapped).collect())
}

struct Own {
    what: String,
    pieces: i64,
    gross_g: i64,
    note: String,
    by: String,
}

/// What was written down for a list: the newest row of each thing, without those that stay here.
async fn own(connection: &mut SqliteConnection, list: i64) -> Result<Vec<Own>, sqlx::Error> {
    sqlx::query_as!(
        Own,
        r#"select what, pieces, gross_g, note, entered_by as "by" from load_return r
           where list_number = ? and pieces > 0
             and journal_sequence = (select max(journal_sequence) from load_return
               where list_number = r.list_number and what = r.what)
           order by journal_sequence"#,
        list
    )
    .fetch_all(connection)
    .await
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct OwnForm {
    what: String,
    pieces: String,
    gross_kg: String,
    note: String,
}

#[derive(Template)]
#[template(path = "resupply/list/return.html")]
struct ReturnPage {
    page: Layout,
    number: i64,
    trip: String,
    takes_back: String,
    path: String,
    known: Vec<Known>,
    /// What, how many, gross, and what else there is to say, with by whom.
    own: Vec<(String, String, String, String)>,
    form: OwnForm,
    errors: FieldErrors,
    may_add: bool,
}

pub async fn show(
    State(state): State<AppState>,
    visit: Visit,
    Path(number): Path<String>,
) -> Result<Response, AppError> {
    let errors = FieldErrors::default();
    shown(&state, &visit, &number, OwnForm::default(), errors).await
}

async fn shown(
    state: &AppState,
    visit: &Visit,
    number: &str,
    form: OwnForm,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let mut reading = state.db.read.begin().await?;
    let list = find(&mut reading, visit, number).await?;
    let listed: Vec<Item> = items::items(&mut reading)
        .await?
        .into_iter()
        .map(|(_, it)| it)
        .collect();
    let known = known(&mut reading, &listed).await?;
    let own = own(&mut reading, list.number).await?;
    let trip = super::super::trip::queries::one(&mut reading, &list.trip).await?;
    drop(reading);
    let own = own.into_iter().map(|it| {
        let said = match it.note.is_empty() {
            true => it.by,
            false => format!("{}; {}", it.note, it.by),
        };
        let gross = if it.gross_g > 0 {
            mass(it.gross_g)
        } else {
            "not weighed".to_owned()
        };
        (it.what, whole(it.pieces), gross, said)
    });
    let title = format!("Back with {}", list.trip);
    let it = ReturnPage {
        number: list.number,
        trip: list.trip.to_string(),
        takes_back: trip.map_or_else(String::new, |it| it.takes_back),
        path: path(list.number),
        known,
        own: own.collect(),
        form,
        errors,
        may_add: visit.may(Act::KeepItems),
        page: visit.layout(Screen::Resupply, &title).await?,
    };
    page_with(it.errors.status(), &it)
}

pub async fn add(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(number): Path<String>,
    Posted(form): Posted<OwnForm>,
) -> Result<Response, AppError> {
    let mut errors = FieldErrors::default();
    let what = errors.check("what", one_line(&form.what, 120));
    let pieces = errors.check("pieces", integer(&form.pieces, 0..=10_000));
    let gross = match form.gross_kg.trim() {
        "" => Some(0),
        typed => errors.check("gross_kg", decimal(typed, 3, 0..=20_000_000)),
    };
    let said = errors.check("note", note(&form.note, 200));
    let all = what.zip(pieces).zip(gross).zip(said);
    let mut change = Change::begin(&state, &who).await?;
    let list = find(change.connection(), &visit, &number).await?;
    let Some((((what, pieces), gross_g), note)) = all else {
        drop(change);
        return shown(&state, &visit, &number, form, errors).await;
    };
    let content = json!({ "what": what, "pieces": pieces, "gross_g": gross_g, "note": note });
    let journal = change
        .journal("load-list.return", subject(list.number), content)
        .await?;
    let now = change.now();
    sqlx::query!(
        "insert into load_return (journal_sequence, list_number, what, pieces, gross_g, note, entered_by, entered_ms)
         values (?, ?, ?, ?, ?, ?, ?, ?)",
        journal,
        list.number,
        what,
        pieces,
        gross_g,
        note,
        who.name,
        now,
    )
    .execute(change.connection())
    .await?;
    let text = match pieces {
        0 => format!("{what} stays here. Journal {journal}."),
        _ => format!("{what} goes back with {}. Journal {journal}.", list.trip),
    };
    let location = format!("{}/return", path(list.number));
    change
        .finish(&who, &location, Notice::done("SAVED", text))
        .await
}
