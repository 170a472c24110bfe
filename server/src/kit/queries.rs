//! Plates and fixtures as rows.

use mendpost_core::situation::Kit;
use sqlx::{SqliteConnection, SqliteExecutor};
use uuid::Uuid;

use crate::db::decoded;

/// All kit, by code.
pub async fn all(executor: impl SqliteExecutor<'_>) -> Result<Vec<Kit>, sqlx::Error> {
    sqlx::query!("select code, name, kind, count from kit order by code")
        .try_map(|row| {
            Ok(Kit {
                code: decoded(row.code.parse())?,
                name: row.name,
                kind: decoded(row.kind.parse())?,
                count: row.count,
            })
        })
        .fetch_all(executor)
        .await
}

/// One piece of kit with its version.
pub async fn one(
    executor: impl SqliteExecutor<'_>,
    code: &str,
) -> Result<Option<(Kit, i64)>, sqlx::Error> {
    sqlx::query!(
        "select code, name, kind, count, version from kit where code = ?",
        code
    )
    .try_map(|row| {
        let kit = Kit {
            code: decoded(row.code.parse())?,
            name: row.name,
            kind: decoded(row.kind.parse())?,
            count: row.count,
        };
        Ok((kit, row.version))
    })
    .fetch_optional(executor)
    .await
}

pub async fn insert(connection: &mut SqliteConnection, kit: &Kit) -> Result<(), sqlx::Error> {
    let (id, code, kind) = (Uuid::now_v7(), kit.code.as_str(), kit.kind.as_str());
    sqlx::query!(
        "insert into kit (id, code, name, kind, count) values (?, ?, ?, ?, ?)",
        id,
        code,
        kit.name,
        kind,
        kit.count,
    )
    .execute(connection)
    .await?;
    Ok(())
}

/// Sets name and count; its version goes up by one.
pub async fn update(connection: &mut SqliteConnection, kit: &Kit) -> Result<(), sqlx::Error> {
    let code = kit.code.as_str();
    sqlx::query!(
        "update kit set name = ?, count = ?, version = version + 1 where code = ?",
        kit.name,
        kit.count,
        code,
    )
    .execute(connection)
    .await?;
    Ok(())
}
