//! What the database holds beside that which is replayed, by its own list of tables.

use std::collections::{BTreeMap, BTreeSet};

use sqlx::sqlite::SqliteConnectOptions;
use sqlx::{ConnectOptions, Connection, SqliteConnection};

use super::Fault;
use super::rows::Table;
use crate::db::MIGRATOR;

/// A table that is not replayed, or not all of it.
#[derive(Debug, PartialEq, Eq)]
pub struct Left {
    pub table: String,
    /// The columns that are left; none where it is the whole table.
    pub columns: Vec<String>,
}

/// Number of the last change of structure.
pub(super) async fn structure(connection: &mut SqliteConnection) -> Result<i64, sqlx::Error> {
    sqlx::query_scalar("select coalesce(max(version), 0) from _sqlx_migrations where success")
        .fetch_one(connection)
        .await
}

/// Every table but those of which each column is replayed. The chain holds the journal; an `id` is no more than
/// what rows are joined by.
pub(super) async fn left(
    connection: &mut SqliteConnection,
    met: &[&Table],
) -> Result<Vec<Left>, sqlx::Error> {
    let columns: Vec<(String, String)> = sqlx::query_as(
        r"select t.name, c.name from sqlite_schema t join pragma_table_info(t.name) c
          where t.type = 'table' and t.name not like 'sqlite\_%' escape '\' and t.name <> 'journal'
          order by t.name, c.cid",
    )
    .fetch_all(connection)
    .await?;
    let mut tables: BTreeMap<String, Vec<String>> = BTreeMap::new();
    for (table, column) in columns {
        tables.entry(table).or_default().push(column);
    }
    let left = tables.into_iter().filter_map(|(table, mut columns)| {
        let met: Vec<&&Table> = met.iter().filter(|it| it.name == table).collect();
        let is_met = |column: &String| {
            let mut names = met.iter().flat_map(|it| it.columns);
            column == "id" || names.any(|name| name == column)
        };
        if met.is_empty() {
            columns.clear();
            return Some(Left { table, columns });
        }
        columns.retain(|column| !is_met(column));
        (!columns.is_empty()).then_some(Left { table, columns })
    });
    Ok(left.collect())
}

/// Whether the database has the tables, indexes, triggers and views that the migrations make, and no others: the
/// triggers are what keeps records from being changed.
pub(super) async fn same_objects(connection: &mut SqliteConnection) -> Result<(), Fault> {
    let found = objects(connection).await?;
    let mut fresh = SqliteConnectOptions::new()
        .in_memory(true)
        .connect()
        .await?;
    MIGRATOR
        .run(&mut fresh)
        .await
        .map_err(|fault| sqlx::Error::Configuration(Box::new(fault)))?;
    let expected = objects(&mut fresh).await?;
    fresh.close().await?;
    if let Some((kind, name)) = expected.difference(&found).next() {
        return Err(Fault::Object(format!("lacks the {kind} {name}")));
    }
    if let Some((kind, name)) = found.difference(&expected).next() {
        return Err(Fault::Object(format!("has the {kind} {name}")));
    }
    Ok(())
}

/// Kind and name of each; those that SQLite makes by itself are left out.
async fn objects(
    connection: &mut SqliteConnection,
) -> Result<BTreeSet<(String, String)>, sqlx::Error> {
    let rows = sqlx::query_as(
        r"select type, name from sqlite_schema where name not like 'sqlite\_%' escape '\'",
    )
    .fetch_all(connection)
    .await?;
    Ok(rows.into_iter().collect())
}
