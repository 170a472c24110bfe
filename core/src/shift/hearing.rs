//! Whether a handover was heard, and what keeps it from being taken over.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt;

use serde::{Deserialize, Serialize};

use super::{Fact, GOOD_FOR_MIN, Record, Risk, Told, minutes};

/// What the receiver says by taking over.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Heard {
    /// The items that were read, by their keys ([`Record::items`]).
    pub read: BTreeSet<String>,
    /// What was seen of each fact, by its key.
    pub seen: BTreeMap<String, Seen>,
    /// What was done about facts that differ; may be empty where none does.
    pub settled: String,
    /// Readings that were taken again because they had become too old, by the key of their place.
    pub again: BTreeMap<String, String>,
    /// The one thing that must not go wrong, in the receiver's own words.
    pub read_back: String,
    /// Whether it was talked over at the machine.
    pub talked: bool,
}

/// What was seen of a fact.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Seen {
    /// What was seen, in the receiver's words.
    pub value: String,
    /// Whether it is what was told; none while nobody has said.
    pub agrees: Option<bool>,
}

/// What keeps a handover from being taken over.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Unheard {
    /// The receiver is who told it.
    OwnHandover,
    /// An item was not read.
    NotRead {
        /// Its key.
        key: String,
    },
    /// A safeguard on which nobody has said anything.
    GuardBlank {
        /// Its word.
        key: String,
    },
    /// A fact was not looked at.
    NotSeen {
        /// Its key.
        key: String,
    },
    /// Nobody said whether what was seen agrees.
    NotJudged {
        /// Its key.
        key: String,
    },
    /// Something differs, and nothing was done about it.
    NotSettled,
    /// A reading is too old by now.
    Stale {
        /// The key of its place.
        key: String,
        /// Minutes since it was read.
        age_min: i64,
    },
    /// Nothing was read back, at the higher risk.
    NoReadBack,
    /// It was not talked over at the machine, at the higher risk.
    NotTalked,
}

impl Unheard {
    /// The field in which it is put right.
    #[must_use]
    pub fn field(&self) -> String {
        match self {
            Unheard::OwnHandover => "sign_passphrase".to_owned(),
            Unheard::NotRead { key } | Unheard::GuardBlank { key } => format!("{key}_heard"),
            Unheard::NotSeen { key } => format!("{key}_seen"),
            Unheard::NotJudged { key } => format!("{key}_agrees"),
            Unheard::NotSettled => "settled".to_owned(),
            Unheard::Stale { key, .. } => format!("{key}_again"),
            Unheard::NoReadBack => "read_back".to_owned(),
            Unheard::NotTalked => "talked".to_owned(),
        }
    }
}

impl fmt::Display for Unheard {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Unheard::OwnHandover => f.write_str(
                "you told this handover yourself; somebody else takes it over, or it is left for who comes",
            ),
            Unheard::NotRead { .. } => f.write_str("read it, then tick it"),
            Unheard::GuardBlank { .. } => f.write_str(
                "nobody said whether this safeguard is off; refuse the handover, so that it is told anew",
            ),
            Unheard::NotSeen { .. } => f.write_str("look at it, and write what you see"),
            Unheard::NotJudged { .. } => f.write_str("say whether it is what you were told"),
            Unheard::NotSettled => {
                f.write_str("something differs: write what was done about it, or refuse the handover")
            }
            Unheard::Stale { age_min, .. } => write!(
                f,
                "read {age_min} min ago, and {GOOD_FOR_MIN} min are allowed; read it yourself"
            ),
            Unheard::NoReadBack => {
                f.write_str("write in your own words the one thing that must not go wrong")
            }
            Unheard::NotTalked => f.write_str("talk it over at the machine, then tick it"),
        }
    }
}

impl Record {
    /// The keys of the items that are read one by one: the places, half-done work, safeguards, and each further field
    /// as a whole.
    #[must_use]
    pub fn items(&self) -> Vec<String> {
        let places = self.stands.iter().map(|it| it.key.clone());
        let half = self.half.iter().map(|it| it.key.clone());
        let guards = self.guards.iter().map(|it| it.guard.to_string());
        let whole = [
            "holds",
            "moved",
            "promises",
            "musts",
            "could-bite",
            "people",
            "clock",
        ];
        let whole = whole.into_iter().map(str::to_owned);
        places.chain(half).chain(guards).chain(whole).collect()
    }
}

/// What keeps this handover from being taken over at this moment (milliseconds since 1970, UTC), in the order of the
/// page; empty if nothing does. `own` is whether the receiver is who told it.
#[must_use]
pub fn unheard(told: &Told, heard: &Heard, own: bool, now_ms: i64) -> Vec<Unheard> {
    let record = &told.record;
    let mut found = Vec::new();
    if own {
        found.push(Unheard::OwnHandover);
    }
    let unread = record
        .items()
        .into_iter()
        .filter(|it| !heard.read.contains(it));
    found.extend(unread.map(|key| Unheard::NotRead { key }));
    for line in record.guards.iter().filter(|it| it.off.is_none()) {
        let key = line.guard.to_string();
        found.push(Unheard::GuardBlank { key });
    }
    for stand in &record.stands {
        let age_min = minutes(stand.read_ms.unwrap_or(0), now_ms);
        let again = heard.again.get(&stand.key);
        if age_min > GOOD_FOR_MIN && again.is_none_or(|it| it.trim().is_empty()) {
            let key = stand.key.clone();
            found.push(Unheard::Stale { key, age_min });
        }
    }
    let mut differs = false;
    for Fact { key, .. } in &told.facts {
        let seen = heard.seen.get(key);
        if seen.is_none_or(|it| it.value.trim().is_empty()) {
            found.push(Unheard::NotSeen { key: key.clone() });
        }
        match seen.and_then(|it| it.agrees) {
            None => found.push(Unheard::NotJudged { key: key.clone() }),
            Some(agrees) => differs |= !agrees,
        }
    }
    if differs && heard.settled.trim().is_empty() {
        found.push(Unheard::NotSettled);
    }
    if told.risk() == Risk::StepUp {
        if !heard.talked {
            found.push(Unheard::NotTalked);
        }
        if heard.read_back.trim().is_empty() {
            found.push(Unheard::NoReadBack);
        }
    }
    found
}
