//! What a copy's file name says: when, how far its journal goes, and why it was made.

use std::fmt;
use std::str::FromStr;

use chrono::{DateTime, NaiveDateTime};
use mendpost_core::journal::Hash;
use thiserror::Error;

/// The name of a copy, as `mendpost-20261125T044000Z-j812-1a2b3c4d-timed.db`. Names sort by time.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct CopyName {
    /// When it was made, in milliseconds since 1970, UTC; whole seconds.
    pub at: i64,
    /// Number of the last entry of its journal; 0 when it has none.
    pub sequence: i64,
    /// The first digits of that entry's hash: two histories may both have an entry 812.
    pub head: String,
    pub why: Why,
    /// 1, and more when copies of one second would else have the same name.
    pub turn: u32,
}

impl CopyName {
    pub fn new(at: i64, sequence: i64, head: Hash, why: Why) -> CopyName {
        CopyName {
            at: at - at.rem_euclid(1000),
            sequence,
            head: short(head),
            why,
            turn: 1,
        }
    }

    /// Whether the copy holds the journal up to this entry and not more.
    pub fn is_at(&self, sequence: i64, head: Hash) -> bool {
        self.sequence == sequence && self.head == short(head)
    }
}

/// Why a copy was made.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Why {
    /// A person wanted one.
    Asked,
    /// It was time for one.
    Timed,
    /// The structure of the database was about to change.
    Update,
}

impl Why {
    pub fn word(self) -> &'static str {
        match self {
            Why::Asked => "asked",
            Why::Timed => "timed",
            Why::Update => "update",
        }
    }
}

impl fmt::Display for CopyName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let stamp = stamp(self.at);
        let (sequence, head, why) = (self.sequence, &self.head, self.why.word());
        write!(f, "{PREFIX}{stamp}-j{sequence}-{head}-{why}")?;
        if self.turn > 1 {
            write!(f, "-{}", self.turn)?;
        }
        f.write_str(SUFFIX)
    }
}

/// A file name that is not that of a copy.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("'{0}' is not the name of a copy, as mendpost-20261125T044000Z-j812-1a2b3c4d-timed.db")]
pub struct NoCopy(String);

impl FromStr for CopyName {
    type Err = NoCopy;

    /// Takes just what [`CopyName`] writes, so that no other file is ever taken for one of ours.
    fn from_str(file: &str) -> Result<CopyName, NoCopy> {
        parse(file)
            .filter(|name| name.to_string() == file)
            .ok_or_else(|| NoCopy(file.to_owned()))
    }
}

/// UTC to the second, as `20261125T044000Z`: no colon, since sticks refuse it.
pub fn stamp(at: i64) -> String {
    DateTime::from_timestamp_millis(at)
        .map_or_else(|| format!("{at}ms"), |time| time.format(STAMP).to_string())
}

const PREFIX: &str = "mendpost-";
const SUFFIX: &str = ".db";
const STAMP: &str = "%Y%m%dT%H%M%SZ";

fn short(head: Hash) -> String {
    head.to_string().chars().take(8).collect()
}

fn parse(file: &str) -> Option<CopyName> {
    let inner = file.strip_prefix(PREFIX)?.strip_suffix(SUFFIX)?;
    let mut parts = inner.split('-');
    let at = NaiveDateTime::parse_from_str(parts.next()?, STAMP).ok()?;
    let sequence = parts.next()?.strip_prefix('j')?.parse().ok()?;
    let head = parts.next()?;
    let word = parts.next()?;
    let turn = parts.next().map_or(Some(1), |turn| turn.parse().ok())?;
    let hex = head.len() == 8 && head.bytes().all(|b| b.is_ascii_hexdigit());
    (hex && parts.next().is_none()).then_some(())?;
    Some(CopyName {
        at: at.and_utc().timestamp_millis(),
        sequence,
        head: head.to_owned(),
        why: [Why::Asked, Why::Timed, Why::Update]
            .into_iter()
            .find(|why| why.word() == word)?,
        turn,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 1 795 581 600 s after 1970 is 25 November 2026, 04:40 UTC; half a second is cut off.
    #[test]
    fn a_name_says_when_how_far_and_why_and_reads_back() {
        let mut name = CopyName::new(1_795_581_600_500, 812, Hash([0x1a; 32]), Why::Timed);
        assert_eq!(
            name.to_string(),
            "mendpost-20261125T044000Z-j812-1a1a1a1a-timed.db"
        );
        assert_eq!(name.to_string().parse(), Ok(name.clone()));
        assert!(name.is_at(812, Hash([0x1a; 32])));
        assert!(!name.is_at(812, Hash([0x1b; 32])), "another history");
        name.turn = 2;
        assert_eq!(
            name.to_string(),
            "mendpost-20261125T044000Z-j812-1a1a1a1a-timed-2.db"
        );
        assert_eq!(name.to_string().parse(), Ok(name));
    }

    #[test]
    fn other_files_are_not_ours() {
        for file in [
            "mendpost.db",
            "mendpost-20261125T044000Z-j812-1a1a1a1a-timed.db.sha256",
            "mendpost-20261125T044000Z-j812-1a1a1a1a-timed.db.part",
            "mendpost-20261125T044000Z-j0812-1a1a1a1a-timed.db",
            "mendpost-20261125T044000Z-j812-1a1a1a1a-timed-1.db",
            "mendpost-20261125T044000Z-j812-1a1a1a1a-other.db",
            "mendpost-20261345T044000Z-j812-1a1a1a1a-timed.db",
            "mendpost-20261125T044000Z-j812-1a1a-timed.db",
            "photos.db",
            "",
        ] {
            assert!(file.parse::<CopyName>().is_err(), "{file}");
        }
    }
}
