//! Parts: figures may be changed, and what then asks for less is said.

use std::collections::{BTreeMap, BTreeSet};

use mendpost_core::catalogue::{Part, Rules};
use mendpost_core::code::{AssetCode, PartCode};
use mendpost_core::situation::Asset;
use sqlx::SqliteConnection;
use uuid::Uuid;

use super::cell::Cell;
use super::comparison::{Entry, Listed, Reader, ToWrite};
use crate::catalogue::store::{insert_parts, update_parts};
use crate::change::Change;
use crate::error::AppError;
use crate::seed::part::{PARTS, part};
use crate::seed::row::{Row, codes};
use crate::seed::write::Ids;
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

pub async fn stored(connection: &mut SqliteConnection) -> Result<Vec<Part>, sqlx::Error> {
    situation::parts(connection).await
}

pub fn read(
    reader: &Reader<'_>,
    rows: Vec<Row>,
    stored: Vec<Part>,
    assets: Vec<Asset>,
    rules: &Rules,
) -> (Vec<Entry>, Vec<ToWrite<Part>>) {
    let _: BTreeSet<PartCode> = codes(&rows, "code", reader.faults);
    let stored: BTreeMap<String, Part> = stored
        .into_iter()
        .map(|part| (part.code.to_string(), part))
        .collect();
    let assets: BTreeSet<AssetCode> = assets.into_iter().map(|asset| asset.code).collect();
    let (mut entries, mut writes) = (Vec::new(), Vec::new());
    for row in rows {
        let line = row.line;
        let stands = row.given("code").and_then(|code| stored.get(code));
        let parse = |row: &Row| part(row, &assets, reader.faults);
        let Some((fate, said)) = reader.changeable(&PARTS, row, stands, parse) else {
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
            caution: stands.map_or_else(String::new, |stands| asks_less(stands, shown, rules)),
        });
        writes.extend(said.map(|value| ToWrite {
            is_new: stands.is_none(),
            value,
        }));
    }
    (entries, writes)
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

pub async fn write(change: &mut Change, parts: Vec<ToWrite<Part>>) -> Result<(), AppError> {
    let ids = Ids::stored(change.connection()).await?.parts;
    let (mut new, mut changed) = (Vec::new(), Vec::new());
    for ToWrite { is_new, value } in &parts {
        match ids.get(&value.code) {
            _ if *is_new => new.push((Uuid::now_v7(), value)),
            Some(id) => changed.push((*id, value)),
            None => return Err(AppError::internal(format!("part '{}' is gone", value.code))),
        }
    }
    insert_parts(change, &new).await?;
    update_parts(change, &changed).await
}
