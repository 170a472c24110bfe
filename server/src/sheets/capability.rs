//! Capabilities: changed figures are a new version of what was said.

use std::collections::{BTreeMap, BTreeSet};

use mendpost_core::code::{AssetCode, CapabilityCode};
use mendpost_core::journal::Subject;
use mendpost_core::situation::{Capability, Figure};
use serde_json::json;
use sqlx::SqliteConnection;
use uuid::Uuid;

use super::cell::Cell;
use super::comparison::{Entry, Listed, Reader, Standing, ToWrite};
use super::items::Items;
use crate::change::Change;
use crate::error::AppError;
use crate::need::item::Thing;
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

/// Those in use.
pub async fn stored(connection: &mut SqliteConnection) -> Result<Vec<Capability>, sqlx::Error> {
    situation::capabilities(connection).await
}

/// What rows are held against.
pub struct Book {
    stored: Vec<Standing<Capability>>,
    items: Items,
    assets: Items,
}

impl Book {
    pub async fn load(connection: &mut SqliteConnection) -> Result<Book, sqlx::Error> {
        let items = Items::load(Thing::Capability, connection).await?;
        let stored = stored(connection).await?;
        Ok(Book {
            stored: items.standing(stored, |capability| capability.code.as_str()),
            items,
            assets: Items::load(Thing::Asset, connection).await?,
        })
    }
}

/// What is to be written of capabilities, and the ids of the assets that they name.
pub struct Writes {
    said: Vec<ToWrite<Capability>>,
    assets: BTreeMap<AssetCode, Uuid>,
}

pub fn read(reader: &Reader<'_>, rows: Vec<Row>, book: Book) -> (Vec<Entry>, Writes) {
    let _: BTreeSet<CapabilityCode> = codes(&rows, "code", reader.faults);
    let Book {
        stored,
        items,
        assets,
    } = book;
    let ids = assets.ids();
    let known: BTreeSet<AssetCode> = ids.keys().cloned().collect();
    let parse = |row: &Row, stands: Option<&Capability>| {
        let in_use = [
            stands.is_some() || items.are_in_use(reader, row, "code"),
            assets.are_in_use(reader, row, "assets"),
        ];
        let said = capability(row, &known, &reader.calendar, reader.faults)?;
        if let Some(stands) = stands {
            said_anew(reader, row, stands, &said);
        }
        in_use.iter().all(|in_use| *in_use).then_some(said)
    };
    let (entries, said) = reader.entries(&CAPABILITIES, rows, stored, parse, |_, _| String::new());
    (entries, Writes { said, assets: ids })
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

/// Writes capabilities; each that changes has its entry in the journal beside the sheet's.
pub async fn write(
    change: &mut Change,
    by: &str,
    writes: Writes,
    sheet: i64,
) -> Result<(), AppError> {
    let Writes { said, assets } = writes;
    let mut entries = Vec::new();
    for ToWrite { stands, value, .. } in said {
        let ids = value.assets.iter();
        let ids: Vec<Uuid> = ids.filter_map(|code| assets.get(code).copied()).collect();
        let Some(stands) = stands else {
            let id = queries::insert_capability(change, &value).await?;
            queries::say(change, &said_of(id, 1, &ids, by), &value).await?;
            continue;
        };
        if stands.value.name != value.name {
            queries::set_name(change, (Thing::Capability, stands.id), &value.name).await?;
        }
        let version = stands.version + 1;
        let (kind, mut content) = match is_only_named(&stands.value, &value) {
            true => (
                "capability.named",
                json!({ "version": version, "before": stands.value.name, "name": value.name }),
            ),
            false => {
                queries::say(change, &said_of(stands.id, version, &ids, by), &value).await?;
                ("capability.said", queries::content(&value, version))
            }
        };
        content["sheet"] = json!(sheet);
        entries.push((kind, Subject::new("capability", &value.code), content));
    }
    change.journal_all(entries).await
}

fn said_of<'a>(
    capability: Uuid,
    version: i64,
    assets: &'a [Uuid],
    entered_by: &'a str,
) -> Said<'a> {
    Said {
        capability,
        version,
        assets,
        entered_by,
    }
}

/// Whether what is said of it stays, but for its name.
fn is_only_named(stands: &Capability, value: &Capability) -> bool {
    let named = Capability {
        name: value.name.clone(),
        ..stands.clone()
    };
    named == *value
}
