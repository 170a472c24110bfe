//! One row: named texts, read one by one into values, with every fault noted.

use super::fault::{Faults, SeedFault};
use super::time::Calendar;
use crate::form::{self, FieldError};
use chrono::{DateTime, Utc};
use mendpost_core::code::{self, InvalidCode};
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Display;
use std::ops::RangeInclusive;
use std::str::FromStr;

#[derive(Debug, Clone)]
pub(crate) struct Field {
    pub(crate) text: String,
    pub(crate) line: u64,
}

/// The methods give none for a value that is missing or faulty, after noting the fault; a reader
/// takes all values first and gives up on the row only then, so that each fault is told.
#[derive(Debug, Clone)]
pub(crate) struct Row {
    file: &'static str,
    pub(crate) line: u64,
    fields: BTreeMap<String, Field>,
    /// What parts the decimals of its figures.
    decimal_mark: char,
    /// Whether something stands under its code already.
    stands: bool,
}

impl Row {
    pub(crate) const fn new(
        file: &'static str,
        line: u64,
        fields: BTreeMap<String, Field>,
    ) -> Self {
        Self {
            file,
            line,
            fields,
            decimal_mark: '.',
            stands: false,
        }
    }

    /// The same row, of something that stands under its code already, whatever that code is.
    pub(crate) fn of_what_stands(self) -> Self {
        Self {
            stands: true,
            ..self
        }
    }

    pub(crate) fn with_decimal_mark(self, decimal_mark: char) -> Self {
        Self {
            decimal_mark,
            ..self
        }
    }

    /// The same row with a text in a column that the sheet left out.
    pub(crate) fn or_given(self, column: &str, text: impl FnOnce() -> String) -> Self {
        match self.has(column) {
            true => self,
            false => self.with(column, text()),
        }
    }

    /// The same row with another text in a column.
    pub(crate) fn with(mut self, column: &str, text: String) -> Self {
        let line = self.line;
        self.fields.insert(column.to_owned(), Field { text, line });
        self
    }

    pub(crate) const fn decimal_mark(&self) -> char {
        self.decimal_mark
    }

    /// Whether the sheet has this column.
    pub(crate) fn has(&self, column: &str) -> bool {
        self.fields.contains_key(column)
    }

    /// The text given; none if nothing is.
    pub(crate) fn given(&self, column: &str) -> Option<&str> {
        let field = self.fields.get(column)?;
        (!field.text.is_empty()).then_some(field.text.as_str())
    }

    pub(crate) fn fault(&self, faults: &Faults, column: &str, what: impl Display) {
        faults.add(SeedFault {
            file: self.file.to_owned(),
            line: Some(self.fields.get(column).map_or(self.line, |f| f.line)),
            column: Some(column.to_owned()),
            what: what.to_string(),
        });
    }

    /// A fault of the row as a whole.
    pub(crate) fn fault_of_row(&self, faults: &Faults, what: impl Display) {
        faults.in_line(self.file, self.line, what);
    }

    fn read<T, E: Display>(
        &self,
        faults: &Faults,
        column: &str,
        parse: impl FnOnce(&str) -> Result<T, E>,
    ) -> Option<T> {
        let Some(text) = self.given(column) else {
            self.fault(faults, column, "nothing is given, and it is needed");
            return None;
        };
        parse(text)
            .map_err(|error| self.fault(faults, column, error))
            .ok()
    }

    /// None within if nothing is given.
    pub(crate) fn read_optional<T, E: Display>(
        &self,
        faults: &Faults,
        column: &str,
        parse: impl FnOnce(&str) -> Result<T, E>,
    ) -> Option<Option<T>> {
        if self.given(column).is_none() {
            return Some(None);
        }
        self.read(faults, column, parse).map(Some)
    }

    /// A code or a word.
    pub(crate) fn parse<T: FromStr<Err: Display>>(
        &self,
        faults: &Faults,
        column: &str,
    ) -> Option<T> {
        self.read(faults, column, str::parse)
    }

    /// The code by which something of its own row is listed; that of what stands already is read as it is.
    pub(crate) fn new_code<T: FromStr<Err = InvalidCode>>(
        &self,
        faults: &Faults,
        column: &str,
    ) -> Option<T> {
        match self.stands {
            true => self.parse(faults, column),
            false => self.read(faults, column, code::new_code),
        }
    }

    /// The same of what has its code from a label, with '/' in it or not.
    pub(crate) fn new_label<T: FromStr<Err = InvalidCode>>(
        &self,
        faults: &Faults,
        column: &str,
    ) -> Option<T> {
        match self.stands {
            true => self.parse(faults, column),
            false => self.read(faults, column, code::new_label),
        }
    }

    pub(crate) fn parse_optional<T: FromStr<Err: Display>>(
        &self,
        faults: &Faults,
        column: &str,
    ) -> Option<Option<T>> {
        self.read_optional(faults, column, str::parse)
    }

    /// Several codes or words, with blanks between.
    pub(crate) fn list<T: FromStr<Err: Display>>(
        &self,
        faults: &Faults,
        column: &str,
    ) -> Option<Vec<T>> {
        let words = self.given(column).unwrap_or_default().split_whitespace();
        words
            .map(|word| word.parse().map_err(|e| self.fault(faults, column, e)).ok())
            .collect()
    }

    /// Several whole numbers, with blanks between.
    pub(crate) fn numbers(
        &self,
        faults: &Faults,
        column: &str,
        allowed: RangeInclusive<i64>,
    ) -> Option<Vec<i64>> {
        let words = self.given(column).unwrap_or_default().split_whitespace();
        words
            .map(|word| {
                form::integer(word, allowed.clone())
                    .map_err(|e| self.fault(faults, column, e))
                    .ok()
            })
            .collect()
    }

    /// The code of something listed elsewhere.
    pub(crate) fn one_of<T: FromStr<Err: Display> + Ord + Display>(
        &self,
        faults: &Faults,
        column: &str,
        known: &BTreeSet<T>,
    ) -> Option<T> {
        let code = self.parse(faults, column)?;
        self.known(faults, column, known, code)
    }

    pub(crate) fn one_of_optional<T: FromStr<Err: Display> + Ord + Display>(
        &self,
        faults: &Faults,
        column: &str,
        known: &BTreeSet<T>,
    ) -> Option<Option<T>> {
        match self.parse_optional(faults, column)? {
            Some(code) => self.known(faults, column, known, code).map(Some),
            None => Some(None),
        }
    }

    /// Notes a code that is listed nowhere, with those that are.
    pub(crate) fn known<T: Ord + Display>(
        &self,
        faults: &Faults,
        column: &str,
        known: &BTreeSet<T>,
        code: T,
    ) -> Option<T> {
        if known.contains(&code) {
            return Some(code);
        }
        const SHOWN: usize = 40;
        let mut listed: Vec<_> = known.iter().take(SHOWN).map(ToString::to_string).collect();
        if known.len() > SHOWN {
            listed.push(format!("and {} more", known.len() - SHOWN));
        }
        let listed = match listed.is_empty() {
            true => "none is".to_owned(),
            false => listed.join(", "),
        };
        self.fault(
            faults,
            column,
            format!("'{code}' is not listed; listed: {listed}"),
        );
        None
    }

    /// A number in steps of 1 / 10^places; `allowed` counts in these steps.
    pub(crate) fn number(
        &self,
        faults: &Faults,
        column: &str,
        places: usize,
        allowed: RangeInclusive<i64>,
    ) -> Option<i64> {
        self.read(faults, column, |text| self.decimal(text, places, allowed))
    }

    /// A figure, unless it may mean two: '14,500' where decimals have a point, and '14.500' in a column of
    /// whole numbers, are fourteen to some and fourteen thousand to others.
    pub(crate) fn decimal(
        &self,
        text: &str,
        places: usize,
        allowed: RangeInclusive<i64>,
    ) -> Result<i64, FigureFault> {
        let unclear = text.rfind(['.', ',']).is_some_and(|at| {
            let (head, tail) = text.split_at(at);
            let own = places > 0 && tail.starts_with(self.decimal_mark);
            !own && tail.len() == 4 && head.bytes().any(|byte| byte.is_ascii_digit())
        });
        if unclear {
            return Err(FigureFault::Unclear {
                given: text.to_owned(),
                thousands: text.replace(['.', ','], ""),
            });
        }
        Ok(form::decimal(text, places, allowed)?)
    }

    pub(crate) fn number_optional(
        &self,
        faults: &Faults,
        column: &str,
        places: usize,
        allowed: RangeInclusive<i64>,
    ) -> Option<Option<i64>> {
        self.read_optional(faults, column, |text| self.decimal(text, places, allowed))
    }

    /// A text of at most so many characters, on one line.
    pub(crate) fn text(&self, faults: &Faults, column: &str, most: usize) -> Option<String> {
        self.read(faults, column, |text| plain(text, most))
    }

    /// The same, empty if nothing is given.
    pub(crate) fn text_or_empty(
        &self,
        faults: &Faults,
        column: &str,
        most: usize,
    ) -> Option<String> {
        let text = self.read_optional(faults, column, |text| plain(text, most))?;
        Some(text.unwrap_or_default())
    }

    /// A text of at most so many characters, on any number of lines; empty if nothing is given.
    pub(crate) fn lines_or_empty(
        &self,
        faults: &Faults,
        column: &str,
        most: usize,
    ) -> Option<String> {
        let text = self.read_optional(faults, column, |text| lines(text, most))?;
        Some(text.unwrap_or_default())
    }

    pub(crate) fn yes_or_no(&self, faults: &Faults, column: &str) -> Option<bool> {
        self.read(faults, column, |text| match text {
            "yes" | "true" => Ok(true),
            "no" | "false" => Ok(false),
            _ => Err(format!("'{text}' is neither 'yes' nor 'no'")),
        })
    }

    /// A moment in the site's clock.
    pub(crate) fn moment(
        &self,
        faults: &Faults,
        column: &str,
        calendar: &Calendar,
    ) -> Option<DateTime<Utc>> {
        self.read(faults, column, |text| calendar.moment(text))
    }

    pub(crate) fn moment_optional(
        &self,
        faults: &Faults,
        column: &str,
        calendar: &Calendar,
    ) -> Option<Option<DateTime<Utc>>> {
        self.read_optional(faults, column, |text| calendar.moment(text))
    }

    /// A moment that has passed: something was read, said or received then.
    pub(crate) fn past(
        &self,
        faults: &Faults,
        column: &str,
        calendar: &Calendar,
    ) -> Option<DateTime<Utc>> {
        self.read(faults, column, |text| calendar.past(text))
    }

    pub(crate) fn past_optional(
        &self,
        faults: &Faults,
        column: &str,
        calendar: &Calendar,
    ) -> Option<Option<DateTime<Utc>>> {
        self.read_optional(faults, column, |text| calendar.past(text))
    }
}

/// The codes that a column lists, each once.
pub(crate) fn codes<T: FromStr + Ord + Display + Clone>(
    rows: &[Row],
    column: &str,
    faults: &Faults,
) -> BTreeSet<T> {
    let mut codes = BTreeSet::new();
    for row in rows {
        // One that is no code is told by whoever reads the row.
        let Some(code) = row.given(column).and_then(|t| t.parse::<T>().ok()) else {
            continue;
        };
        if !codes.insert(code.clone()) {
            row.fault(faults, column, format!("'{code}' is listed twice"));
        }
    }
    codes
}

/// Why a figure of a sheet cannot be read.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub(crate) enum FigureFault {
    #[error(
        "'{given}' may mean thousands or decimals; write {thousands} for thousands, else fewer or more decimals"
    )]
    Unclear { given: String, thousands: String },
    #[error(transparent)]
    Figure(#[from] FieldError),
}

fn plain(text: &str, most: usize) -> Result<String, String> {
    let text = form::text(text, most).map_err(|error| error.to_string())?;
    match text.chars().find(|c| c.is_control()) {
        Some(c) => Err(format!("the character {c:?}; write it on one line")),
        None => Ok(text),
    }
}

fn lines(text: &str, most: usize) -> Result<String, String> {
    let text = form::text(text, most).map_err(|error| error.to_string())?;
    let breaks = ['\n', '\t'];
    match text.chars().find(|c| c.is_control() && !breaks.contains(c)) {
        Some(c) => Err(format!("the character {c:?}; take it out")),
        None => Ok(text),
    }
}
