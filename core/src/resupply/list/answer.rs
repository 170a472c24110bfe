//! The depot's answer to a load list: what becomes of each line.

use super::LoadList;
use crate::code::{DeliveryCode, ItemCode};
use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;

/// The depot's answer to one list.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Answer {
    /// The number of the list.
    pub list: i64,
    /// The trip that the list is for.
    pub trip: DeliveryCode,
    /// Who answers at the depot; may be empty.
    pub by: String,
    /// When it arrives; none: as the trip says.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub arrival: Option<DateTime<Utc>>,
    /// One for each line that asks for something.
    pub lines: Vec<AnswerLine>,
}

/// What becomes of one line, in units of the line.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct AnswerLine {
    /// The number of the line.
    pub line: i64,
    /// Units that are sent.
    pub sent: i64,
    /// Units that are not sent, and not later either.
    pub cut: i64,
    /// Units that are sent later.
    pub later: i64,
    /// When.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub later_on: Option<NaiveDate>,
    /// What is sent in place of the units that are left; none: nothing.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub instead: Option<Instead>,
    /// By what it can be asked after: letters, figures, '-', '.', '/' and '+'; may be empty.
    pub consignment: String,
    /// What else there is to say; may be empty.
    pub note: String,
}

/// Another item in place of the units of a line that are neither sent nor cut nor sent later.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Instead {
    /// Its stock number.
    pub item: ItemCode,
    /// How many units of it.
    pub units: i64,
}

/// Where in a line a fault stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Place {
    /// The number of the line.
    Line,
    /// What is sent.
    Sent,
    /// What is cut.
    Cut,
    /// What is sent later.
    Later,
    /// When it is sent later.
    LaterOn,
    /// What is sent instead.
    Instead,
    /// How many units of it.
    InsteadUnits,
    /// What else there is to say.
    Note,
}

/// What is wrong with the answer to one line.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum AnswerFault {
    /// The list has no such line, or it asks for nothing.
    #[error("line {line} of list {list} asks for nothing; answer {allowed}")]
    NotAsked {
        /// The line that is answered.
        line: i64,
        /// The list.
        list: i64,
        /// The lines that ask for something.
        allowed: String,
    },
    /// A line is answered twice.
    #[error("line {line} is answered twice; answer it once")]
    Twice {
        /// The line.
        line: i64,
    },
    /// Nobody says what becomes of a line.
    #[error("line {line} asks for {asked}; say how many are sent, cut, later or replaced")]
    NotAnswered {
        /// The line.
        line: i64,
        /// What it asks for.
        asked: i64,
    },
    /// A figure below zero.
    #[error("{given} units; give 0 or more")]
    Negative {
        /// The figure.
        given: i64,
    },
    /// The figures do not make up what is asked for.
    #[error("{told} of {asked} are told of; say what becomes of the other {}", asked - told)]
    TooFew {
        /// What is asked for.
        asked: i64,
        /// Sent, cut and later.
        told: i64,
    },
    /// More is told of than is asked for.
    #[error("{told} are told of, and {asked} asked for; cut and later go up to {}", (asked - sent).max(0))]
    TooMany {
        /// What is asked for.
        asked: i64,
        /// What is sent.
        sent: i64,
        /// Sent, cut and later.
        told: i64,
    },
    /// More is sent than is asked for, and nobody says why.
    #[error("{sent} are sent, and {asked} asked for; say why in the note, or send {asked}")]
    OverSent {
        /// What is asked for.
        asked: i64,
        /// What is sent.
        sent: i64,
    },
    /// Something is sent instead of nothing.
    #[error(
        "{item} is sent instead, and nothing is left that it replaces; lower what is sent, cut or later"
    )]
    InsteadOfNothing {
        /// The item.
        item: ItemCode,
    },
    /// Units of something else without a number of them.
    #[error("{units} units of {item} are sent instead; give 1 or more")]
    InsteadUnits {
        /// The item.
        item: ItemCode,
        /// As given.
        units: i64,
    },
    /// The line's own item is sent instead of it.
    #[error("{item} is what the line asks for; say it as sent")]
    InsteadOfItself {
        /// The item.
        item: ItemCode,
    },
    /// A day where nothing is sent later.
    #[error("a day is given, and nothing is sent later; say how many, or leave the day empty")]
    DayOfNothing,
}

impl AnswerLine {
    /// What is told of in units of the line.
    const fn told(&self) -> i64 {
        self.sent + self.cut + self.later
    }

    /// The units of the line that something else replaces.
    #[must_use]
    pub fn replaced(&self, asked: i64) -> i64 {
        match self.instead {
            Some(_) => (asked - self.told()).max(0),
            None => 0,
        }
    }
}

impl Answer {
    /// Holds an answer against its list: sent, cut, later and replaced make up what each line asks for, and
    /// every line that asks is answered once. More may be sent than is asked for, with a note.
    ///
    /// Each fault by the line it stands in, and where in it.
    #[must_use]
    pub fn check(&self, list: &LoadList) -> Vec<(i64, Place, AnswerFault)> {
        let mut asked = list.asked();
        asked.retain(|_, units| *units > 0);
        let mut faults = Vec::new();
        let mut seen = BTreeSet::new();
        for line in &self.lines {
            let number = line.line;
            match asked.get(&number) {
                None => {
                    let allowed: Vec<String> = asked.keys().map(ToString::to_string).collect();
                    let allowed = allowed.join(", ");
                    let fault = AnswerFault::NotAsked {
                        line: number,
                        list: list.number,
                        allowed,
                    };
                    faults.push((number, Place::Line, fault));
                }
                Some(_) if !seen.insert(number) => {
                    faults.push((number, Place::Line, AnswerFault::Twice { line: number }));
                }
                Some(units) => {
                    let item = list.line(number).map(|it| &it.item);
                    let found = line.faults(*units, item).into_iter();
                    faults.extend(found.map(|(place, fault)| (number, place, fault)));
                }
            }
        }
        let open = asked.iter().filter(|(line, _)| !seen.contains(*line));
        faults.extend(open.map(|(line, asked)| {
            let fault = AnswerFault::NotAnswered {
                line: *line,
                asked: *asked,
            };
            (*line, Place::Sent, fault)
        }));
        faults
    }
}

impl AnswerLine {
    fn faults(&self, asked: i64, item: Option<&ItemCode>) -> Vec<(Place, AnswerFault)> {
        let figures = [
            (Place::Sent, self.sent),
            (Place::Cut, self.cut),
            (Place::Later, self.later),
        ];
        let negative = figures.into_iter().filter(|(_, given)| *given < 0);
        let mut faults: Vec<(Place, AnswerFault)> = negative
            .map(|(place, given)| (place, AnswerFault::Negative { given }))
            .collect();
        if !faults.is_empty() {
            return faults;
        }
        faults.extend(self.fault_of_sum(asked));
        faults.extend(
            self.instead
                .iter()
                .filter_map(|it| self.fault_of_instead(it, asked, item)),
        );
        if self.later == 0 && self.later_on.is_some() {
            faults.push((Place::LaterOn, AnswerFault::DayOfNothing));
        }
        faults
    }

    fn fault_of_sum(&self, asked: i64) -> Option<(Place, AnswerFault)> {
        let (sent, told) = (self.sent, self.told());
        if sent > asked && self.note.is_empty() {
            return Some((Place::Note, AnswerFault::OverSent { asked, sent }));
        }
        if told > asked.max(sent) {
            let place = if self.cut > 0 {
                Place::Cut
            } else {
                Place::Later
            };
            return Some((place, AnswerFault::TooMany { asked, sent, told }));
        }
        if told == 0 && self.instead.is_none() {
            let fault = AnswerFault::NotAnswered {
                line: self.line,
                asked,
            };
            return Some((Place::Sent, fault));
        }
        let short = told < asked && self.instead.is_none();
        short.then_some((Place::Sent, AnswerFault::TooFew { asked, told }))
    }

    fn fault_of_instead(
        &self,
        instead: &Instead,
        asked: i64,
        item: Option<&ItemCode>,
    ) -> Option<(Place, AnswerFault)> {
        let code = || instead.item.clone();
        if item == Some(&instead.item) {
            return Some((
                Place::Instead,
                AnswerFault::InsteadOfItself { item: code() },
            ));
        }
        if instead.units < 1 {
            let fault = AnswerFault::InsteadUnits {
                item: code(),
                units: instead.units,
            };
            return Some((Place::InsteadUnits, fault));
        }
        let nothing = self.told() >= asked;
        nothing.then(|| {
            (
                Place::Instead,
                AnswerFault::InsteadOfNothing { item: code() },
            )
        })
    }
}
