//! Entries as they stand in storage, byte by byte, and the chain that is checked as they are read.

use std::fmt;

use serde_json::Value;
use sha2::{Digest, Sha256};

use super::{BrokenAt, Entry, Hash, NotCanonical, Subject, canonical, refuse_inexact};

/// An entry with its seal, as it is stored: what the columns hold, whether that can be or not.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stored {
    /// Place in the journal.
    pub sequence: i64,
    /// Milliseconds since 1970, UTC.
    pub time: i64,
    /// UTF-8.
    pub actor: Vec<u8>,
    /// UTF-8.
    pub kind: Vec<u8>,
    /// UTF-8.
    pub subject_kind: Vec<u8>,
    /// UTF-8.
    pub subject_id: Vec<u8>,
    /// Canonical JSON (RFC 8785) in UTF-8.
    pub content: Vec<u8>,
    /// 32 bytes.
    pub previous: Vec<u8>,
    /// 32 bytes.
    pub hash: Vec<u8>,
}

impl Stored {
    /// Seals an entry to the one before it: what is to be stored, and its hash.
    ///
    /// Sources: canonical JSON by RFC 8785, SHA-256 by FIPS 180-4.
    ///
    /// # Errors
    /// When the entry holds a number that canonical JSON cannot carry exactly.
    pub fn seal(previous: Hash, entry: Entry) -> Result<(Stored, Hash), NotCanonical> {
        for number in [entry.sequence, entry.time] {
            refuse_inexact(&Value::from(number))?;
        }
        let content = canonical(&entry.content)?;
        let hash = hash_of(previous, &entry, &content)?;
        let stored = Stored {
            sequence: entry.sequence,
            time: entry.time,
            actor: entry.actor.into_bytes(),
            kind: entry.kind.into_bytes(),
            subject_kind: entry.subject.kind.into_bytes(),
            subject_id: entry.subject.id.into_bytes(),
            content: content.into_bytes(),
            previous: previous.0.to_vec(),
            hash: hash.0.to_vec(),
        };
        Ok((stored, hash))
    }

    fn unreadable(&self, column: Column, fault: impl fmt::Display) -> BrokenAt {
        BrokenAt::Unreadable {
            sequence: self.sequence,
            column,
            fault: fault.to_string(),
        }
    }

    fn text<'a>(&self, column: Column, bytes: &'a [u8]) -> Result<&'a str, BrokenAt> {
        let not_text = |_| self.unreadable(column, "not text (UTF-8)");
        std::str::from_utf8(bytes).map_err(not_text)
    }

    fn sum(&self, column: Column, bytes: &[u8]) -> Result<Hash, BrokenAt> {
        let wrong = |_| self.unreadable(column, format!("{} bytes long, not 32", bytes.len()));
        bytes.try_into().map(Hash).map_err(wrong)
    }
}

/// A column of a stored entry.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Column {
    /// Who.
    Actor,
    /// What happened.
    Kind,
    /// The sort of thing.
    SubjectKind,
    /// Which one.
    SubjectId,
    /// What changed.
    Content,
    /// The hash of the entry before.
    Previous,
    /// Its own hash.
    Hash,
}

impl fmt::Display for Column {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Column::Actor => "actor",
            Column::Kind => "kind",
            Column::SubjectKind => "kind of subject",
            Column::SubjectId => "subject",
            Column::Content => "content",
            Column::Previous => "hash of the entry before",
            Column::Hash => "hash",
        })
    }
}

/// A journal's chain, checked entry by entry from the first one on, so that none is held in memory.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Chain {
    sequence: i64,
    head: Hash,
}

impl Default for Chain {
    /// Before the first entry.
    fn default() -> Self {
        Chain {
            sequence: 0,
            head: Hash::START,
        }
    }
}

impl Chain {
    /// Number of the last entry that was followed; 0 before the first.
    #[must_use]
    pub fn sequence(&self) -> i64 {
        self.sequence
    }

    /// Its hash.
    #[must_use]
    pub fn head(&self) -> Hash {
        self.head
    }

    /// Takes the next entry if every byte of it is as it was sealed.
    ///
    /// The content must be its own canonical JSON, to the byte; the hash is taken over it and all other
    /// columns, so that nothing of an entry is left out.
    ///
    /// # Errors
    /// What does not hold, with what was found and what should stand there.
    pub fn follow(&mut self, stored: &Stored) -> Result<Entry, BrokenAt> {
        let (sequence, expected) = (stored.sequence, self.sequence.saturating_add(1));
        if sequence != expected {
            return Err(BrokenAt::Missing {
                expected,
                found: sequence,
            });
        }
        let found = stored.sum(Column::Previous, &stored.previous)?;
        if found != self.head {
            return Err(BrokenAt::Previous {
                sequence,
                found,
                expected: self.head,
            });
        }
        let text = |column, bytes| stored.text(column, bytes).map(str::to_owned);
        let content = stored.text(Column::Content, &stored.content)?;
        let entry = Entry {
            sequence,
            time: stored.time,
            actor: text(Column::Actor, &stored.actor)?,
            kind: text(Column::Kind, &stored.kind)?,
            subject: Subject {
                kind: text(Column::SubjectKind, &stored.subject_kind)?,
                id: text(Column::SubjectId, &stored.subject_id)?,
            },
            content: read_canonical(stored, content)?,
        };
        let found = stored.sum(Column::Hash, &stored.hash)?;
        let expected = hash_of(self.head, &entry, content)
            .map_err(|fault| stored.unreadable(Column::Content, fault))?;
        if found != expected {
            return Err(BrokenAt::Hash {
                sequence,
                found,
                expected,
            });
        }
        (self.sequence, self.head) = (sequence, found);
        Ok(entry)
    }
}

/// What a content says, if it is written as it is sealed.
fn read_canonical(stored: &Stored, content: &str) -> Result<Value, BrokenAt> {
    let no_json = |fault: &dyn fmt::Display| {
        stored.unreadable(Column::Content, format!("no JSON of ours: {fault}"))
    };
    let value: Value = serde_json::from_str(content).map_err(|fault| no_json(&fault))?;
    let written = canonical(&value).map_err(|fault| no_json(&fault))?;
    if written == content {
        return Ok(value);
    }
    let same = written.chars().zip(content.chars());
    let same = same.take_while(|(one, other)| one == other).count();
    Err(BrokenAt::NotCanonical {
        sequence: stored.sequence,
        at: same + 1,
    })
}

/// SHA-256 over the canonical JSON of an entry, whose content is canonical already.
fn hash_of(previous: Hash, entry: &Entry, content: &str) -> Result<Hash, NotCanonical> {
    let text = sealed(previous, entry, content)?;
    Ok(Hash(Sha256::digest(text.as_bytes()).into()))
}

impl Entry {
    /// The very text whose SHA-256 is the hash of this entry behind the one with the hash `previous`.
    ///
    /// # Errors
    /// [`NotCanonical`] for what has no canonical JSON.
    pub fn sealed(&self, previous: Hash) -> Result<String, NotCanonical> {
        sealed(previous, self, &canonical(&self.content)?)
    }
}

fn sealed(previous: Hash, entry: &Entry, content: &str) -> Result<String, NotCanonical> {
    // The keys in the order that RFC 8785, section 3.2.3, puts them.
    Ok(format!(
        r#"{{"actor":{},"content":{content},"kind":{},"previous":"{previous}","sequence":{},"subject":{},"time":{}}}"#,
        canonical(&entry.actor)?,
        canonical(&entry.kind)?,
        entry.sequence,
        canonical(&entry.subject)?,
        entry.time,
    ))
}
