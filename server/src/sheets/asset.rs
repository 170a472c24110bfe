//! Assets: a sheet lists and names them; down and up are reported on their own pages.

use std::collections::BTreeSet;

use mendpost_core::code::AssetCode;
use mendpost_core::journal::Subject;
use mendpost_core::situation::Asset;
use serde_json::json;
use sqlx::SqliteConnection;

use super::cell::Cell;
use super::comparison::{Entry, Listed, Reader, Standing, ToWrite};
use super::items::Items;
use crate::change::Change;
use crate::error::AppError;
use crate::need::item::Thing;
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

/// Those in use.
pub async fn stored(connection: &mut SqliteConnection) -> Result<Vec<Asset>, sqlx::Error> {
    situation::assets(connection).await
}

/// What rows are held against.
pub struct Book {
    stored: Vec<Standing<Asset>>,
    items: Items,
}

impl Book {
    pub async fn load(connection: &mut SqliteConnection) -> Result<Book, sqlx::Error> {
        let items = Items::load(Thing::Asset, connection).await?;
        let stored = stored(connection).await?;
        Ok(Book {
            stored: items.standing(stored, |asset| asset.code.as_str()),
            items,
        })
    }
}

pub fn read(reader: &Reader<'_>, rows: Vec<Row>, book: Book) -> (Vec<Entry>, Vec<ToWrite<Asset>>) {
    let _: BTreeSet<AssetCode> = codes(&rows, "code", reader.faults);
    let Book { stored, items } = book;
    let parse = |row: &Row, stands: Option<&Asset>| match stands {
        Some(stands) => renamed(reader, row, stands),
        None if !items.are_in_use(reader, row, "code") => None,
        None => asset(row, &reader.calendar, reader.faults),
    };
    reader.entries(&ASSETS, rows, stored, parse, |_, _| String::new())
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

/// Writes assets; each that is named anew has its entry in the journal beside the sheet's.
pub async fn write(
    change: &mut Change,
    assets: Vec<ToWrite<Asset>>,
    sheet: i64,
) -> Result<(), AppError> {
    let mut entries = Vec::new();
    for ToWrite { stands, value, .. } in assets {
        let Some(stands) = stands else {
            queries::insert_asset(change.connection(), &value).await?;
            continue;
        };
        queries::set_name(change, (Thing::Asset, stands.id), &value.name).await?;
        let content = json!({
            "version": stands.version + 1,
            "before": stands.value.name,
            "name": value.name,
            "sheet": sheet,
        });
        entries.push(("asset.named", Subject::new("asset", &value.code), content));
    }
    change.journal_all(entries).await
}
