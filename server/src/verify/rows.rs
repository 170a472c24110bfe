//! Rows as entries tell them, held against rows as they are stored.

use std::collections::BTreeMap;

use serde_json::{Map, Value};

use super::fault::Difference;
use super::{Fault, Replayed};
use crate::db::decoded;

/// The columns of a row, by their names in the database; of what refers to another row, its code or number.
pub(super) type Row = Map<String, Value>;

/// A row as it is read: the words by which a person finds it, and its columns as JSON.
pub(super) struct Found {
    pub key: String,
    pub row: String,
}

/// A table, and the rows that the entries so far say it must hold.
pub(super) struct Table {
    pub name: &'static str,
    /// The columns that entries tell.
    pub columns: &'static [&'static str],
    rows: BTreeMap<String, Told>,
    met: u64,
    in_part: u64,
}

/// A row that an entry tells.
struct Told {
    /// The last entry that told of it.
    sequence: i64,
    row: Row,
}

impl Table {
    pub fn new(name: &'static str, columns: &'static [&'static str]) -> Table {
        Table {
            name,
            columns,
            rows: BTreeMap::new(),
            met: 0,
            in_part: 0,
        }
    }

    /// There must be this row.
    pub fn expect(&mut self, key: String, sequence: i64, row: Row) {
        self.rows.insert(key, Told { sequence, row });
    }

    /// A row that was told of before has these columns now.
    ///
    /// # Errors
    /// When no entry told of it.
    pub fn change(
        &mut self,
        key: &str,
        sequence: i64,
        columns: impl IntoIterator<Item = (&'static str, Value)>,
    ) -> Result<(), Fault> {
        let Some(told) = self.rows.get_mut(key) else {
            return Err(Fault::Senseless {
                sequence,
                fault: format!("{key}, of which no entry before tells"),
            });
        };
        told.sequence = sequence;
        for (column, value) in columns {
            told.row.insert(column.to_owned(), value);
        }
        Ok(())
    }

    /// What is told of a row.
    pub fn told(&mut self, key: &str) -> Option<&mut Row> {
        self.rows.get_mut(key).map(|told| &mut told.row)
    }

    /// Holds all rows that the table has, or has of the entries that were taken in, against what was told, and
    /// forgets that.
    ///
    /// # Errors
    /// The first row that differs, is not told of, or is not there.
    pub fn meet(&mut self, found: Vec<Found>) -> Result<(), Fault> {
        for Found { key, row } in found {
            let row: Row = decoded(serde_json::from_str(&row))?;
            self.meet_row(key, &row)?;
        }
        self.all_met()
    }

    /// Holds one row against what was told.
    pub fn meet_row(&mut self, key: String, found: &Row) -> Result<(), Fault> {
        let Some(told) = self.rows.remove(&key) else {
            return Err(Fault::Untold {
                table: self.name,
                row: key,
            });
        };
        for column in self.columns {
            let Some(expected) = told.row.get(*column) else {
                continue;
            };
            let found = found.get(*column).unwrap_or(&Value::Null);
            if found != expected {
                return Err(Fault::Differs(Box::new(Difference {
                    table: self.name,
                    row: key,
                    column,
                    found: found.clone(),
                    expected: expected.clone(),
                    sequence: told.sequence,
                })));
            }
        }
        self.met += 1;
        let tells_all = self.columns.iter().all(|it| told.row.contains_key(*it));
        self.in_part += u64::from(!tells_all);
        Ok(())
    }

    /// # Errors
    /// The earliest row that was told of and not met.
    pub fn all_met(&mut self) -> Result<(), Fault> {
        let missing = self.rows.iter().min_by_key(|(_, told)| told.sequence);
        match missing {
            None => Ok(()),
            Some((key, told)) => Err(Fault::Lacks {
                table: self.name,
                row: key.clone(),
                sequence: told.sequence,
            }),
        }
    }

    pub fn replayed(&self) -> Replayed {
        Replayed {
            table: self.name,
            rows: self.met,
            in_part: self.in_part,
        }
    }
}

/// The row of an entry, as its key says it.
pub(super) fn of_entry(sequence: i64, place: usize) -> String {
    format!("row {} of journal {sequence}", place + 1)
}

/// Columns that an entry's content tells, under the names that it has for them; what it does not tell is left
/// out. A yes or no is 1 or 0.
pub(super) fn told<'a>(
    content: &Value,
    names: impl IntoIterator<Item = (&'static str, &'a str)>,
) -> Row {
    let mut row = Row::new();
    for (column, pointer) in names {
        match content.pointer(pointer) {
            None => {}
            Some(Value::Bool(is)) => {
                row.insert(column.to_owned(), Value::from(i64::from(*is)));
            }
            Some(value) => {
                row.insert(column.to_owned(), value.clone());
            }
        }
    }
    row
}
