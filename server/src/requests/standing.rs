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
    /// When its part is done, and its asset back with it.
    pub back: String,
}

impl Standing<'_> {
    /// In words, at a moment.
    pub fn told(&self, words: &Words<'_>, now: DateTime<Utc>) -> Told {
        match self {
            Standing::Place(stored, place) => of_place(words, stored, place, now),
            Standing::Gate(_, waiting) => of_gate(words, waiting),
            Standing::Unplanned => Told {
                mark: "free",
                word: "new",
                number: String::new(),
                act: "plan again".to_owned(),
                detail: "no order knows it yet".to_owned(),
                back: String::new(),
            },
        }
    }
}

fn of_place(words: &Words<'_>, stored: &Stored, place: &Place, now: DateTime<Utc>) -> Told {
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
            format!("then {}, {}", words.work(work), words.span(work, now)),
        ),
        Some(work) => (ready, ready, words.work(work), words.span(work, now)),
    };
    let mine = stored.accepted.is_some();
    Told {
        mark,
        word,
        number: place.number.to_string(),
        act,
        detail: if mine {
            detail
        } else {
            format!("{detail}; order {}, not accepted", stored.number)
        },
        back: place.back.map_or_else(
            || "waits for another part".to_owned(),
            |back| words.when(back),
        ),
    }
}

fn of_gate(words: &Words<'_>, waiting: &Waiting) -> Told {
    let gates = waiting
        .ways
        .first()
        .map(|way| way.shut.as_slice())
        .unwrap_or_default();
    let first = gates.first();
    let more = match gates.len() {
        0 | 1 => String::new(),
        2 => ", and a second gate".to_owned(),
        many => format!(", and {} more gates", many - 1),
    };
    Told {
        mark: "gate",
        word: "gate",
        number: String::new(),
        act: first.map_or_else(String::new, |shut| words.gate(&shut.gate)) + &more,
        detail: first.map_or_else(String::new, |shut| words.opens(&shut.opens)),
        back: String::new(),
    }
}
