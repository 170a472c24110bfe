use std::collections::BTreeMap;

use mendpost_core::code::AssetCode;
use mendpost_core::situation::{Asset, Capability};
use sqlx::SqliteConnection;
use uuid::Uuid;

use super::{Codes, at, at_if, code, word};

pub(super) async fn assets(connection: &mut SqliteConnection) -> Result<Vec<Asset>, sqlx::Error> {
    sqlx::query!("select code, name, down_from_ms, back_ms from asset order by code")
        .fetch_all(connection)
        .await?
        .into_iter()
        .map(|row| {
            Ok(Asset {
                code: word(&row.code)?,
                name: row.name,
                down_from: at_if(row.down_from_ms)?,
                back: at_if(row.back_ms)?,
            })
        })
        .collect()
}

pub(super) async fn capabilities(
    connection: &mut SqliteConnection,
    codes: &Codes,
) -> Result<Vec<Capability>, sqlx::Error> {
    let mut assets: BTreeMap<Uuid, Vec<AssetCode>> = BTreeMap::new();
    let members = sqlx::query!(
        r#"select capability_id as "capability_id: Uuid", asset_id as "asset_id: Uuid"
           from capability_asset order by capability_id, position"#
    )
    .fetch_all(&mut *connection)
    .await?;
    for member in members {
        assets
            .entry(member.capability_id)
            .or_default()
            .push(code(&codes.assets, member.asset_id)?);
    }
    let mut losses: BTreeMap<Uuid, Vec<i64>> = BTreeMap::new();
    let rates = sqlx::query!(
        r#"select capability_id as "capability_id: Uuid", loss_per_hour from capability_loss order by capability_id, down"#
    )
    .fetch_all(&mut *connection)
    .await?;
    for rate in rates {
        losses
            .entry(rate.capability_id)
            .or_default()
            .push(rate.loss_per_hour);
    }
    sqlx::query!(r#"select id as "id: Uuid", code, name, must_run, said_by, said_ms from capability order by rowid"#)
        .fetch_all(connection)
        .await?
        .into_iter()
        .map(|row| {
            Ok(Capability {
                code: word(&row.code)?,
                name: row.name,
                assets: assets.remove(&row.id).unwrap_or_default(),
                must_run: row.must_run,
                loss_per_hour: losses.remove(&row.id).unwrap_or_default(),
                said_by: row.said_by,
                said_at: at(row.said_ms)?,
            })
        })
        .collect()
}
