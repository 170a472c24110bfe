//! Parts: figures may be changed, and what then asks for less is said.

use std::collections::{BTreeMap, BTreeSet};

use mendpost_core::catalogue::{Part, Rules};
use mendpost_core::code::{AssetCode, PartCode};
use mendpost_core::journal::Subject;
use serde_json::json;
use sqlx::SqliteConnection;
use uuid::Uuid;

use super::cell::Cell;
use super::comparison::{Entry, Listed, Reader, Standing, ToWrite};
use super::items::Items;
use crate::catalogue::store::{insert_parts, said, update_parts};
use crate::change::Change;
use crate::error::AppError;
use crate::need::item::Thing;
use crate::seed::part::{PARTS, part};
use crate::seed::row::{Row, codes};
use crate::situation;
use crate::words::authority::lost;

impl Listed for Part {
    fn cell(&self, column: &str) -> Cell {
        let [x, y, z] = self.envelope_mm;
        match column {
            "code" => Cell::text(&self.code),
            "name" => Cell::text(&self.name),
            "x_mm" => Cell::whole(x),
            "y_mm" => Cell::whole(y),
            "z_mm" => Cell::whole(z),
            "mass_g" => Cell::whole(self.mass_g),
            "flags" => Cell::set(&self.flags),
            "assets" => Cell::set(&self.assets),
            "allowance_mm" => Cell::Number {
                value: self.allowance_um,
                places: 3,
            },
            _ => Cell::text(""),
        }
    }
}

/// As they are taken out: with the assets in use, as the sheet of assets has only these.
pub async fn stored(connection: &mut SqliteConnection) -> Result<Vec<Part>, AppError> {
    let retired = Items::load(Thing::Asset, &mut *connection).await?.retired();
    let mut parts = situation::parts(connection).await?;
    for part in &mut parts {
        part.assets.retain(|asset| !retired.contains(asset));
    }
    Ok(parts)
}

/// What rows are held against.
pub struct Book {
    stored: Vec<Standing<Part>>,
    /// In use or not: which machine a part fits says nothing of that.
    assets: BTreeSet<AssetCode>,
    retired: BTreeSet<AssetCode>,
    rules: Rules,
}

impl Book {
    pub async fn load(connection: &mut SqliteConnection) -> Result<Book, sqlx::Error> {
        let rows = sqlx::query!(r#"select id as "id: Uuid", version, code from part"#)
            .map(|row| (row.code, (row.id, row.version)))
            .fetch_all(&mut *connection)
            .await?;
        let rows: BTreeMap<String, (Uuid, i64)> = rows.into_iter().collect();
        let standing = |value: Part| {
            let (id, version) = *rows.get(value.code.as_str())?;
            Some(Standing { id, version, value })
        };
        let stored = situation::parts(&mut *connection).await?;
        let assets = Items::load(Thing::Asset, &mut *connection).await?;
        Ok(Book {
            stored: stored.into_iter().filter_map(standing).collect(),
            assets: assets.ids().into_keys().collect(),
            retired: assets.retired(),
            rules: situation::rules(connection).await?,
        })
    }
}

pub fn read(reader: &Reader<'_>, rows: Vec<Row>, book: Book) -> (Vec<Entry>, Vec<ToWrite<Part>>) {
    let _: BTreeSet<PartCode> = codes(&rows, "code", reader.faults);
    let Book {
        stored,
        assets,
        retired,
        rules,
    } = book;
    let parse = |row: &Row, stands: Option<&Part>| {
        let mut part = part(row, &assets, reader.faults)?;
        if let Some(stands) = stands {
            part.retired = stands.retired;
            // What it fits and is out of use is not in the sheet, and may be brought back.
            let fits = stands.assets.intersection(&retired);
            part.assets.extend(fits.cloned());
        }
        Some(part)
    };
    let caution = |stands: &Part, said: &Part| asks_less(stands, said, &rules);
    reader.entries(&PARTS, rows, stored, parse, caution)
}

/// What may not be asked for any more once a part has lost a flag; empty if it lost none.
fn asks_less(before: &Part, after: &Part, rules: &Rules) -> String {
    let Some(lost) = lost(rules, &before.flags, &after.flags) else {
        return String::new();
    };
    let flags = lost.flags.join(", ");
    match lost.same {
        true => format!("Is no longer marked: {flags}. As before: {}.", lost.now),
        false => format!(
            "Is no longer marked: {flags}. Until now: {}. From now on: {}.",
            lost.was, lost.now
        ),
    }
}

/// Writes parts; each that changes has its entry in the journal beside the sheet's. The reason stands in
/// the entries of those that ask for less.
pub async fn write(
    change: &mut Change,
    parts: Vec<ToWrite<Part>>,
    sheet: i64,
    reason: &str,
) -> Result<(), AppError> {
    let (mut new, mut changed, mut entries) = (Vec::new(), Vec::new(), Vec::new());
    for part in &parts {
        let after = &part.value;
        let Some(stands) = &part.stands else {
            new.push((Uuid::now_v7(), after));
            continue;
        };
        changed.push((stands.id, after));
        let content = json!({
            "version": stands.version + 1,
            "before": said(&stands.value, stands.version),
            "after": said(after, stands.version + 1),
            "reason": if part.is_cautioned { reason } else { "" },
            "sheet": sheet,
        });
        entries.push(("part.changed", Subject::new("part", &after.code), content));
    }
    insert_parts(change, &new).await?;
    update_parts(change, &changed).await?;
    change.journal_all(entries).await
}
