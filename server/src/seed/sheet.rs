//! A seed file as rows of named texts, each knowing its line: CSV and TOML alike.

use super::fault::Faults;
use super::files::SeedFiles;
use super::records::{Record, Separator, records};
use super::row::{Field, Row};
use std::collections::{BTreeMap, BTreeSet};
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// More rows than this are no site, and would only hide the first fault.
pub(crate) const MOST_ROWS: usize = 10_000;

/// What a sheet is called and which columns it may have; anything else is refused.
pub(crate) struct Sheet {
    pub(crate) file: &'static str,
    pub(crate) columns: &'static [&'static str],
    /// Columns that may be left out altogether.
    pub(crate) optional: &'static [&'static str],
    /// Whether the file may be missing.
    pub(crate) may_be_missing: bool,
}

impl Sheet {
    /// Every column that it may have, in the order in which they are written.
    pub(crate) fn all_columns(&self) -> impl Iterator<Item = &'static str> {
        self.columns.iter().chain(self.optional).copied()
    }

    /// The rows of the CSV file.
    pub(crate) fn rows(&self, files: &SeedFiles, faults: &Faults) -> Vec<Row> {
        let Some(text) = files.text(self.file) else {
            if !self.may_be_missing {
                faults.in_file(self.file, "the file is missing");
            }
            return Vec::new();
        };
        self.read(&text, faults).1
    }

    /// The rows of a text, and what parts its cells.
    pub(crate) fn read(&self, text: &str, faults: &Faults) -> (Separator, Vec<Row>) {
        let (separator, records) = records(text);
        let mut records = records.into_iter();
        let Some(mut header) = records.next() else {
            let first = self.columns.join(&separator.character().to_string());
            faults.in_file(
                self.file,
                format!("the file is empty; its first line holds the columns {first}"),
            );
            return (separator, Vec::new());
        };
        cut_nameless(&mut header);
        if !self.header_holds(&header, faults) {
            return (separator, Vec::new());
        }
        let mut rows = Vec::new();
        for record in records {
            if rows.len() == MOST_ROWS {
                let what = format!("more than {MOST_ROWS} rows; part it into several files");
                faults.in_file(self.file, what);
                break;
            }
            rows.extend(self.row(&header, record, separator, faults));
        }
        (separator, rows)
    }

    fn header_holds(&self, header: &Record, faults: &Faults) -> bool {
        let mut seen = BTreeSet::new();
        let mut holds = true;
        let mut fault = |what: String| {
            faults.in_line(self.file, header.line, what);
            holds = false;
        };
        for name in header.cells.iter().map(String::as_str) {
            if !self.all_columns().any(|known| known == name) {
                let known: Vec<_> = self.all_columns().collect();
                fault(format!(
                    "unknown column '{name}'; known are {}",
                    known.join(", ")
                ));
            } else if !seen.insert(name) {
                fault(format!("the column '{name}' is there twice"));
            }
        }
        for name in self.columns.iter().filter(|c| !seen.contains(**c)) {
            fault(format!("the column '{name}' is missing"));
        }
        holds
    }

    fn row(
        &self,
        header: &Record,
        mut record: Record,
        separator: Separator,
        faults: &Faults,
    ) -> Option<Row> {
        while record.cells.len() > header.cells.len()
            && record.cells.last().is_some_and(String::is_empty)
        {
            record.cells.pop();
        }
        let Record { line, cells } = record;
        if cells.len() != header.cells.len() {
            let remedy = match cells.len() > header.cells.len() {
                true => format!(
                    "a text with a {} in it goes between double quotes",
                    separator.word()
                ),
                false => "each column has a field, also an empty one".to_owned(),
            };
            let (given, due) = (cells.len(), header.cells.len());
            let what = format!("{given} fields under {due} columns; {remedy}");
            faults.in_line(self.file, line, what);
            return None;
        }
        let names = header.cells.iter().cloned();
        let fields = names
            .zip(cells)
            .map(|(name, text)| (name, Field { text, line }))
            .collect();
        Some(Row::new(self.file, line, fields).with_decimal_mark(separator.decimal_mark()))
    }
}

/// Spreadsheet programs save columns without name or content where something once stood.
fn cut_nameless(header: &mut Record) {
    while header.cells.last().is_some_and(String::is_empty) {
        header.cells.pop();
    }
}

/// A table of the TOML file and the keys that it may have.
pub(crate) struct Table {
    pub(crate) name: &'static str,
    pub(crate) keys: &'static [&'static str],
    /// Whether there may be several, each headed `[[name]]`.
    pub(crate) several: bool,
}

/// The tables of a TOML file as rows, by table name.
pub(crate) fn toml_rows(
    file: &'static str,
    tables: &[Table],
    files: &SeedFiles,
    faults: &Faults,
) -> BTreeMap<&'static str, Vec<Row>> {
    let Some(text) = files.text(file) else {
        faults.in_file(file, "the file is missing");
        return BTreeMap::new();
    };
    let document = match DeTable::parse(&text) {
        Ok(document) => document.into_inner(),
        Err(error) => {
            let line = line_of(&text, error.span().map_or(0, |s| s.start));
            faults.in_line(file, line, error.message());
            return BTreeMap::new();
        }
    };
    let mut rows = BTreeMap::new();
    for (key, value) in &document {
        let line = line_of(&text, key.span().start);
        let Some(table) = tables.iter().find(|t| t.name == key.get_ref().as_ref()) else {
            let known: Vec<_> = tables.iter().map(|t| t.name).collect();
            let key = key.get_ref();
            faults.in_line(
                file,
                line,
                format!("unknown key '{key}'; known are {}", known.join(", ")),
            );
            continue;
        };
        let parts: Vec<&DeTable<'_>> = match value.get_ref() {
            DeValue::Table(one) if !table.several => vec![one],
            DeValue::Array(many) if table.several => {
                many.iter().filter_map(|v| v.get_ref().as_table()).collect()
            }
            _ => {
                let (open, close) = if table.several {
                    ("[[", "]]")
                } else {
                    ("[", "]")
                };
                faults.in_line(
                    file,
                    line,
                    format!("write it as a table headed {open}{}{close}", table.name),
                );
                continue;
            }
        };
        let found = parts
            .into_iter()
            .map(|part| table_row(file, table, part, line, &text, faults))
            .collect();
        rows.insert(table.name, found);
    }
    rows
}

fn table_row(
    file: &'static str,
    table: &Table,
    part: &DeTable<'_>,
    head_line: u64,
    text: &str,
    faults: &Faults,
) -> Row {
    let mut fields = BTreeMap::new();
    let mut first_line = None;
    for (key, value) in part {
        let line = line_of(text, key.span().start);
        first_line = Some(first_line.map_or(line, |first: u64| first.min(line)));
        let name = key.get_ref().as_ref();
        if !table.keys.contains(&name) {
            faults.in_line(
                file,
                line,
                format!("unknown key '{name}'; known are {}", table.keys.join(", ")),
            );
        }
        let text = plain_text(value, text);
        fields.insert(name.to_owned(), Field { text, line });
    }
    Row::new(file, first_line.unwrap_or(head_line), fields)
}

/// A string as it reads, anything else as it is written, so that a number stays exact.
fn plain_text(value: &Spanned<DeValue<'_>>, text: &str) -> String {
    match value.get_ref() {
        DeValue::String(string) => string.trim().to_owned(),
        _ => text.get(value.span()).unwrap_or_default().to_owned(),
    }
}

fn line_of(text: &str, offset: usize) -> u64 {
    let before = &text.as_bytes()[..offset.min(text.len())];
    let breaks = before.iter().filter(|b| **b == b'\n').count();
    u64::try_from(breaks).map_or(1, |n| n + 1)
}
