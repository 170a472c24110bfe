//! The journal's hash chain: each entry is sealed together with the hash of the one before it.
//!
//! The hash of an entry is SHA-256 over the canonical JSON (RFC 8785) of one object with the keys
//! `actor`, `content`, `kind`, `previous`, `sequence`, `subject` and `time`, so that anybody can check
//! it with a JSON tool and `sha256sum`, without this program.

pub mod clock;
pub mod code;
mod stored;

use std::fmt;

use serde::Serialize;
use serde_json::Value;
use thiserror::Error;

pub use stored::{Chain, Column, Stored};

/// Checks a whole journal from its first entry, and returns its head: the hash of the last entry.
///
/// # Errors
/// The first place at which the chain does not hold.
pub fn verify(entries: impl IntoIterator<Item = Stored>) -> Result<Hash, BrokenAt> {
    let mut chain = Chain::default();
    for stored in entries {
        chain.follow(&stored)?;
    }
    Ok(chain.head())
}

/// The canonical JSON (RFC 8785) of any value.
///
/// # Errors
/// When it holds a whole number beyond 2^53: JSON numbers are doubles there, and it would be rounded.
pub fn canonical(value: &impl Serialize) -> Result<String, NotCanonical> {
    let value =
        serde_json::to_value(value).map_err(|error| NotCanonical::Json(error.to_string()))?;
    refuse_inexact(&value)?;
    serde_json_canonicalizer::to_string(&value)
        .map_err(|error| NotCanonical::Json(error.to_string()))
}

/// One change: when, by whom, what, to what.
#[derive(Debug, Clone, PartialEq)]
pub struct Entry {
    /// Place in the journal, from 1, without gaps.
    pub sequence: i64,
    /// Milliseconds since 1970, UTC, as the clock claimed them.
    pub time: i64,
    /// The person's id, or the program's own name.
    pub actor: String,
    /// What happened, as `person.added`.
    pub kind: String,
    /// What it happened to.
    pub subject: Subject,
    /// What changed.
    pub content: Value,
}

/// What an entry is about.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Subject {
    /// The sort of thing, as `person`.
    pub kind: String,
    /// Its id or number, as text.
    pub id: String,
}

impl Subject {
    /// The thing of this sort with this id or number.
    pub fn new(kind: &str, id: impl fmt::Display) -> Self {
        Subject {
            kind: kind.to_owned(),
            id: id.to_string(),
        }
    }
}

/// A SHA-256 hash; shown as 64 hexadecimal digits.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Hash(pub [u8; 32]);

impl Hash {
    /// What stands before the first entry.
    pub const START: Hash = Hash([0; 32]);
}

impl fmt::Display for Hash {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.iter().try_for_each(|byte| write!(f, "{byte:02x}"))
    }
}

impl Serialize for Hash {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

/// Why a value has no canonical JSON.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum NotCanonical {
    /// A whole number that a double cannot hold.
    #[error("the whole number {0} is beyond 2^53, where JSON would round it; write it as text")]
    TooLarge(String),
    /// A value that is no JSON at all, as a map with keys that are no text.
    #[error("no JSON: {0}")]
    Json(String),
}

/// Where a journal's chain does not hold.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum BrokenAt {
    /// An entry is gone, or one was put in between.
    #[error("journal entry {expected} is missing: entry {found} stands in its place")]
    Missing {
        /// The sequence number that should have come.
        expected: i64,
        /// The one that came.
        found: i64,
    },
    /// What is stored in a column is not what can be written there.
    #[error("journal entry {sequence} was changed after it was written: its {column} is {fault}")]
    Unreadable {
        /// The entry's sequence number.
        sequence: i64,
        /// Where.
        column: Column,
        /// What it is instead.
        fault: String,
    },
    /// The content means what it may have meant, and is written otherwise.
    #[error(
        "journal entry {sequence} was changed after it was written: its content is not in canonical \
         form (RFC 8785) from character {at} on"
    )]
    NotCanonical {
        /// The entry's sequence number.
        sequence: i64,
        /// The first character that differs, from 1.
        at: usize,
    },
    /// The entry does not follow the one before it.
    #[error(
        "journal entry {sequence} does not carry the hash of the entry before it: it says {found}, and \
         that is {expected}"
    )]
    Previous {
        /// The entry's sequence number.
        sequence: i64,
        /// What it carries.
        found: Hash,
        /// The hash of the entry before it.
        expected: Hash,
    },
    /// The entry is not what was sealed.
    #[error(
        "journal entry {sequence} was changed after it was written: its hash is {found}, and what it \
         says has {expected}"
    )]
    Hash {
        /// The entry's sequence number.
        sequence: i64,
        /// The hash that it carries.
        found: Hash,
        /// The hash of what it says.
        expected: Hash,
    },
}

/// The largest whole number up to which a double holds every one (RFC 8785, appendix D).
const EXACT: u64 = 1 << 53;

fn refuse_inexact(value: &Value) -> Result<(), NotCanonical> {
    match value {
        Value::Number(number) => {
            let magnitude = number.as_u64().or(number.as_i64().map(i64::unsigned_abs));
            match magnitude {
                Some(magnitude) if magnitude > EXACT => {
                    Err(NotCanonical::TooLarge(number.to_string()))
                }
                _ => Ok(()),
            }
        }
        Value::Array(items) => items.iter().try_for_each(refuse_inexact),
        Value::Object(members) => members.values().try_for_each(refuse_inexact),
        Value::Null | Value::Bool(_) | Value::String(_) => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use serde_json::json;

    use super::*;

    fn sealed(entries: Vec<Entry>) -> Vec<Stored> {
        let mut previous = Hash::START;
        let mut journal = Vec::new();
        for entry in entries {
            let (stored, hash) = Stored::seal(previous, entry).expect("small numbers");
            journal.push(stored);
            previous = hash;
        }
        journal
    }

    fn hash(stored: &Stored) -> Hash {
        Hash(stored.hash.clone().try_into().expect("32 bytes"))
    }

    fn entry(sequence: i64, content: Value) -> Entry {
        Entry {
            sequence,
            time: 1_795_617_600_000,
            actor: "mendpost".to_owned(),
            kind: "person.added".to_owned(),
            subject: Subject::new("person", 1),
            content,
        }
    }

    /// The hash can be had without this program:
    /// ```sh
    /// printf '%s' '{"actor":"mendpost","content":{"grams":6480,"name":"Æ"},"kind":"person.added","previous":"0000000000000000000000000000000000000000000000000000000000000000","sequence":1,"subject":{"id":"1","kind":"person"},"time":1795617600000}' | sha256sum
    /// ```
    #[test]
    fn first_hash_is_what_sha256sum_says() {
        let first = entry(1, json!({"name": "Æ", "grams": 6480}));
        let (_, hash) = Stored::seal(Hash::START, first).expect("small numbers");
        assert_eq!(
            hash.to_string(),
            "bd686f07e1dc13b345e798dce47495ddf2ad00bd989fe07f8b986b884a641342"
        );
    }

    /// RFC 8785, section 3.2.2 (the sample input) and 3.2.3 (the expected output): number forms,
    /// escapes, and the order of keys.
    #[test]
    fn canonical_form_is_that_of_rfc_8785() {
        let sample = r#"{
            "numbers": [333333333.33333329, 1E30, 4.50, 2e-3, 0.000000000000000000000000001],
            "string": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/",
            "literals": [null, true, false]
        }"#;
        let value: Value = serde_json::from_str(sample).expect("valid JSON");
        assert_eq!(
            canonical(&value).expect("small numbers"),
            concat!(
                r#"{"literals":[null,true,false],"#,
                r#""numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],"#,
                r#""string":"€$\u000f\nA'B\"\\\\\"/"}"#
            )
        );
    }

    #[test]
    fn numbers_that_json_would_round_are_refused() {
        assert!(canonical(&json!(9_007_199_254_740_992_u64)).is_ok());
        assert_eq!(
            canonical(&json!([9_007_199_254_740_993_u64])),
            Err(NotCanonical::TooLarge("9007199254740993".to_owned()))
        );
    }

    #[test]
    fn an_empty_journal_holds_and_its_head_is_the_start() {
        assert_eq!(verify(Vec::new()), Ok(Hash::START));
    }

    /// A changed figure, a lost entry and a seam are each found where they stand.
    #[test]
    fn every_kind_of_tampering_is_found() {
        let whole = sealed(
            (1..=4)
                .map(|n| entry(n, json!({ "grams": n * 100 })))
                .collect(),
        );
        assert_eq!(verify(whole.clone()), Ok(hash(&whole[3])));

        let mut changed = whole.clone();
        changed[2].content = br#"{"grams":299}"#.to_vec();
        let found = verify(changed);
        assert!(
            matches!(found, Err(BrokenAt::Hash { sequence: 3, .. })),
            "{found:?}"
        );

        let mut lost = whole.clone();
        lost.remove(1);
        assert_eq!(
            verify(lost),
            Err(BrokenAt::Missing {
                expected: 2,
                found: 3
            })
        );

        // Forged from entry 2 on with right hashes of its own, then the true tail: the seam shows.
        let mut forged = whole.clone();
        let (second, its_hash) =
            Stored::seal(hash(&whole[0]), entry(2, json!({"grams": 201}))).expect("small numbers");
        forged[1] = second;
        assert_eq!(
            verify(forged),
            Err(BrokenAt::Previous {
                sequence: 3,
                found: hash(&whole[1]),
                expected: its_hash
            })
        );
    }

    /// What means the same and is written otherwise is no longer what was stored: a blank more, keys in
    /// another order, 400.0 for 400, a key twice, an escape for a letter.
    #[test]
    fn the_text_itself_is_sealed_and_not_only_its_meaning() {
        let whole = sealed(vec![entry(1, json!({"grams": 400, "lot": "L0408"}))]);
        for (text, at) in [
            (r#"{"grams": 400,"lot":"L0408"}"#, 10),
            (r#"{"lot":"L0408","grams":400}"#, 3),
            (r#"{"grams":400.0,"lot":"L0408"}"#, 13),
            (r#"{"grams":1,"grams":400,"lot":"L0408"}"#, 10),
            (r#"{"grams":400,"lot":"\u004c0408"}"#, 21),
            (r#"{"grams":400,"lot":"L0408"} "#, 28),
        ] {
            let mut changed = whole.clone();
            changed[0].content = text.as_bytes().to_vec();
            let expected = Err(BrokenAt::NotCanonical { sequence: 1, at });
            assert_eq!(verify(changed), expected, "{text}");
        }
        let mut broken = whole.clone();
        broken[0].content.pop();
        let told = verify(broken).expect_err("no JSON").to_string();
        assert!(told.contains("its content is no JSON"), "{told}");
    }

    proptest! {
        /// Whatever the content, an entry holds, and no longer holds once any bit of any column is
        /// another.
        #[test]
        fn any_entry_holds_until_a_bit_is_flipped(
            text in ".*", grams in -1_000_000_i64..1_000_000, bit in any::<prop::sample::Index>()
        ) {
            let journal = sealed(vec![
                entry(1, json!({"text": text, "grams": grams})),
                entry(2, json!({"grams": 0})),
            ]);
            prop_assert_eq!(verify(journal.clone()), Ok(hash(&journal[1])));
            let first = &journal[0];
            let columns = [
                &first.actor, &first.kind, &first.subject_kind, &first.subject_id, &first.content,
                &first.previous, &first.hash,
            ];
            for column in 0..columns.len() {
                let mut flipped = journal.clone();
                let first = &mut flipped[0];
                let bytes = [
                    &mut first.actor, &mut first.kind, &mut first.subject_kind, &mut first.subject_id,
                    &mut first.content, &mut first.previous, &mut first.hash,
                ];
                for (place, bytes) in bytes.into_iter().enumerate().filter(|(place, _)| *place == column) {
                    let at = bit.index(columns[place].len() * 8);
                    bytes[at / 8] ^= 1 << (at % 8);
                }
                prop_assert!(verify(flipped).is_err(), "column {}", column);
            }
            for bit in 0..64 {
                let mut flipped = journal.clone();
                flipped[0].time ^= 1 << bit;
                prop_assert!(verify(flipped).is_err(), "bit {} of the time", bit);
                let mut flipped = journal.clone();
                flipped[0].sequence ^= 1 << bit;
                prop_assert!(verify(flipped).is_err(), "bit {} of the sequence", bit);
            }
        }
    }
}
