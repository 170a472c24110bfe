use mendpost_core::situation::{Asset, Capability, LossRange};
use serde_json::{Value, json};
use sqlx::{SqliteConnection, SqliteExecutor};
use uuid::Uuid;

use super::item::{Item, Thing};
use crate::change::Change;
use crate::db::decoded;

/// An asset as an act finds it.
#[derive(Debug, Clone)]
pub struct AssetRow {
    pub id: Uuid,
    pub code: String,
    pub name: String,
    pub down_from_ms: Option<i64>,
    pub back_ms: Option<i64>,
    pub version: i64,
}

pub async fn asset(
    executor: impl SqliteExecutor<'_>,
    code: &str,
) -> Result<Option<AssetRow>, sqlx::Error> {
    sqlx::query_as!(
        AssetRow,
        r#"select id as "id: Uuid", code, name, down_from_ms, back_ms, version
           from asset where code = ?"#,
        code
    )
    .fetch_optional(executor)
    .await
}

/// Id and code of every asset, by code.
pub async fn asset_ids(
    executor: impl SqliteExecutor<'_>,
) -> Result<Vec<(Uuid, String)>, sqlx::Error> {
    sqlx::query!(r#"select id as "id: Uuid", code from asset order by code"#)
        .map(|row| (row.id, row.code))
        .fetch_all(executor)
        .await
}

/// Lists an asset; its id.
pub async fn insert_asset(
    connection: &mut SqliteConnection,
    asset: &Asset,
) -> Result<Uuid, sqlx::Error> {
    let id = Uuid::now_v7();
    let code = asset.code.as_str();
    let down_from = asset.down_from.map(|t| t.timestamp_millis());
    let back = asset.back.map(|t| t.timestamp_millis());
    sqlx::query!(
        "insert into asset (id, code, name, down_from_ms, back_ms) values (?, ?, ?, ?, ?)",
        id,
        code,
        asset.name,
        down_from,
        back,
    )
    .execute(connection)
    .await?;
    Ok(id)
}

/// Writes what an act changes of an asset, and raises its version.
pub async fn update_asset(
    connection: &mut SqliteConnection,
    asset: &AssetRow,
) -> Result<(), sqlx::Error> {
    sqlx::query!(
        "update asset set name = ?, down_from_ms = ?, back_ms = ?, version = version + 1 where id = ?",
        asset.name,
        asset.down_from_ms,
        asset.back_ms,
        asset.id,
    )
    .execute(connection)
    .await?;
    Ok(())
}

pub(super) async fn item(
    executor: impl SqliteExecutor<'_>,
    thing: Thing,
    code: &str,
) -> Result<Option<Item>, sqlx::Error> {
    Ok(items(executor, thing, Some(code)).await?.pop())
}

/// Every asset or capability, in use or not, by code; only the one of a code where that is given.
pub(crate) async fn items(
    executor: impl SqliteExecutor<'_>,
    thing: Thing,
    code: Option<&str>,
) -> Result<Vec<Item>, sqlx::Error> {
    let word = thing.word();
    sqlx::query!(
        r#"select id as "id!: Uuid", code as "code!: String", name as "name!: String",
             version as "version!: i64", retired_reason as "retired_reason?: String"
           from (select 'asset' as thing, id, code, name, version, retired_reason from asset
                 union all select 'capability', id, code, name, version, retired_reason from capability)
           where thing = ?1 and (?2 is null or code = ?2)
           order by code"#,
        word,
        code
    )
    .map(|row| Item {
        thing,
        id: row.id,
        code: row.code,
        name: row.name,
        version: row.version,
        retired_reason: row.retired_reason,
    })
    .fetch_all(executor)
    .await
}

/// Gives an item the name that it has now; its version goes up by one.
pub async fn set_name(
    change: &mut Change,
    (thing, id): (Thing, Uuid),
    name: &str,
) -> Result<(), sqlx::Error> {
    let update = match thing {
        Thing::Asset => sqlx::query!(
            "update asset set name = ?, version = version + 1 where id = ?",
            name,
            id
        ),
        Thing::Capability => sqlx::query!(
            "update capability set name = ?, version = version + 1 where id = ?",
            name,
            id
        ),
    };
    update.execute(change.connection()).await?;
    Ok(())
}

/// Takes an item out of use, or back without a reason; its version goes up by one.
pub(super) async fn set_retired(
    change: &mut Change,
    item: &Item,
    reason: Option<&str>,
) -> Result<(), sqlx::Error> {
    let update = match item.thing {
        Thing::Asset => sqlx::query!(
            "update asset set retired_reason = ?, version = version + 1 where id = ?",
            reason,
            item.id
        ),
        Thing::Capability => sqlx::query!(
            "update capability set retired_reason = ?, version = version + 1 where id = ?",
            reason,
            item.id
        ),
    };
    update.execute(change.connection()).await?;
    Ok(())
}

/// Why an asset is retired; none if it is in use.
pub async fn retired_reason(
    executor: impl SqliteExecutor<'_>,
    code: &str,
) -> Result<Option<String>, sqlx::Error> {
    sqlx::query_scalar!("select retired_reason from asset where code = ?", code)
        .fetch_one(executor)
        .await
}

/// The numbers of interim parts that are in an asset now.
pub(super) async fn interim_in(
    executor: impl SqliteExecutor<'_>,
    asset: Uuid,
) -> Result<Vec<i64>, sqlx::Error> {
    sqlx::query_scalar!(
        "select number from interim_part
         where asset_id = ? and id not in (select interim_id from interim_off)
         order by number",
        asset
    )
    .fetch_all(executor)
    .await
}

/// The retired assets, by code, that a capability's newest version names.
pub(super) async fn retired_within(
    executor: impl SqliteExecutor<'_>,
    capability: Uuid,
) -> Result<Vec<(String, String)>, sqlx::Error> {
    sqlx::query!(
        "select a.code, a.name from need_asset n join asset a on a.id = n.asset_id
         where n.capability_id = ?1 and a.retired_reason is not null
           and n.version = (select max(version) from need where capability_id = ?1)
         order by n.position",
        capability
    )
    .map(|row| (row.code, row.name))
    .fetch_all(executor)
    .await
}

/// Writes a capability of which nothing is said yet; its id.
pub async fn insert_capability(
    change: &mut Change,
    capability: &Capability,
) -> Result<Uuid, sqlx::Error> {
    let id = Uuid::now_v7();
    let code = capability.code.as_str();
    sqlx::query!(
        "insert into capability (id, code, name) values (?, ?, ?)",
        id,
        code,
        capability.name
    )
    .execute(change.connection())
    .await?;
    Ok(id)
}

/// What goes with a capability into its newest version.
pub struct Said<'a> {
    pub capability: Uuid,
    /// The capability's, after this act.
    pub version: i64,
    /// Ids of its assets, in order.
    pub assets: &'a [Uuid],
    /// Who types it in; empty for the site's files.
    pub entered_by: &'a str,
}

/// Writes what is said of a capability now, as the version that the capability then has.
pub async fn say(
    change: &mut Change,
    said: &Said<'_>,
    capability: &Capability,
) -> Result<(), sqlx::Error> {
    let now = change.now();
    let said_ms = capability.said_at.timestamp_millis();
    sqlx::query!(
        "insert into need (capability_id, version, must_run, said_by, said_ms, entered_by, entered_ms)
         values (?, ?, ?, ?, ?, ?, ?)",
        said.capability,
        said.version,
        capability.must_run,
        capability.said_by,
        said_ms,
        said.entered_by,
        now,
    )
    .execute(change.connection())
    .await?;
    sqlx::query!(
        "update capability set version = ? where id = ?",
        said.version,
        said.capability
    )
    .execute(change.connection())
    .await?;
    for (position, asset) in (1_i64..).zip(said.assets) {
        sqlx::query!(
            "insert into need_asset (capability_id, version, position, asset_id) values (?, ?, ?, ?)",
            said.capability,
            said.version,
            position,
            asset,
        )
        .execute(change.connection())
        .await?;
    }
    let range = capability.loss_range.as_ref();
    for (row, (down, likely)) in (0_i64..).zip(&capability.loss_per_hour).enumerate() {
        let low = range.and_then(|range| range.low.get(row));
        let high = range.and_then(|range| range.high.get(row));
        sqlx::query!(
            "insert into need_loss
               (capability_id, version, down, likely_per_hour, low_per_hour, high_per_hour)
             values (?, ?, ?, ?, ?, ?)",
            said.capability,
            said.version,
            down,
            likely,
            low,
            high,
        )
        .execute(change.connection())
        .await?;
    }
    Ok(())
}

/// What the journal keeps of it.
pub fn content(capability: &Capability, version: i64) -> Value {
    let range = capability.loss_range.as_ref();
    json!({
        "version": version,
        "name": capability.name,
        "assets": capability.assets,
        "must_run": capability.must_run,
        "loss_per_hour": capability.loss_per_hour,
        "loss_low": range.map(|range| &range.low),
        "loss_high": range.map(|range| &range.high),
        "said_by": capability.said_by,
        "said_ms": capability.said_at.timestamp_millis(),
    })
}

/// One version of what a capability needs.
pub(super) struct Version {
    pub must_run: i64,
    pub assets: Vec<String>,
    pub likely: Vec<i64>,
    pub range: Option<LossRange>,
    pub said_by: String,
    pub said_ms: i64,
    pub entered_by: String,
    pub entered_ms: i64,
}

/// The likely, low and high loss rate with so many down.
type Rates = (i64, Option<i64>, Option<i64>);

/// Every version of what a capability needs, the newest first.
pub(super) async fn versions(
    executor: impl SqliteExecutor<'_>,
    code: &str,
) -> Result<Vec<Version>, sqlx::Error> {
    sqlx::query!(
        r#"select n.must_run, n.said_by, n.said_ms, n.entered_by, n.entered_ms,
             (select json_group_array(code) from (
                select a.code from need_asset na join asset a on a.id = na.asset_id
                where na.capability_id = n.capability_id and na.version = n.version
                order by na.position)) as "assets!: String",
             (select json_group_array(json_array(likely_per_hour, low_per_hour, high_per_hour)) from (
                select * from need_loss l
                where l.capability_id = n.capability_id and l.version = n.version
                order by l.down)) as "losses!: String"
           from need n
           join capability c on c.id = n.capability_id
           where c.code = ?
           order by n.version desc"#,
        code
    )
    .try_map(|row| {
        let assets: Vec<String> = decoded(serde_json::from_str(&row.assets))?;
        let losses: Vec<Rates> = decoded(serde_json::from_str(&row.losses))?;
        let end = |of: fn(&Rates) -> Option<i64>| {
            losses.iter().map(of).collect::<Option<Vec<i64>>>()
        };
        Ok(Version {
            must_run: row.must_run,
            assets,
            likely: losses.iter().map(|(likely, ..)| *likely).collect(),
            range: end(|l| l.1).zip(end(|l| l.2)).map(|(low, high)| LossRange { low, high }),
            said_by: row.said_by,
            said_ms: row.said_ms,
            entered_by: row.entered_by,
            entered_ms: row.entered_ms,
        })
    })
    .fetch_all(executor)
    .await
}
