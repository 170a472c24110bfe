//! What a row says beside what stands.

use std::collections::BTreeMap;

use uuid::Uuid;

use super::cell::Cell;
use crate::seed::fault::Faults;
use crate::seed::row::Row;
use crate::seed::sheet::Sheet;
use crate::seed::time::Calendar;

/// Something that is one row of a sheet.
pub trait Listed {
    /// What it says in a column of its sheet.
    fn cell(&self, column: &str) -> Cell;
}

/// What an import does with a row.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Fate {
    New,
    Changed(Vec<Difference>),
    Same,
}

/// A column in which a row says something else than what stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Difference {
    pub column: &'static str,
    pub before: String,
    pub after: String,
}

impl Difference {
    /// Column, before and after.
    pub fn told(&self) -> [&str; 3] {
        [self.column, &self.before, &self.after]
    }
}

/// A row as the preview shows it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Entry {
    pub line: u64,
    pub code: String,
    pub name: String,
    pub fate: Fate,
    /// What somebody should know before this is imported, in plain words.
    pub caution: String,
}

/// Something that stands: its row in the database, and what it says.
#[derive(Debug)]
pub struct Standing<T> {
    pub id: Uuid,
    pub version: i64,
    pub value: T,
}

/// Something to be written: what it becomes, and what stands until then; nothing where it is new.
#[derive(Debug)]
pub struct ToWrite<T> {
    pub stands: Option<Standing<T>>,
    pub value: T,
    /// Whether its entry has a caution.
    pub is_cautioned: bool,
}

/// Where faults go, and the clock by which times are read.
pub struct Reader<'a> {
    pub faults: &'a Faults,
    pub calendar: Calendar,
}

impl Reader<'_> {
    /// What becomes of the rows of a sheet whose things may be changed, and what is to be written. `read`
    /// reads a row that says something new, beside what stands under its code; `caution` tells what
    /// somebody should know of a change before it is imported.
    pub fn entries<T: Listed>(
        &self,
        sheet: &Sheet,
        rows: Vec<Row>,
        stored: Vec<Standing<T>>,
        read: impl Fn(&Row, Option<&T>) -> Option<T>,
        caution: impl Fn(&T, &T) -> String,
    ) -> (Vec<Entry>, Vec<ToWrite<T>>) {
        let text = |thing: &T, column| thing.cell(column).written(self.calendar.zone, '.');
        let by_code = |standing: Standing<T>| (text(&standing.value, "code"), standing);
        let mut stored: BTreeMap<String, Standing<T>> = stored.into_iter().map(by_code).collect();
        let (mut entries, mut writes) = (Vec::new(), Vec::new());
        for row in rows {
            let line = row.line;
            let standing = row.given("code").and_then(|code| stored.remove(code));
            let stands = standing.as_ref().map(|standing| &standing.value);
            let becomes = self.changeable(sheet, row, stands, |row| read(row, stands));
            let Some((fate, said)) = becomes else {
                continue;
            };
            let Some(shown) = said.as_ref().or(stands) else {
                continue;
            };
            let caution = stands.map_or_else(String::new, |stands| caution(stands, shown));
            let is_cautioned = !caution.is_empty();
            entries.push(Entry {
                line,
                code: text(shown, "code"),
                name: text(shown, "name"),
                fate,
                caution,
            });
            writes.extend(said.map(|value| ToWrite {
                stands: standing,
                value,
                is_cautioned,
            }));
        }
        (entries, writes)
    }

    /// What becomes of a row of a sheet whose things may be changed; the thing that it says, if it is not
    /// what stands. None after a fault was noted. A column that the sheet leaves out says nothing: what
    /// stands there stays.
    fn changeable<T: Listed>(
        &self,
        sheet: &Sheet,
        row: Row,
        stands: Option<&T>,
        read: impl FnOnce(&Row) -> Option<T>,
    ) -> Option<(Fate, Option<T>)> {
        let Some(stands) = stands else {
            return Some((Fate::New, Some(read(&row)?)));
        };
        let zone = self.calendar.zone;
        let mark = row.decimal_mark();
        let row = row.of_what_stands();
        let row = sheet.optional.iter().fold(row, |row, column| {
            row.or_given(column, || stands.cell(column).written(zone, mark))
        });
        let same = |column| stands.cell(column).is_said(&row, column, &self.calendar);
        if sheet.all_columns().all(same) {
            return Some((Fate::Same, None));
        }
        let said = read(&row)?;
        let differences: Vec<Difference> = sheet
            .all_columns()
            .map(|column| Difference {
                column,
                before: stands.cell(column).written(zone, '.'),
                after: said.cell(column).written(zone, '.'),
            })
            .filter(|difference| difference.before != difference.after)
            .collect();
        match differences.is_empty() {
            true => Some((Fate::Same, None)),
            false => Some((Fate::Changed(differences), Some(said))),
        }
    }

    /// Notes each column in which a row differs from what stands, where no sheet changes that; `remedy`
    /// tells how it is changed instead.
    pub fn unchangeable<T: Listed>(
        &self,
        sheet: &Sheet,
        row: &Row,
        stands: &T,
        remedy: impl Fn(&str) -> String,
    ) {
        for column in sheet.all_columns().filter(|column| row.has(column)) {
            let cell = stands.cell(column);
            if cell.is_said(row, column, &self.calendar) {
                continue;
            }
            let or_nothing = |text: &str| match text {
                "" => "nothing".to_owned(),
                text => format!("'{text}'"),
            };
            let what = format!(
                "{} is given and {} stands; {}",
                or_nothing(row.given(column).unwrap_or_default()),
                or_nothing(&cell.written(self.calendar.zone, '.')),
                remedy(column)
            );
            row.fault(self.faults, column, what);
        }
    }
}
