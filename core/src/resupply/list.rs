//! A load list: what the depot is asked to send with one trip, frozen by number.
//!
//! What was frozen is never changed. Numbered additions add lines, and may take back units of earlier ones;
//! what is asked for is what all of them leave. `depot` is the file that goes to the depot and comes back,
//! `answer` what the depot says to each line.

pub mod answer;
pub mod depot;
#[cfg(test)]
mod tests;

use super::carriage::{Mode, Sheet};
use super::load::Load;
pub use super::load::{Judged, judge};
use crate::code::{DeliveryCode, ItemCode};
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// A load list with its additions.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LoadList {
    /// Its number at the site.
    pub number: i64,
    /// The site's name.
    pub site: String,
    /// The trip that it is for.
    pub trip: DeliveryCode,
    /// What comes: a boat, an aircraft.
    pub trip_name: String,
    /// How it travels.
    pub mode: Mode,
    /// When the trip's list closes.
    pub closes: DateTime<Utc>,
    /// The list itself, numbered 0, and what was added to it, in order.
    pub additions: Vec<Addition>,
    /// Lines by number, from 1 without gaps.
    pub lines: Vec<ListLine>,
    /// What it takes of each limit of the trip.
    pub totals: Vec<Total>,
}

/// The list itself, or something that was added to it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Addition {
    /// 0 is the list itself.
    pub number: i64,
    /// When it was frozen.
    pub at: DateTime<Utc>,
    /// By whom.
    pub by: String,
    /// Why it was added; empty for the list itself.
    pub reason: String,
    /// Its entry in the site's journal.
    pub journal: i64,
    /// Items that must be kept apart on the vehicle, with all that is asked for then.
    pub apart: Vec<(ItemCode, ItemCode)>,
}

/// One line, with all that the depot must know of the item, as it was when it was frozen.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ListLine {
    /// Its number on the list.
    pub number: i64,
    /// The addition that it belongs to.
    pub addition: i64,
    /// The earlier line of which it takes units back; none: it asks for them.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub takes_back: Option<i64>,
    /// The stock number.
    pub item: ItemCode,
    /// The plain name.
    pub name: String,
    /// The unit of issue.
    pub unit: String,
    /// How many units, one at least.
    pub units: i64,
    /// Net mass of one unit, in grams.
    pub net_g: i64,
    /// Gross mass of one unit, in grams.
    pub gross_g: i64,
    /// Length, width and height of one unit, in millimetres.
    pub size_mm: [i64; 3],
    /// Its dangerous-goods entry in one line.
    pub goods: String,
    /// What one unit takes of each limit, by its id.
    pub uses: BTreeMap<String, i64>,
    /// 1: must go; the higher, the sooner it may stay.
    pub priority: i64,
    /// By when it is needed; none: not told.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub needed_by: Option<DateTime<Utc>>,
    /// What it is for: which requests it frees, what it averts.
    pub reason: String,
    /// All units are to be of one lot.
    pub one_lot: bool,
    /// What may be sent instead, the best first.
    pub substitutes: Vec<ItemCode>,
    /// The set that it goes with; none: it goes by itself.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub set: Option<i64>,
}

/// What a list takes of one limit of its trip.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Total {
    /// As in [`ListLine::uses`].
    pub id: String,
    /// The limit in words.
    pub what: String,
    /// Its unit, of which both figures are thousandths.
    pub unit: String,
    /// The most.
    pub allowed: i64,
    /// What all lines take together.
    pub taken: i64,
}

/// What is wrong with a list as a whole.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ListFault {
    /// Lines or additions are not numbered one after the other.
    #[error("{what} {given} stands where {expected} belongs; ask for the list again")]
    Number {
        /// 'line' or 'addition'.
        what: &'static str,
        /// The number that stands there.
        given: i64,
        /// The number that belongs there.
        expected: i64,
    },
    /// A line is of an addition that is not there.
    #[error(
        "line {line} belongs to addition {addition}, which is not on the list; ask for the list again"
    )]
    NoAddition {
        /// The line.
        line: i64,
        /// Its addition.
        addition: i64,
    },
    /// A line asks for, or takes back, fewer than one.
    #[error("line {line} has {units} units; a line has 1 or more")]
    Units {
        /// The line.
        line: i64,
        /// Its units.
        units: i64,
    },
    /// A line takes back of something that is no earlier line of the same item.
    #[error(
        "line {line} takes back of {of}, which is no earlier line of the same item; name one that is"
    )]
    TakesBack {
        /// The line that takes back.
        line: i64,
        /// What it names.
        of: i64,
    },
    /// More is taken back of a line than it asks for.
    #[error(
        "{taken} units are taken back of line {line}, which asks for {asked}; take back {asked} at most"
    )]
    BelowZero {
        /// The line.
        line: i64,
        /// What it asks for.
        asked: i64,
        /// What is taken back in all.
        taken: i64,
    },
    /// A total is not the sum of the lines.
    #[error(
        "the total of {what} says {given}, and the lines come to {sum}; ask for the list again"
    )]
    Sum {
        /// The limit in words.
        what: String,
        /// The total as it stands.
        given: i64,
        /// The sum of the lines.
        sum: i64,
    },
    /// A line takes of a limit that has no total.
    #[error("line {line} takes of '{id}', which has no total; ask for the list again")]
    NoTotal {
        /// The line.
        line: i64,
        /// The limit.
        id: String,
    },
}

impl LoadList {
    /// What is asked for of each line that asks: its units less what was taken back.
    #[must_use]
    pub fn asked(&self) -> BTreeMap<i64, i64> {
        let asks = self.lines.iter().filter(|it| it.takes_back.is_none());
        let mut asked: BTreeMap<i64, i64> = asks.map(|it| (it.number, it.units)).collect();
        for line in &self.lines {
            if let Some(units) = line.takes_back.and_then(|of| asked.get_mut(&of)) {
                *units -= line.units;
            }
        }
        asked
    }

    /// The line of this number.
    #[must_use]
    pub fn line(&self, number: i64) -> Option<&ListLine> {
        self.lines.iter().find(|it| it.number == number)
    }

    /// What all lines take of a limit.
    #[must_use]
    pub fn taken(&self, limit: &str) -> i64 {
        self.of_lines(|line| line.uses.get(limit).copied().unwrap_or(0))
    }

    /// Net and gross mass of all that is asked for, in grams.
    #[must_use]
    pub fn mass_g(&self) -> (i64, i64) {
        (
            self.of_lines(|line| line.net_g),
            self.of_lines(|line| line.gross_g),
        )
    }

    fn of_lines(&self, of_one: impl Fn(&ListLine) -> i64) -> i64 {
        let lines = self.lines.iter();
        lines.map(|line| line.signed() * of_one(line)).sum()
    }

    /// What is asked for, by item.
    #[must_use]
    pub fn load(&self) -> Load {
        let mut load = Load::new();
        for line in &self.lines {
            *load.entry(line.item.clone()).or_default() += line.signed();
        }
        load
    }

    /// Holds the list against its own rules: numbers, what is taken back, sums.
    ///
    /// # Errors
    /// The first fault.
    pub fn check(&self) -> Result<(), ListFault> {
        for (expected, addition) in (0_i64..).zip(&self.additions) {
            in_order("addition", addition.number, expected)?;
        }
        for (expected, line) in (1_i64..).zip(&self.lines) {
            in_order("line", line.number, expected)?;
            self.check_line(line)?;
        }
        let asked = self.asked();
        if let Some((number, left)) = asked.iter().find(|(_, left)| **left < 0) {
            let units = self.line(*number).map_or(0, |it| it.units);
            return Err(ListFault::BelowZero {
                line: *number,
                asked: units,
                taken: units - left,
            });
        }
        let wrong = self
            .totals
            .iter()
            .find(|total| total.taken != self.taken(&total.id));
        match wrong {
            Some(total) => Err(ListFault::Sum {
                what: total.what.clone(),
                given: total.taken,
                sum: self.taken(&total.id),
            }),
            None => Ok(()),
        }
    }

    fn check_line(&self, line: &ListLine) -> Result<(), ListFault> {
        let number = line.number;
        if line.units < 1 {
            return Err(ListFault::Units {
                line: number,
                units: line.units,
            });
        }
        if !self.additions.iter().any(|it| it.number == line.addition) {
            return Err(ListFault::NoAddition {
                line: number,
                addition: line.addition,
            });
        }
        if let Some(of) = line.takes_back {
            let names = |it: &ListLine| {
                it.number < number && it.takes_back.is_none() && it.item == line.item
            };
            if !self.line(of).is_some_and(names) {
                return Err(ListFault::TakesBack { line: number, of });
            }
        }
        let untold = |id: &&String| !self.totals.iter().any(|total| total.id == **id);
        match line.uses.keys().find(untold) {
            Some(id) => Err(ListFault::NoTotal {
                line: number,
                id: id.clone(),
            }),
            None => Ok(()),
        }
    }
}

const fn in_order(what: &'static str, given: i64, expected: i64) -> Result<(), ListFault> {
    if given == expected {
        return Ok(());
    }
    Err(ListFault::Number {
        what,
        given,
        expected,
    })
}

impl ListLine {
    /// Its units, below zero where it takes back.
    #[must_use]
    pub const fn signed(&self) -> i64 {
        match self.takes_back {
            Some(_) => -self.units,
            None => self.units,
        }
    }
}

impl Sheet {
    /// What is known of an item's safety sheet, in one line: number, name, class with subsidiary classes, and
    /// packing group, in the order of a transport document (UN Model Regulations 5.4.1.4.2, from memory).
    #[must_use]
    pub fn in_one_line(&self) -> String {
        let entry = match self {
            Sheet::NotRead => return "safety sheet not read".to_owned(),
            Sheet::Free { .. } => return "free by its safety sheet".to_owned(),
            Sheet::Entry(entry) => entry,
        };
        let mut words = format!("UN {:04} {}, {}", entry.un, entry.name, entry.class);
        if !entry.subsidiary.is_empty() {
            words += &format!(" ({})", entry.subsidiary.join(", "));
        }
        if let Some(group) = entry.group {
            words += &format!(", {group}");
        }
        words
    }
}
