//! Assets: a sheet lists and names them; down and up are reported on their own pages.

use std::collections::{BTreeMap, BTreeSet};

use mendpost_core::code::AssetCode;
use mendpost_core::situation::Asset;
use sqlx::SqliteConnection;

use super::cell::Cell;
use super::comparison::{Entry, Listed, Reader, ToWrite};
use crate::change::Change;
use crate::error::AppError;
use crate::need::queries;
use crate::seed::need::{ASSETS, asset};
use crate::seed::row::{Row, codes};
use crate::situation;

impl Listed for Asset {
    fn cell(&self, column: &str) -> Cell {
        match column {
            "code" => Cell::text(&self.code),
            "name" => Cell::text(&self.name),
            "down_from" => Cell::Moment(self.down_from),
            "back" => Cell::Moment(self.back),
            _ => Cell::text(""),
        }
    }
}

pub async fn stored(connection: &mut SqliteConnection) -> Result<Vec<Asset>, sqlx::Error> {
    situation::assets(connection).await
}

pub fn read(
    reader: &Reader<'_>,
    rows: Vec<Row>,
    stored: Vec<Asset>,
) -> (Vec<Entry>, Vec<ToWrite<Asset>>) {
    let _: BTreeSet<AssetCode> = codes(&rows, "code", reader.faults);
    let stored: BTreeMap<String, Asset> = stored
        .into_iter()
        .map(|asset| (asset.code.to_string(), asset))
        .collect();
    let (mut entries, mut writes) = (Vec::new(), Vec::new());
    for row in rows {
        let line = row.line;
        let stands = row.given("code").and_then(|code| stored.get(code));
        let parse = |row: &Row| match stands {
            Some(stands) => renamed(reader, row, stands),
            None => asset(row, &reader.calendar, reader.faults),
        };
        let Some((fate, said)) = reader.changeable(&ASSETS, row, stands, parse) else {
            continue;
        };
        let Some(shown) = said.as_ref().or(stands) else {
            continue;
        };
        entries.push(Entry {
            line,
            code: shown.code.to_string(),
            name: shown.name.clone(),
            fate,
            caution: String::new(),
        });
        writes.extend(said.map(|value| ToWrite {
            is_new: stands.is_none(),
            value,
        }));
    }
    (entries, writes)
}

/// A listed asset with the name that a row gives. Times that are given must be those that stand; none
/// given says nothing of them.
fn renamed(reader: &Reader<'_>, row: &Row, stands: &Asset) -> Option<Asset> {
    let name = row.text(reader.faults, "name", 80);
    let mut holds = true;
    for column in ["down_from", "back"] {
        let said = stands.cell(column).is_said(row, column, &reader.calendar);
        if row.given(column).is_some() && !said {
            let what = format!(
                "{} is listed already, and its times are not changed by a sheet; report it down or up on its own page, and leave this empty",
                stands.code
            );
            row.fault(reader.faults, column, what);
            holds = false;
        }
    }
    holds.then_some(Asset {
        name: name?,
        ..stands.clone()
    })
}

pub async fn write(change: &mut Change, assets: Vec<ToWrite<Asset>>) -> Result<(), AppError> {
    for ToWrite { is_new, value } in assets {
        if is_new {
            queries::insert_asset(change.connection(), &value).await?;
            continue;
        }
        let stands = queries::asset(change.connection(), value.code.as_str()).await?;
        if let Some(mut stands) = stands {
            stands.name = value.name;
            queries::update_asset(change.connection(), &stands).await?;
        }
    }
    Ok(())
}
