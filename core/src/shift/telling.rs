//! What keeps a handover from being told.

use std::fmt;

use super::{GOOD_FOR_MIN, HalfKind, Record, minutes};

/// Lines that the next shift can be given to do: what fits one page, and one head.
///
/// Common practice, no source.
pub const MOST_MUSTS: usize = 5;

/// Something that is not said yet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Untold {
    /// The field, as `booth_word`.
    pub field: String,
    /// What is the matter.
    pub why: Why,
}

/// What is the matter with a field of a handover.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Why {
    /// Nothing stands there.
    Blank,
    /// A question was not answered.
    NotAnswered,
    /// A word that is none of its place's.
    NotAWord,
    /// The giver has not said to have looked at it.
    NotConfirmed,
    /// Read so many minutes ago.
    Stale {
        /// Minutes since it was read.
        age_min: i64,
    },
    /// Read so many minutes after now.
    Ahead {
        /// Minutes until then.
        by_min: i64,
    },
}

impl fmt::Display for Why {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Why::Blank => f.write_str("say something here; blank is never 'none'"),
            Why::NotAnswered => f.write_str("answer this; blank is never 'none'"),
            Why::NotAWord => f.write_str("choose one of the words"),
            Why::NotConfirmed => f.write_str("look at it, then tick that you did"),
            Why::Stale { age_min } => write!(
                f,
                "read {age_min} min ago, and {GOOD_FOR_MIN} min are allowed; read it again"
            ),
            Why::Ahead { by_min } => {
                write!(
                    f,
                    "read in {by_min} min from now; check the time that you typed"
                )
            }
        }
    }
}

/// What keeps a handover from being told at this moment (milliseconds since 1970, UTC), in the order of its fields;
/// empty if nothing does.
#[must_use]
pub fn untold(record: &Record, now_ms: i64) -> Vec<Untold> {
    let mut found = Found::default();
    stands(record, now_ms, &mut found);
    half(record, &mut found);
    for line in &record.guards {
        let name = line.guard.as_str();
        match line.off {
            None => found.add(name, "off", Why::NotAnswered),
            Some(false) => {}
            Some(true) => {
                found.blank(name, "what", &line.what);
                found.blank(name, "restore", &line.restore);
            }
        }
    }
    found.blank("could", "bite", &record.could_bite);
    for (question, answer) in &record.people.answers {
        if answer.is_none() {
            found.add("people", question.as_str(), Why::NotAnswered);
        }
    }
    found.blank("people", "words", &record.people.words);
    if record.clock.agrees.is_none() {
        found.add("clock", "agrees", Why::NotAnswered);
    }
    found.0
}

fn stands(record: &Record, now_ms: i64, found: &mut Found) {
    for stand in &record.stands {
        let words = stand.place.words();
        if stand.word.is_empty() {
            found.add(&stand.key, "word", Why::NotAnswered);
        } else if words.iter().all(|it| it.word != stand.word) {
            found.add(&stand.key, "word", Why::NotAWord);
        }
        found.blank(&stand.key, "reading", &stand.reading);
        let why = match stand.read_ms {
            None => Some(Why::Blank),
            Some(read) if read > now_ms => Some(Why::Ahead {
                by_min: minutes(now_ms, read),
            }),
            Some(read) if minutes(read, now_ms) > GOOD_FOR_MIN => Some(Why::Stale {
                age_min: minutes(read, now_ms),
            }),
            Some(_) => None,
        };
        if let Some(why) = why {
            found.add(&stand.key, "read", why);
        }
    }
}

fn half(record: &Record, found: &mut Found) {
    for it in &record.half {
        found.blank(&it.key, "next", &it.next);
        if it.kind != HalfKind::Feeder {
            found.blank(&it.key, "parked", &it.parked);
        }
        found.blank(&it.key, "not", &it.not_for);
        if !it.confirmed {
            found.add(&it.key, "seen", Why::NotConfirmed);
        }
    }
}

#[derive(Default)]
struct Found(Vec<Untold>);

impl Found {
    fn add(&mut self, key: &str, field: &str, why: Why) {
        self.0.push(Untold {
            field: format!("{key}_{field}"),
            why,
        });
    }

    fn blank(&mut self, key: &str, field: &str, text: &str) {
        if text.trim().is_empty() {
            self.add(key, field, Why::Blank);
        }
    }
}
