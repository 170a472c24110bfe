use sqlx::{SqliteConnection, SqliteExecutor};

use super::Site;
use crate::db::decoded;

/// The site, or none before it was founded.
pub async fn site(executor: impl SqliteExecutor<'_>) -> Result<Option<Site>, sqlx::Error> {
    sqlx::query!(
        r#"select name, cell_name, zone, altitude_m, demonstration as "demonstration: bool" from site"#
    )
    .try_map(|row| {
        Ok(Site {
            name: row.name,
            cell_name: row.cell_name,
            zone: decoded(row.zone.parse())?,
            altitude_m: row.altitude_m,
            demonstration: row.demonstration,
        })
    })
    .fetch_optional(executor)
    .await
}

/// The site, and the version that a form of it carries.
pub(super) async fn site_with_version(
    executor: impl SqliteExecutor<'_>,
) -> Result<(Site, i64), sqlx::Error> {
    sqlx::query!(
        r#"select name, cell_name, zone, altitude_m, demonstration as "demonstration: bool", version
           from site"#
    )
    .try_map(|row| {
        let site = Site {
            name: row.name,
            cell_name: row.cell_name,
            zone: decoded(row.zone.parse())?,
            altitude_m: row.altitude_m,
            demonstration: row.demonstration,
        };
        Ok((site, row.version))
    })
    .fetch_one(executor)
    .await
}

/// Writes the facts that a form edits, and raises the version.
pub(super) async fn update(
    connection: &mut SqliteConnection,
    site: &Site,
) -> Result<(), sqlx::Error> {
    let zone = site.zone.name();
    sqlx::query!(
        "update site set name = ?, cell_name = ?, zone = ?, altitude_m = ?, version = version + 1",
        site.name,
        site.cell_name,
        zone,
        site.altitude_m,
    )
    .execute(connection)
    .await?;
    Ok(())
}

pub(super) async fn insert(
    connection: &mut SqliteConnection,
    site: &Site,
) -> Result<(), sqlx::Error> {
    let zone = site.zone.name();
    sqlx::query!(
        "insert into site (id, name, cell_name, zone, altitude_m, demonstration)
         values (1, ?, ?, ?, ?, ?)",
        site.name,
        site.cell_name,
        zone,
        site.altitude_m,
        site.demonstration,
    )
    .execute(connection)
    .await?;
    Ok(())
}
