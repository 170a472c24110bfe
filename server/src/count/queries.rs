//! Counts as they are kept.

use mendpost_core::code::{ContainerCode, LotCode};
use mendpost_core::quantity::Milligrams;
use sqlx::{SqliteConnection, SqliteExecutor};
use uuid::Uuid;

use crate::db::decoded;

/// A lot is due for a count so many days after it was counted last.
///
/// Weekly is common practice, no source.
pub const DUE_DAYS: i64 = 7;

#[derive(Debug, Clone)]
pub struct Count {
    pub id: Uuid,
    pub number: i64,
    pub scope: String,
    pub begun_ms: i64,
    pub begun_by: String,
    /// Journal entry by which it was posted.
    pub posted: Option<i64>,
    pub containers: i64,
    pub found: i64,
}

macro_rules! counts {
    ($rest:literal, $($bound:expr),*) => {
        sqlx::query_as!(
            Count,
            r#"select c.id as "id!: Uuid", c.number as "number!: i64", c.scope as "scope!: String",
                 c.begun_ms as "begun_ms!: i64", c.begun_by as "begun_by!: String", p.journal_sequence as "posted?: i64",
                 (select count(*) from stock_count_container k where k.count_id = c.id) as "containers!: i64",
                 (select count(distinct f.container_id) from stock_count_found f where f.count_id = c.id) as "found!: i64"
               from stock_count c left join stock_count_posted p on p.count_id = c.id "#
                + $rest,
            $($bound),*
        )
    };
}

/// The newest counts, before that number.
pub async fn newest(
    executor: impl SqliteExecutor<'_>,
    before: i64,
    most: i64,
) -> Result<Vec<Count>, sqlx::Error> {
    counts!(
        "where c.number < ? order by c.number desc limit ?",
        before,
        most
    )
    .fetch_all(executor)
    .await
}

pub async fn count(
    executor: impl SqliteExecutor<'_>,
    number: i64,
) -> Result<Option<Count>, sqlx::Error> {
    counts!("where c.number = ?", number)
        .fetch_optional(executor)
        .await
}

/// Containers that a count of this scope weighs: those that hold something by the book, of lots that are not empty.
pub async fn in_scope(
    connection: &mut SqliteConnection,
    due_before_ms: Option<i64>,
) -> Result<Vec<(Uuid, String)>, sqlx::Error> {
    sqlx::query!(
        r#"select c.container_id as "id!: Uuid", c.code as "code!: String" from lot l
           join container k on k.lot_id = l.id and k.holds = 1
           join container_now c on c.container_id = k.id
           where l.state <> 'empty'
             and (?1 is null or not exists (
               select 1 from stock_count_found f where f.container_id = c.container_id and f.at_ms >= ?1
             ))
           order by c.code"#,
        due_before_ms
    )
    .map(|row| (row.id, row.code))
    .fetch_all(connection)
    .await
}

/// A container of a count, and what was found in it.
#[derive(Debug, Clone)]
pub struct Line {
    pub id: Uuid,
    pub code: ContainerCode,
    pub lot: LotCode,
    pub powder: String,
    pub opened: bool,
    pub tare: Option<Milligrams>,
    pub found: Option<Found>,
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Found {
    pub found: Milligrams,
    pub book: Milligrams,
    pub drawn: Milligrams,
    pub at_ms: i64,
    pub by: String,
}

impl Found {
    /// More than the book, or less.
    pub fn gap(&self) -> Milligrams {
        Milligrams(self.found.0 - self.book.0)
    }
}

pub async fn lines(
    executor: impl SqliteExecutor<'_>,
    count: Uuid,
) -> Result<Vec<Line>, sqlx::Error> {
    sqlx::query!(
        r#"select c.id as "id!: Uuid", c.code as "code!: String", l.code as "lot!: String", p.name as "powder!: String",
             c.opened_ms is not null as "opened!: bool", c.tare_mg as "tare?: i64", f.found_mg as "found?: i64",
             f.book_mg as "book?: i64", f.drawn_mg as "drawn?: i64", f.at_ms as "at_ms?: i64", f.found_by as "by?: String"
           from stock_count_container k
           join container c on c.id = k.container_id
           join lot l on l.id = c.lot_id
           join powder p on p.id = l.powder_id
           left join stock_count_found f on f.count_id = k.count_id and f.container_id = k.container_id
             and f.journal_sequence = (
               select max(journal_sequence) from stock_count_found
               where count_id = k.count_id and container_id = k.container_id
             )
           where k.count_id = ?
           order by p.name, c.code"#,
        count
    )
    .try_map(|row| {
        let found = row.found.zip(row.book).zip(row.drawn.zip(row.at_ms)).zip(row.by);
        Ok(Line {
            id: row.id,
            code: decoded(row.code.parse())?,
            lot: decoded(row.lot.parse())?,
            powder: row.powder,
            opened: row.opened,
            tare: row.tare.map(Milligrams),
            found: found.map(|(((found, book), (drawn, at_ms)), by)| Found {
                found: Milligrams(found),
                book: Milligrams(book),
                drawn: Milligrams(drawn),
                at_ms,
                by,
            }),
        })
    })
    .fetch_all(executor)
    .await
}

/// What the book says of a container now, and what was drawn from it since it was counted last.
pub async fn book_of(
    connection: &mut SqliteConnection,
    container: Uuid,
) -> Result<(i64, i64), sqlx::Error> {
    sqlx::query!(
        r#"select milligrams as "book!: i64",
             coalesce((
               select sum(m.milligrams) from movement m
               where m.from_id = ?1 and m.reason = 'draw'
                 and m.journal_sequence > coalesce(
                   (select max(f.journal_sequence) from stock_count_found f where f.container_id = ?1), 0)
             ), 0) as "drawn!: i64"
           from container_now where container_id = ?1"#,
        container
    )
    .map(|row| (row.book, row.drawn))
    .fetch_one(connection)
    .await
}
