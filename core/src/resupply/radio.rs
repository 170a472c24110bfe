//! Load list, stock report and answer as short plain lines: read by voice, or sent over a narrow link, and
//! typed back by somebody.
//!
//! A line holds A-Z, 0-9 and blanks alone: its number, what it says, and two check characters (ISO/IEC 7064,
//! MOD 1271-36) over all before them, blanks left out. So one wrong character or two neighbours swapped are
//! always found, line by line, and blanks and small letters do not matter. Signs in codes are words
//! (`words`); letters of codes are capitals. The last line says how many there are, with five letters over
//! all of them. `said` is what the lines of each kind say; words and order are our own.

mod said;
#[cfg(test)]
mod tests;
mod words;

use crate::label::check;
use sha2::{Digest, Sha256};
use std::collections::{BTreeMap, BTreeSet};

pub use said::{Asked, Message, OnHand, Request, Stock, read};
pub use words::spoken;

/// The most characters of a text that are read.
pub const MOST_CHARACTERS: usize = 100_000;
/// The most lines that a text has.
pub const MOST_LINES: usize = 2_000;

/// How many letters stand for all lines together.
const LETTERS: usize = 5;
const END: &str = "END";
const LINES: &str = "LINES";

/// Lines that say these things, numbered from 1, with check characters, and a last line over all.
#[must_use]
pub fn lines(said: &[String]) -> Vec<String> {
    let mut lines: Vec<String> = (1..)
        .zip(said)
        .map(|(number, it)| line(number, it))
        .collect();
    let all = all(said.iter().map(|it| bare(it)));
    let end = format!("{END} {} {LINES} ALL {all}", said.len());
    lines.push(line(said.len() + 1, &end));
    lines
}

fn line(number: usize, said: &str) -> String {
    let text = format!("{number} {said}");
    let check = check::characters(&bare(&text));
    format!("{text} {check}")
}

/// What is typed, in capitals and without blanks and signs that a hand adds.
fn bare(text: &str) -> String {
    let kept = text
        .chars()
        .filter(|it| !it.is_whitespace() && !".,;:-".contains(*it));
    kept.flat_map(char::to_uppercase).collect()
}

/// Five letters over what all lines say, in their order: of a SHA-256 sum, so that one text in twelve million
/// has those of another.
fn all(said: impl Iterator<Item = String>) -> String {
    let mut sum = Sha256::new();
    for it in said {
        sum.update(it.as_bytes());
        sum.update(b"\n");
    }
    let bytes = sum.finalize();
    let mut value = bytes
        .iter()
        .take(8)
        .fold(0_u64, |sum, byte| (sum << 8) | u64::from(*byte));
    let mut letters = String::new();
    for _ in 0..LETTERS {
        letters.extend(
            u8::try_from(value % 26)
                .ok()
                .map(|it| char::from(b'A' + it)),
        );
        value /= 26;
    }
    letters
}

/// What was heard of a text, line by line.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Heard {
    /// What each line says, by its number; without blanks.
    pub lines: BTreeMap<usize, String>,
    /// Rows of the text that were not heard right.
    pub misheard: Vec<Misheard>,
    /// Numbers of lines that are not there.
    pub missing: Vec<usize>,
    /// Numbers of lines that are there twice, and say the same.
    pub twice: BTreeSet<usize>,
    /// How it ends.
    pub end: End,
}

/// A row that was not heard right.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Misheard {
    /// Which row of the text, from 1, empty ones counted.
    pub row: usize,
    /// The row as typed.
    pub given: String,
    /// The number that it begins with; none if it begins with none.
    pub number: Option<usize>,
    /// Why.
    pub why: Why,
}

/// Why a row was not heard right.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Why {
    /// Its check characters do not fit.
    Check,
    /// Its check characters fit, and another line with the same number says something else.
    Number,
    /// Its check characters fit, and it says nothing that is known.
    Sense,
}

/// How a text ends.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum End {
    /// Its last line is not there, or was misheard: more may be missing.
    #[default]
    Missing,
    /// It is there; some of the lines before it are not.
    Open,
    /// All lines are there, and are those that were said.
    Whole,
    /// All lines are there, and are not those that were said, though each fits by itself.
    Differs,
}

impl Heard {
    /// All was heard as it was said.
    #[must_use]
    pub fn is_whole(&self) -> bool {
        self.end == End::Whole && self.misheard.is_empty()
    }
}

/// Hears a text: lines in any order, in any case, with blanks anywhere; several on one row where they follow
/// each other.
#[must_use]
pub fn hear(text: &str) -> Heard {
    let mut heard = Heard::default();
    let mut seen: BTreeMap<usize, (usize, String, String)> = BTreeMap::new();
    for (row, given) in (1..).zip(text.lines()).take(MOST_LINES) {
        let typed = bare(given);
        if typed.is_empty() {
            continue;
        }
        let misheard = |number, why| Misheard {
            row,
            given: given.trim().chars().take(200).collect(),
            number,
            why,
        };
        let Some(found) = one(&typed).map(|it| vec![it]).or_else(|| several(&typed)) else {
            heard.misheard.push(misheard(number(&typed), Why::Check));
            continue;
        };
        for (number, said) in found {
            match seen.get(&number) {
                Some((_, _, before)) if *before == said => drop(heard.twice.insert(number)),
                Some(_) => heard.misheard.push(misheard(Some(number), Why::Number)),
                None => drop(seen.insert(number, (row, given.trim().to_owned(), said))),
            }
        }
    }
    doubted(&mut heard, &mut seen);
    heard.lines = seen
        .into_iter()
        .map(|(number, (_, _, said))| (number, said))
        .collect();
    close(&mut heard);
    heard
}

/// Of two lines of one number neither is believed.
fn doubted(heard: &mut Heard, seen: &mut BTreeMap<usize, (usize, String, String)>) {
    let doubted: BTreeSet<usize> = heard
        .misheard
        .iter()
        .filter(|it| it.why == Why::Number)
        .filter_map(|it| it.number)
        .collect();
    for number in doubted {
        if let Some((row, given, _)) = seen.remove(&number) {
            let why = Why::Number;
            heard.misheard.push(Misheard {
                row,
                given,
                number: Some(number),
                why,
            });
        }
        heard.twice.remove(&number);
    }
    heard.misheard.sort_by_key(|it| it.row);
}

/// Takes the last line off, and says by it what is missing and how the text ends.
fn close(heard: &mut Heard) {
    let end = heard.lines.iter().find_map(|(at, said)| {
        let (count, letters) = said.strip_prefix(END)?.split_once(LINES)?;
        let count: usize = count.parse().ok()?;
        let fits = *at == count + 1 && count <= MOST_LINES;
        fits.then(|| {
            (
                count,
                letters.strip_prefix("ALL").unwrap_or_default().to_owned(),
            )
        })
    });
    let Some((count, letters)) = end else {
        let last = heard
            .lines
            .keys()
            .last()
            .copied()
            .unwrap_or(0)
            .min(MOST_LINES);
        heard.missing = (1..last)
            .filter(|it| !heard.lines.contains_key(it))
            .collect();
        return;
    };
    heard.lines.remove(&(count + 1));
    heard.missing = (1..=count)
        .filter(|it| !heard.lines.contains_key(it))
        .collect();
    heard.end = match heard.missing.is_empty() {
        false => End::Open,
        true if all(heard.lines.values().cloned()) == letters && heard.lines.len() == count => {
            End::Whole
        }
        true => End::Differs,
    };
}

fn number(typed: &str) -> Option<usize> {
    let figures = typed.len()
        - typed
            .trim_start_matches(|it: char| it.is_ascii_digit())
            .len();
    let number = typed[..figures].parse().ok()?;
    (1..=MOST_LINES + 1).contains(&number).then_some(number)
}

/// Number and words of one line that fits by itself.
fn one(typed: &str) -> Option<(usize, String)> {
    let text = check::checked(typed)?;
    let number = number(text)?;
    let said = text.trim_start_matches(|it: char| it.is_ascii_digit());
    (!said.is_empty()).then(|| (number, said.to_owned()))
}

/// The most characters of one line, blanks left out.
const MOST_OF_LINE: usize = 400;

/// Lines that run on without a break, each of which fits by itself and is numbered after the one before. The
/// first way to part them so is taken, the shortest lines first: another is unlikely, and would be found by
/// the letters over all lines.
fn several(typed: &str) -> Option<Vec<(usize, String)>> {
    if !typed.is_ascii() || typed.len() > MOST_CHARACTERS {
        return None;
    }
    let mut parted = Vec::new();
    let mut from = 0;
    while from < typed.len() {
        let rest = &typed[from..];
        let follows = |number: usize| match parted.last() {
            Some((before, _)) => number == before + 1,
            None => true,
        };
        let ends = 4..=rest.len().min(MOST_OF_LINE);
        let next =
            ends.filter_map(|end| Some((end, one(&rest[..end])?)))
                .find(|(end, (number, _))| {
                    let begins = |text: &str| text.starts_with(&(number + 1).to_string());
                    follows(*number) && (*end == rest.len() || begins(&rest[*end..]))
                });
        let (end, line) = next?;
        parted.push(line);
        from += end;
    }
    (parted.len() > 1).then_some(parted)
}
