//! The book made again from the journal, and as the tables have it.

use mendpost_core::code::LotCode;
use mendpost_core::powder::book::{Book, Movement, Place};
use mendpost_core::quantity::Milligrams;
use serde::Deserialize;
use sqlx::SqliteExecutor;

use super::queries::place;
use crate::db::decoded;

/// The book that the journal's entries make, in their order; the first entry whose movement cannot be is told
/// by its number.
///
/// # Errors
/// `Ok(Err(...))` says which entry moves what is not there, and why.
pub async fn replay(
    executor: impl SqliteExecutor<'_>,
) -> Result<Result<Book, String>, sqlx::Error> {
    let entries = sqlx::query!(
        r#"select sequence as "sequence!: i64", json_extract(content, '$.moved') as "moved!: String" from journal
           where json_extract(content, '$.moved') is not null
           order by sequence"#
    )
    .fetch_all(executor)
    .await?;
    let mut book = Book::default();
    for entry in entries {
        let moved: Vec<Movement> = match serde_json::from_str(&entry.moved) {
            Ok(moved) => moved,
            Err(fault) => return Ok(Err(format!("journal {}: {fault}", entry.sequence))),
        };
        for movement in moved {
            if let Err(fault) = book.enter(&movement) {
                return Ok(Err(format!("journal {}: {fault}", entry.sequence)));
            }
        }
    }
    Ok(Ok(book))
}

/// What is in a place of a lot.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Deserialize)]
pub struct Balance {
    pub place: Place,
    pub lot: LotCode,
    pub mass: Milligrams,
}

/// What is where by the tables, by place and lot; nothing that is 0.
pub async fn balances(executor: impl SqliteExecutor<'_>) -> Result<Vec<Balance>, sqlx::Error> {
    let mut balances = sqlx::query!(
        r#"with line as (
             select to_id as place_id, into_lot_id as lot_id, milligrams from movement
             union all
             select from_id, lot_id, -milligrams from movement
           )
           select p.kind as "kind!: String", c.code as "container?: String", b.number as "build?: i64",
             l.code as "lot!: String", sum(line.milligrams) as "milligrams!: i64"
           from line
           join place p on p.id = line.place_id
           left join container c on c.id = p.container_id
           left join build b on b.id = p.build_id
           join lot l on l.id = line.lot_id
           group by p.id, l.id
           having sum(line.milligrams) <> 0"#
    )
    .try_map(|row| {
        Ok(Balance {
            place: place(&row.kind, row.container.as_deref(), row.build)?,
            lot: decoded(row.lot.parse())?,
            mass: Milligrams(row.milligrams),
        })
    })
    .fetch_all(executor)
    .await?;
    balances.sort();
    Ok(balances)
}
