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
