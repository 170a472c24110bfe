//! Capabilities: changed figures are a new version of what was said.

use std::collections::{BTreeMap, BTreeSet};

use mendpost_core::code::{AssetCode, CapabilityCode};
use mendpost_core::situation::{Asset, Capability, Figure};
use sqlx::SqliteConnection;
use uuid::Uuid;

use super::cell::Cell;
use super::comparison::{Entry, Fate, Listed, Reader, ToWrite};
use crate::change::Change;
use crate::error::AppError;
use crate::need::queries::{self, Said};
use crate::seed::need::{CAPABILITIES, capability};
use crate::seed::row::{Row, codes};
use crate::situation;

impl Listed for Capability {
    fn cell(&self, column: &str) -> Cell {
        let rates = |figure| Cell::list(self.rates(figure).unwrap_or_default());
        match column {
            "code" => Cell::text(&self.code),
            "name" => Cell::text(&self.name),
            "assets" => Cell::list(&self.assets),
            "must_run" => Cell::whole(self.must_run),
            "loss_per_hour" => rates(Figure::Likely),
            "loss_low" => rates(Figure::Low),
            "loss_high" => rates(Figure::High),
            "said_by" => Cell::text(&self.said_by),
            "said_at" => Cell::Moment(Some(self.said_at)),
            _ => Cell::text(""),
        }
    }
}

pub async fn stored(connection: &mut SqliteConnection) -> Result<Vec<Capability>, sqlx::Error> {
    situation::capabilities(connection).await
}

pub fn read(
    reader: &Reader<'_>,
    rows: Vec<Row>,
    stored: Vec<Capability>,
    assets: Vec<Asset>,
) -> (Vec<Entry>, Vec<ToWrite<Capability>>) {
    let _: BTreeSet<CapabilityCode> = codes(&rows, "code", reader.faults);
    let assets: BTreeSet<AssetCode> = assets.into_iter().map(|asset| asset.code).collect();
    let stored: BTreeMap<String, Capability> = stored
        .into_iter()
        .map(|capability| (capability.code.to_string(), capability))
        .collect();
    let (mut entries, mut writes) = (Vec::new(), Vec::new());
    for row in rows {
        let line = row.line;
        let stands = row.given("code").and_then(|code| stored.get(code));
        let parse = |row: &Row| {
            let said = capability(row, &assets, &reader.calendar, reader.faults)?;
            if let Some(stands) = stands {
                said_anew(reader, row, stands, &said);
            }
            Some(said)
        };
        let Some((fate, said)) = reader.changeable(&CAPABILITIES, row, stands, parse) else {
            continue;
        };
        let Some(shown) = said.as_ref().or(stands) else {
            continue;
        };
        entries.push(Entry {
            line,
            code: shown.code.to_string(),
            name: shown.name.clone(),
            fate: fate.clone(),
            caution: String::new(),
        });
        writes.extend(said.map(|value| ToWrite {
            is_new: fate == Fate::New,
            value,
        }));
    }
    (entries, writes)
}

/// Notes figures that changed without somebody having said so since.
fn said_anew(reader: &Reader<'_>, row: &Row, stands: &Capability, said: &Capability) {
    let figures = |c: &Capability| {
        let range = c.loss_range.clone();
        (c.assets.clone(), c.must_run, c.loss_per_hour.clone(), range)
    };
    if figures(stands) != figures(said) && said.said_at <= stands.said_at {
        let what = "the figures change, and this is not after the old ones were said; give who said the new ones and when";
        row.fault(reader.faults, "said_at", what);
    }
}

pub async fn write(
    change: &mut Change,
    by: &str,
    capabilities: Vec<ToWrite<Capability>>,
) -> Result<(), AppError> {
    let ids: BTreeMap<String, Uuid> = queries::asset_ids(change.connection())
        .await?
        .into_iter()
        .map(|(id, code)| (code, id))
        .collect();
    let stood = stored(change.connection()).await?;
    for ToWrite { is_new, value } in capabilities {
        let (id, version) = match is_new {
            true => (queries::insert_capability(change, &value).await?, 1),
            false => renamed(change, &value).await?,
        };
        let only_named = |stood: &Capability| {
            let name = value.name.clone();
            Capability {
                name,
                ..stood.clone()
            } == value
        };
        if stood.iter().any(only_named) {
            continue;
        }
        let assets: Vec<Uuid> = value
            .assets
            .iter()
            .filter_map(|asset| ids.get(asset.as_str()).copied())
            .collect();
        let said = Said {
            capability: id,
            version,
            assets: &assets,
            entered_by: by,
        };
        queries::say(change, &said, &value).await?;
    }
    Ok(())
}

/// A listed capability under the name that was given; its id, and the version that comes next.
async fn renamed(change: &mut Change, capability: &Capability) -> Result<(Uuid, i64), AppError> {
    let code = capability.code.as_str();
    let found = queries::capability(change.connection(), code).await?;
    let (id, version) = found.ok_or_else(|| AppError::internal(format!("'{code}' is gone")))?;
    sqlx::query!(
        "update capability set name = ? where id = ?",
        capability.name,
        id
    )
    .execute(change.connection())
    .await?;
    Ok((id, version + 1))
}
