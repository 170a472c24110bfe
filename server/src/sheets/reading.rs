//! What the sheets of one kind say beside what stands: every fault, or what an import would do.

use mendpost_core::catalogue::{Part, Recipe};
use mendpost_core::situation::Asset;
use serde_json::{Value, json};
use sha2::{Digest, Sha256};
use sqlx::SqliteConnection;

use super::comparison::{Difference, Entry, Fate, Reader, ToWrite};
use super::kind::Kind;
use super::upload::Upload;
use super::{asset, capability, lot, part, recipe};
use crate::change::Change;
use crate::error::AppError;
use crate::people::Who;
use crate::seed::SeedFault;
use crate::seed::fault::Faults;
use crate::seed::records::Separator;
use crate::seed::row::Row;
use crate::seed::time::Calendar;

/// Sheets without a fault.
pub struct Reading {
    pub entries: Vec<Entry>,
    /// What parts the cells of the first sheet.
    pub separator: Separator,
    writes: Writes,
}

enum Writes {
    Assets(Vec<ToWrite<Asset>>),
    Capabilities(capability::Writes),
    Parts(Vec<ToWrite<Part>>),
    Recipes(Vec<Recipe>),
    Lots(lot::Writes),
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

    /// Whether something asks for less than before, which takes a reason.
    pub fn takes_a_reason(&self) -> bool {
        self.entries.iter().any(|entry| !entry.caution.is_empty())
    }

    /// What the journal keeps of the whole: the hash of each sheet, by which its text is kept too, and the
    /// code of each new and each changed thing. What changed stands in an entry of each changed thing.
    pub fn content(&self, upload: &Upload) -> Value {
        let changed: Vec<&str> = self.changed().iter().map(|e| e.code.as_str()).collect();
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
        let told = |entry: &Entry| {
            let differences: Vec<[&str; 3]> = match &entry.fate {
                Fate::Changed(differences) => differences.iter().map(Difference::told).collect(),
                Fate::New | Fate::Same => Vec::new(),
            };
            json!([entry.code, entry.name, entry.caution, differences])
        };
        let told: Vec<Value> = self.entries.iter().map(told).collect();
        let all = json!([self.content(upload), told]).to_string();
        super::upload::hex(&Sha256::digest(all))
    }

    /// Writes all of it. The sheet's journal entry, of this sequence, is there already: others refer to it.
    pub async fn write(
        self,
        change: &mut Change,
        who: &Who,
        sequence: i64,
        reason: &str,
    ) -> Result<(), AppError> {
        match self.writes {
            Writes::Assets(assets) => asset::write(change, assets, sequence).await,
            Writes::Capabilities(said) => {
                capability::write(change, &who.name, said, sequence).await
            }
            Writes::Parts(parts) => part::write(change, parts, sequence, reason).await,
            Writes::Recipes(recipes) => recipe::write(change, who, recipes).await,
            Writes::Lots(lots) => lot::write(change, &who.name, lots).await,
        }
    }
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
    Assets(asset::Book),
    Capabilities(capability::Book),
    Parts(part::Book),
    Recipes(recipe::Book),
    Lots(lot::Book),
}

impl Stands {
    async fn load(kind: Kind, connection: &mut SqliteConnection) -> Result<Stands, sqlx::Error> {
        Ok(match kind {
            Kind::Assets => Stands::Assets(asset::Book::load(connection).await?),
            Kind::Capabilities => Stands::Capabilities(capability::Book::load(connection).await?),
            Kind::Parts => Stands::Parts(part::Book::load(connection).await?),
            Kind::Recipes => Stands::Recipes(recipe::Book::load(connection).await?),
            Kind::Lots => Stands::Lots(lot::Book::load(connection).await?),
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
        Stands::Assets(book) => {
            let (entries, writes) = asset::read(&reader, first, book);
            (entries, Writes::Assets(writes))
        }
        Stands::Capabilities(book) => {
            let (entries, writes) = capability::read(&reader, first, book);
            (entries, Writes::Capabilities(writes))
        }
        Stands::Parts(book) => {
            let (entries, writes) = part::read(&reader, first, book);
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
