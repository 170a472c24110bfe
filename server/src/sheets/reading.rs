//! What the sheets of one kind say beside what stands: every fault, or what an import would do.

use mendpost_core::catalogue::{Part, Recipe, Rules};
use mendpost_core::situation::{Asset, Capability};
use serde_json::{Value, json};
use sha2::{Digest, Sha256};
use sqlx::SqliteConnection;

use super::comparison::{Entry, Fate, Reader, ToWrite};
use super::kind::Kind;
use super::upload::Upload;
use super::{asset, capability, lot, part, recipe};
use crate::change::Change;
use crate::error::AppError;
use crate::people::Who;
use crate::seed::fault::Faults;
use crate::seed::records::Separator;
use crate::seed::row::Row;
use crate::seed::time::Calendar;
use crate::seed::write::Ids;
use crate::seed::{SeedFault, SeedLot};
use crate::situation;

/// Sheets without a fault.
pub struct Reading {
    pub entries: Vec<Entry>,
    /// What parts the cells of the first sheet.
    pub separator: Separator,
    writes: Writes,
}

enum Writes {
    Assets(Vec<ToWrite<Asset>>),
    Capabilities(Vec<ToWrite<Capability>>),
    Parts(Vec<ToWrite<Part>>),
    Recipes(Vec<Recipe>),
    Lots(Vec<SeedLot>),
}

impl Reading {
    /// Reads sheets and holds them against what stands.
    pub async fn of(
        kind: Kind,
        upload: &Upload,
        connection: &mut SqliteConnection,
        calendar: Calendar,
    ) -> Result<Result<Reading, Vec<SeedFault>>, sqlx::Error> {
        let stands = Stands::load(kind, connection).await?;
        let faults = Faults::default();
        let reading = read(kind, upload, stands, &faults, calendar);
        let faults = faults.into_sorted();
        Ok(match reading {
            Some(reading) if faults.is_empty() => Ok(reading),
            _ => Err(faults),
        })
    }

    pub fn added(&self) -> impl Iterator<Item = &Entry> {
        self.entries.iter().filter(|entry| entry.fate == Fate::New)
    }

    /// What changes, and in which columns; what asks for less first.
    pub fn changed(&self) -> Vec<&Entry> {
        let is_changed = |entry: &&Entry| matches!(entry.fate, Fate::Changed(_));
        let mut changed: Vec<&Entry> = self.entries.iter().filter(is_changed).collect();
        changed.sort_by_key(|entry| entry.caution.is_empty());
        changed
    }

    pub fn same(&self) -> usize {
        let same = self.entries.iter().filter(|entry| entry.fate == Fate::Same);
        same.count()
    }

    pub fn changes_nothing(&self) -> bool {
        self.same() == self.entries.len()
    }

    /// What the journal keeps: the hash of each sheet, by which its text is kept too, the code of each
    /// new thing, and of each changed one the columns with what stood before and what stands now.
    pub fn content(&self, upload: &Upload) -> Value {
        let changed: Vec<Value> = self.changed().into_iter().map(change).collect();
        let new: Vec<&str> = self.added().map(|entry| entry.code.as_str()).collect();
        json!({
            "sheets": upload.hashes(),
            "new": new,
            "changed": changed,
            "same": self.same(),
        })
    }

    /// A hash over all that an import would do, to tell whether it is still what was shown.
    pub fn digest(&self, upload: &Upload) -> String {
        let names: Vec<&str> = self.entries.iter().map(|e| e.name.as_str()).collect();
        let cautions: Vec<&str> = self.entries.iter().map(|e| e.caution.as_str()).collect();
        let all = json!([self.content(upload), names, cautions]).to_string();
        super::upload::hex(&Sha256::digest(all))
    }

    /// Writes all of it. The journal entry is there already: movements refer to it.
    pub async fn write(
        self,
        change: &mut Change,
        who: &Who,
        sequence: i64,
    ) -> Result<(), AppError> {
        match self.writes {
            Writes::Assets(assets) => asset::write(change, assets).await,
            Writes::Capabilities(said) => capability::write(change, &who.name, said).await,
            Writes::Parts(parts) => part::write(change, parts).await,
            Writes::Recipes(recipes) => recipe::write(change, who, recipes).await,
            Writes::Lots(lots) => lot::write(change, &lots, sequence).await,
        }
    }
}

fn change(entry: &Entry) -> Value {
    let Fate::Changed(differences) = &entry.fate else {
        return Value::Null;
    };
    let columns: serde_json::Map<String, Value> = differences
        .iter()
        .map(|d| (d.column.to_owned(), json!([d.before, d.after])))
        .collect();
    json!({ "code": entry.code, "columns": columns })
}

/// The rows of each sheet; none after a fault that would only make others.
fn rows(kind: Kind, upload: &Upload, faults: &Faults) -> Option<(Separator, Vec<Vec<Row>>)> {
    upload.files().check(faults);
    if !faults.is_empty() {
        return None;
    }
    let mut separators = Vec::new();
    let mut sheets = Vec::new();
    for sheet in kind.sheets() {
        let Some(text) = upload.files().text(sheet.file) else {
            faults.in_file(sheet.file, "the file is missing; choose it too");
            continue;
        };
        let (separator, rows) = sheet.read(&text, faults);
        separators.push(separator);
        sheets.push(rows);
    }
    if faults.is_empty() && sheets.iter().all(Vec::is_empty) {
        let file = kind.sheets()[0].file;
        faults.in_file(
            file,
            "no row stands under the columns; there is nothing to bring in",
        );
    }
    let is_whole = sheets.len() == kind.sheets().len() && !sheets.iter().all(Vec::is_empty);
    is_whole.then(|| (separators[0], sheets))
}

/// What the rows of a kind are held against.
enum Stands {
    Assets(Vec<Asset>),
    Capabilities(Vec<Capability>, Vec<Asset>),
    Parts(Vec<Part>, Vec<Asset>, Rules),
    Recipes(recipe::Book),
    Lots(lot::Book),
}

impl Stands {
    async fn load(kind: Kind, connection: &mut SqliteConnection) -> Result<Stands, sqlx::Error> {
        Ok(match kind {
            Kind::Assets => Stands::Assets(asset::stored(connection).await?),
            Kind::Capabilities => Stands::Capabilities(
                capability::stored(connection).await?,
                asset::stored(connection).await?,
            ),
            Kind::Parts => Stands::Parts(
                part::stored(connection).await?,
                asset::stored(connection).await?,
                situation::rules(connection).await?,
            ),
            Kind::Recipes => Stands::Recipes(recipe::Book::load(connection).await?),
            Kind::Lots => Stands::Lots(lot::Book {
                lots: lot::stored(connection).await?,
                powders: Ids::stored(connection).await?.powders.into_keys().collect(),
            }),
        })
    }
}

/// None only after a fault was noted.
fn read(
    kind: Kind,
    upload: &Upload,
    stands: Stands,
    faults: &Faults,
    calendar: Calendar,
) -> Option<Reading> {
    let (separator, sheets) = rows(kind, upload, faults)?;
    let reader = Reader { faults, calendar };
    let mut sheets = sheets.into_iter();
    let first = sheets.next().unwrap_or_default();
    let (entries, writes) = match stands {
        Stands::Assets(stored) => {
            let (entries, writes) = asset::read(&reader, first, stored);
            (entries, Writes::Assets(writes))
        }
        Stands::Capabilities(stored, assets) => {
            let (entries, writes) = capability::read(&reader, first, stored, assets);
            (entries, Writes::Capabilities(writes))
        }
        Stands::Parts(stored, assets, rules) => {
            let (entries, writes) = part::read(&reader, first, stored, assets, &rules);
            (entries, Writes::Parts(writes))
        }
        Stands::Recipes(book) => {
            let mut next = || sheets.next().unwrap_or_default();
            let (operations, sprays) = (next(), next());
            let (entries, writes) = recipe::read(&reader, [first, operations, sprays], &book);
            (entries, Writes::Recipes(writes))
        }
        Stands::Lots(book) => {
            let containers = sheets.next().unwrap_or_default();
            let (entries, writes) = lot::read(&reader, first, &containers, &book);
            (entries, Writes::Lots(writes))
        }
    };
    Some(Reading {
        entries,
        separator,
        writes,
    })
}
