//! What one cell of a sheet says, whatever the separator and the site's clock.

use chrono::{DateTime, Utc};
use chrono_tz::Tz;

use crate::form::plain_decimal;
use crate::seed::row::Row;
use crate::seed::time::Calendar;

#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Cell {
    /// Empty if there is nothing to say.
    Text(String),
    /// In steps of 1 / 10^places.
    Number {
        value: i64,
        places: usize,
    },
    Moment(Option<DateTime<Utc>>),
    /// Words in any order, with blanks between.
    Set(Vec<String>),
}

impl Cell {
    pub fn text(text: &(impl ToString + ?Sized)) -> Cell {
        Cell::Text(text.to_string())
    }

    /// A text of several lines. A browser sends them with carriage returns, and sheets are read without.
    pub fn lines(text: &str) -> Cell {
        Cell::Text(text.replace("\r\n", "\n").replace('\r', "\n"))
    }

    /// Empty if nobody told.
    pub fn number(value: Option<i64>, places: usize) -> Cell {
        value.map_or_else(|| Cell::text(""), |value| Cell::Number { value, places })
    }

    pub fn whole(value: i64) -> Cell {
        Cell::Number { value, places: 0 }
    }

    /// Several in this order, with blanks between.
    pub fn list<T: ToString>(items: impl IntoIterator<Item = T>) -> Cell {
        let items: Vec<String> = items.into_iter().map(|item| item.to_string()).collect();
        Cell::Text(items.join(" "))
    }

    /// Several in any order.
    pub fn set<T: ToString>(items: impl IntoIterator<Item = T>) -> Cell {
        Cell::Set(items.into_iter().map(|item| item.to_string()).collect())
    }

    /// As it is written.
    pub fn written(&self, zone: Tz, decimal_mark: char) -> String {
        match self {
            Cell::Text(text) => text.clone(),
            Cell::Number { value, places } => {
                plain_decimal(*value, *places).replace('.', &decimal_mark.to_string())
            }
            Cell::Set(words) => words.join(" "),
            Cell::Moment(None) => String::new(),
            Cell::Moment(Some(at)) => at.with_timezone(&zone).format(MOMENT).to_string(),
        }
    }

    /// Whether a row says the same in this column.
    pub fn is_said(&self, row: &Row, column: &str, calendar: &Calendar) -> bool {
        let given = row.given(column).unwrap_or_default();
        if given == self.written(calendar.zone, '.') {
            return true;
        }
        match self {
            Cell::Text(_) => false,
            Cell::Set(words) => {
                let mut said: Vec<&str> = given.split_whitespace().collect();
                let mut words: Vec<&str> = words.iter().map(String::as_str).collect();
                said.sort_unstable();
                words.sort_unstable();
                said == words
            }
            Cell::Number { value, places } => {
                row.decimal(given, *places, i64::MIN..=i64::MAX) == Ok(*value)
            }
            Cell::Moment(at) => {
                let said = calendar.moment(given).ok();
                let minutes = |at: DateTime<Utc>| at.timestamp().div_euclid(60);
                said.is_some() && said.map(minutes) == at.map(minutes)
            }
        }
    }
}

/// As `Calendar` reads it.
const MOMENT: &str = "%Y-%m-%d %H:%M";
