//! Where a request stands: in the order that the crew works to, in a newer one, at a gate, or in none.

use chrono::{DateTime, Utc};
use mendpost_core::code::RequestCode;
use mendpost_core::lineup::{Place, Waiting};
use sqlx::SqlitePool;

use crate::lineup::{Stored, queries};
use crate::words::Words;

/// The order that the crew works to, and a newer one that nobody has accepted.
#[derive(Debug, Clone, Default)]
pub struct Orders {
    /// The accepted one; where there is none, the newest.
    pub current: Option<Stored>,
    /// The newest, if the accepted one is older.
    pub newer: Option<Stored>,
}

impl Orders {
    pub async fn load(read: &SqlitePool) -> Result<Self, sqlx::Error> {
        let accepted = queries::accepted(read).await?;
        let latest = queries::latest(read).await?;
        Ok(match (accepted, latest) {
            (None, latest) => Orders {
                current: latest,
                newer: None,
            },
            (Some(accepted), latest) => Orders {
                newer: latest.filter(|newest| newest.number > accepted.number),
                current: Some(accepted),
            },
        })
    }

    /// The newest order, accepted or not.
    pub fn newest(&self) -> Option<&Stored> {
        self.newer.as_ref().or(self.current.as_ref())
    }

    /// Where a request stands; what the current order does not know is looked for in the newer.
    pub fn standing(&self, request: &RequestCode) -> Standing<'_> {
        self.current
            .iter()
            .chain(&self.newer)
            .find_map(|stored| of_order(stored, request))
            .unwrap_or(Standing::Unplanned)
    }
}

/// Where a request stands.
#[derive(Debug, Clone, Copy)]
pub enum Standing<'a> {
    /// It has a place.
    Place(&'a Stored, &'a Place),
    /// It waits at its gates.
    Gate(&'a Stored, &'a Waiting),
    /// No order knows it yet.
    Unplanned,
}

fn of_order<'a>(stored: &'a Stored, request: &RequestCode) -> Option<Standing<'a>> {
    let line_up = &stored.line_up;
    let place = line_up.places.iter().find(|p| p.request == *request);
    let waiting = line_up.waiting.iter().find(|w| w.request == *request);
    place
        .map(|place| Standing::Place(stored, place))
        .or_else(|| waiting.map(|waiting| Standing::Gate(stored, waiting)))
}

/// A standing in a few words, for a row.
#[derive(Debug, Clone)]
pub struct Told {
    /// The mark: 'ready', 'waits', 'work', 'free', or 'gate'.
    pub mark: &'static str,
    /// Its word.
    pub word: &'static str,
    /// The number in the mark; empty without a place.
    pub number: String,
    /// The next act, or the gate.
    pub act: String,
    /// When, or what opens the gate.
    pub detail: String,
}

impl Orders {
    /// Where a request stands, in words.
    pub fn told(&self, words: &Words<'_>, request: &RequestCode, now: DateTime<Utc>) -> Told {
        match self.standing(request) {
            Standing::Place(stored, place) => {
                let told = of_place(words, place, now);
                let newer = self
                    .newer
                    .as_ref()
                    .is_some_and(|newer| newer.number == stored.number);
                if newer {
                    let detail = format!("{}; order {}, not accepted", told.detail, stored.number);
                    Told { detail, ..told }
                } else {
                    told
                }
            }
            Standing::Gate(_, waiting) => of_gate(words, waiting),
            Standing::Unplanned => Told {
                mark: "free",
                word: "new",
                number: String::new(),
                act: "plan again".to_owned(),
                detail: "no order knows it yet".to_owned(),
            },
        }
    }
}

fn of_place(words: &Words<'_>, place: &Place, now: DateTime<Utc>) -> Told {
    let (ready, waits_for) = words.readiness(&place.readiness);
    let (mark, word, act, detail) = match place.next_work(now) {
        None => (
            "free",
            "past",
            format!("to be done {}", words.when(place.done)),
            "plan again if it is not".to_owned(),
        ),
        Some(work) if place.starts() <= now => {
            ("work", "in work", words.work(work), words.span(work, now))
        }
        Some(work) if ready == "waits" => (
            ready,
            ready,
            waits_for,
            format!("then {}", words.work(work)),
        ),
        Some(work) => (ready, ready, words.work(work), words.span(work, now)),
    };
    Told {
        mark,
        word,
        number: place.number.to_string(),
        act,
        detail,
    }
}

/// The first gate of the first way that has one: where a way has none, the part only comes too late.
fn of_gate(words: &Words<'_>, waiting: &Waiting) -> Told {
    let gates = waiting
        .ways
        .iter()
        .map(|way| way.shut.as_slice())
        .find(|shut| !shut.is_empty());
    let (act, detail) = match gates.and_then(<[_]>::split_first) {
        None => words
            .true_part(waiting.request.as_str())
            .unwrap_or_default(),
        Some((first, rest)) => {
            let more = match rest.len() {
                0 => String::new(),
                1 => ", and a second gate".to_owned(),
                more => format!(", and {more} more gates"),
            };
            (words.gate(&first.gate) + &more, words.opens(&first.opens))
        }
    };
    Told {
        mark: "gate",
        word: "gate",
        number: String::new(),
        act,
        detail,
    }
}
