//! Writes a site into an empty database: everything in the change that is given, each thing with its
//! entry in the journal.

pub(crate) mod catalogue;
mod cell;
mod need;
pub mod powder;
mod request;
mod resupply;
mod supply;

use super::SiteData;
use crate::change::Change;
use crate::db::decoded;
use crate::error::AppError;
use crate::{people, site, tools};
use mendpost_core::code::{
    AssetCode, BankCode, DeliveryCode, MetalCode, PartCode, PowderCode, StationCode,
};
use sqlx::SqliteConnection;
use std::collections::BTreeMap;
use std::fmt::Display;
use uuid::Uuid;

/// Writes the site. The change is the caller's to commit: dropped, nothing was written.
///
/// # Errors
/// [`AppError::Database`] where the database holds a site already.
pub async fn write(
    change: &mut Change,
    data: &SiteData,
    demonstration: bool,
) -> Result<(), AppError> {
    let founded = site::Site {
        name: data.site.name.clone(),
        cell_name: data.cell.name.clone(),
        zone: data.site.zone,
        altitude_m: data.site.altitude_m,
        demonstration,
    };
    site::found(change, &founded).await?;
    for person in &data.people {
        people::add(change, &person.name, person.role, None).await?;
    }
    let mut ids = Ids::default();
    powder::powders(change, data, &mut ids).await?;
    cell::cell(change, data, &mut ids).await?;
    supply::supply(change, data, &mut ids).await?;
    powder::lots(change, data, &ids).await?;
    supply::deliveries(change, data, &mut ids).await?;
    need::assets(change, data, &mut ids).await?;
    need::capabilities(change, data, &ids).await?;
    catalogue::metals(change, data, &mut ids).await?;
    catalogue::kit(change, data).await?;
    for tool in &data.tools {
        let calibrated = tool.calibrations.iter();
        for calibration in calibrated {
            tools::list(change, tool, calibration, "the site’s files").await?;
        }
    }
    catalogue::parts(change, data, &mut ids).await?;
    catalogue::shapes(change, data).await?;
    catalogue::recipes(change, data).await?;
    catalogue::weighed(change, data).await?;
    request::requests(change, data, &ids).await?;
    request::interims(change, data).await?;
    for keep_back in &data.keep_backs {
        crate::keep_back::record(change, keep_back).await?;
    }
    resupply::resupply(change, data, &ids).await
}

/// The ids of the rows written, by code.
#[derive(Default)]
pub(crate) struct Ids {
    pub(crate) powders: BTreeMap<PowderCode, Uuid>,
    pub(crate) stations: BTreeMap<StationCode, Uuid>,
    banks: BTreeMap<BankCode, Uuid>,
    deliveries: BTreeMap<DeliveryCode, Uuid>,
    assets: BTreeMap<AssetCode, Uuid>,
    pub(crate) parts: BTreeMap<PartCode, Uuid>,
    pub(crate) metals: BTreeMap<MetalCode, Uuid>,
}

impl Ids {
    /// Those that a lot or a recipe names, of the rows that are there.
    pub(crate) async fn stored(connection: &mut SqliteConnection) -> Result<Ids, sqlx::Error> {
        let rows = sqlx::query!(
            r#"select 'powder' as "kind!: String", id as "id!: Uuid", code as "code!: String" from powder
               union all select 'station', id, code from station
               union all select 'part', id, code from part
               union all select 'metal', id, code from metal"#
        )
        .fetch_all(connection)
        .await?;
        let mut ids = Ids::default();
        for row in rows {
            let (id, code) = (row.id, row.code.as_str());
            match row.kind.as_str() {
                "powder" => drop(ids.powders.insert(decoded(code.parse())?, id)),
                "station" => drop(ids.stations.insert(decoded(code.parse())?, id)),
                "part" => drop(ids.parts.insert(decoded(code.parse())?, id)),
                _ => drop(ids.metals.insert(decoded(code.parse())?, id)),
            }
        }
        Ok(ids)
    }
}

/// The id of a code that reading has found to be listed.
fn id_of<C: Ord + Display>(ids: &BTreeMap<C, Uuid>, code: &C) -> Result<Uuid, AppError> {
    let missing = || AppError::internal(format!("'{code}' was read but not written"));
    ids.get(code).copied().ok_or_else(missing)
}

fn optional_id<C: Ord + Display>(
    ids: &BTreeMap<C, Uuid>,
    code: Option<&C>,
) -> Result<Option<Uuid>, AppError> {
    code.map(|code| id_of(ids, code)).transpose()
}
