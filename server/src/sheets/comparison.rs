//! What a row says beside what stands.

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

/// Something to be written.
#[derive(Debug)]
pub struct ToWrite<T> {
    pub is_new: bool,
    pub value: T,
}

/// Where faults go, and the clock by which times are read.
pub struct Reader<'a> {
    pub faults: &'a Faults,
    pub calendar: Calendar,
}

impl Reader<'_> {
    /// What becomes of a row of a sheet whose things may be changed; the thing that it says, if it is not
    /// what stands. None after a fault was noted. A column that the sheet leaves out says nothing: what
    /// stands there stays.
    pub fn changeable<T: Listed>(
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
