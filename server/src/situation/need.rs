use std::collections::BTreeMap;

use mendpost_core::code::AssetCode;
use mendpost_core::situation::{Asset, Capability, LossRange};
use sqlx::SqliteConnection;
use uuid::Uuid;

use super::{Codes, at, at_if, code, word};

/// Those in use.
pub(crate) async fn assets(connection: &mut SqliteConnection) -> Result<Vec<Asset>, sqlx::Error> {
    sqlx::query!(
        "select code, name, down_from_ms, back_ms from asset where retired_reason is null order by code"
    )
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

/// Those in use.
pub(super) async fn capabilities(
    connection: &mut SqliteConnection,
    codes: &Codes,
) -> Result<Vec<Capability>, sqlx::Error> {
    let mut assets: BTreeMap<Uuid, Vec<AssetCode>> = BTreeMap::new();
    let members = sqlx::query!(
        r#"select capability_id as "capability_id: Uuid", asset_id as "asset_id: Uuid"
           from need_asset a
           where version = (select max(version) from need n where n.capability_id = a.capability_id)
           order by capability_id, position"#
    )
    .fetch_all(&mut *connection)
    .await?;
    for member in members {
        assets
            .entry(member.capability_id)
            .or_default()
            .push(code(&codes.assets, member.asset_id)?);
    }
    let mut rates = rates(connection).await?;
    sqlx::query!(
        r#"select c.id as "id: Uuid", c.code, c.name, n.must_run, n.said_by, n.said_ms
           from capability c
           join need n on n.capability_id = c.id
           where c.retired_reason is null
             and n.version = (select max(version) from need where capability_id = c.id)
           order by c.rowid"#
    )
    .fetch_all(connection)
    .await?
    .into_iter()
    .map(|row| {
        let rates = rates.remove(&row.id).unwrap_or_default();
        Ok(Capability {
            code: word(&row.code)?,
            name: row.name,
            assets: assets.remove(&row.id).unwrap_or_default(),
            must_run: row.must_run,
            loss_per_hour: rates.likely,
            loss_range: rates.range,
            said_by: row.said_by,
            said_at: at(row.said_ms)?,
        })
    })
    .collect()
}

/// The loss rates of a capability, for none, one, two ... down.
#[derive(Default)]
struct Rates {
    likely: Vec<i64>,
    range: Option<LossRange>,
}

async fn rates(connection: &mut SqliteConnection) -> Result<BTreeMap<Uuid, Rates>, sqlx::Error> {
    let rows = sqlx::query!(
        r#"select capability_id as "capability_id: Uuid", likely_per_hour, low_per_hour, high_per_hour
           from need_loss l
           where version = (select max(version) from need n where n.capability_id = l.capability_id)
           order by capability_id, down"#
    )
    .fetch_all(connection)
    .await?;
    let mut all: BTreeMap<Uuid, Rates> = BTreeMap::new();
    for row in rows {
        let rates = all.entry(row.capability_id).or_default();
        rates.likely.push(row.likely_per_hour);
        if let Some((low, high)) = row.low_per_hour.zip(row.high_per_hour) {
            let none = || LossRange {
                low: Vec::new(),
                high: Vec::new(),
            };
            let range = rates.range.get_or_insert_with(none);
            range.low.push(low);
            range.high.push(high);
        }
    }
    Ok(all)
}
