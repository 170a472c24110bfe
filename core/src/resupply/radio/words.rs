//! Codes and figures in words of A-Z and 0-9, that are read back without the blanks between them.

use chrono::{DateTime, NaiveDate, NaiveDateTime, Utc};

/// Signs of codes, and the words for them. No word ends as another, or itself, begins: so a word is found
/// only where one was said, whatever stands before it.
const SIGNS: [(char, &str); 4] = [('-', "DASH"), ('.', "POINT"), ('/', "BAR"), ('+', "PLUS")];

/// Stands before letters that are one of these words, and are meant as letters.
const EXACTLY: &str = "EXACTLY";

fn word_at(text: &str) -> Option<&'static str> {
    let mut words = SIGNS.iter().map(|(_, word)| *word).chain([EXACTLY]);
    words.find(|word| text.starts_with(word))
}

/// A code as it is said, in capitals: 'CAN-316L' as 'CAN DASH 316L'.
#[must_use]
pub fn spoken(code: &str) -> String {
    let code = code.to_uppercase();
    let mut words: Vec<String> = vec![String::new()];
    let mut rest = code.as_str();
    while let Some(first) = rest.chars().next() {
        let mut taken = first.len_utf8();
        if let Some(word) = word_at(rest) {
            taken = word.len();
            words.extend([EXACTLY.to_owned(), word.to_owned(), String::new()]);
        } else if let Some((_, word)) = SIGNS.iter().find(|(sign, _)| *sign == first) {
            words.extend([(*word).to_owned(), String::new()]);
        } else if let Some(last) = words.last_mut().filter(|_| first.is_ascii_alphanumeric()) {
            last.push(first);
        }
        rest = &rest[taken..];
    }
    words.retain(|word| !word.is_empty());
    words.join(" ")
}

/// The code that was said, of text without blanks.
pub(super) fn heard(said: &str) -> String {
    let mut code = String::new();
    let mut rest = said;
    while let Some(first) = rest.chars().next() {
        let exactly = rest.strip_prefix(EXACTLY).and_then(word_at);
        let sign = SIGNS.iter().find(|(_, word)| rest.starts_with(word));
        let taken = match (exactly, sign) {
            (Some(word), _) => {
                code += word;
                EXACTLY.len() + word.len()
            }
            (None, Some((sign, word))) => {
                code.push(*sign);
                word.len()
            }
            (None, None) => {
                code.push(first);
                first.len_utf8()
            }
        };
        rest = &rest[taken..];
    }
    code
}

/// '20261204 1430', UTC to the minute.
pub(super) fn minute(at: DateTime<Utc>) -> String {
    at.format("%Y%m%d %H%M").to_string()
}

/// '20261204'.
pub(super) fn day(day: NaiveDate) -> String {
    day.format("%Y%m%d").to_string()
}

/// What is left to understand of a line without blanks.
#[derive(Debug, Clone, Copy)]
pub(super) struct Rest<'a>(pub &'a str);

impl<'a> Rest<'a> {
    /// Goes on behind a word, if it stands there.
    pub fn word(&mut self, word: &str) -> Option<()> {
        self.0 = self.0.strip_prefix(word)?;
        Some(())
    }

    /// A whole number of at most twelve figures.
    pub fn number(&mut self) -> Option<i64> {
        let rest = self.0.trim_start_matches(|it: char| it.is_ascii_digit());
        let figures = &self.0[..self.0.len() - rest.len()];
        self.0 = rest;
        (figures.len() <= 12).then(|| figures.parse().ok())?
    }

    fn figures(&mut self, count: usize) -> Option<&'a str> {
        let (figures, rest) = self.0.split_at_checked(count)?;
        self.0 = rest;
        Some(figures)
    }

    /// A day.
    pub fn day(&mut self) -> Option<NaiveDate> {
        NaiveDate::parse_from_str(self.figures(8)?, "%Y%m%d").ok()
    }

    /// A minute, UTC.
    pub fn minute(&mut self) -> Option<DateTime<Utc>> {
        let read = NaiveDateTime::parse_from_str(self.figures(12)?, "%Y%m%d%H%M").ok()?;
        Some(read.and_utc())
    }

    /// A code, which is all that is left.
    pub fn code<T: std::str::FromStr>(&mut self) -> Option<T> {
        let code = heard(self.0);
        self.0 = "";
        code.parse().ok()
    }

    /// Nothing is left.
    pub const fn end(self) -> Option<()> {
        if self.0.is_empty() { Some(()) } else { None }
    }
}
