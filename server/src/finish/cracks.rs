//! A look for cracks: by which method, with what, and what was found.

use serde::Deserialize;
use serde_json::{Value, json};
use uuid::Uuid;

use super::entry::short;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, optional_text, text};
use crate::hold::{Cause, Held, hold_part};
use crate::people::Who;

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub struct CrackForm {
    pub method: String,
    /// 'found' or 'none'.
    pub cracks: String,
    pub crack_words: String,
    pub agent: String,
}

/// A look as it will be entered.
#[derive(Debug)]
pub struct NewCrack {
    pub method: String,
    pub found: bool,
    pub words: String,
    pub agent: String,
}

/// Methods to choose from; common practice, no source.
pub const METHODS: [(&str, &str); 5] = [
    ("dye", "dye penetrant"),
    ("fluorescent", "fluorescent penetrant"),
    ("magnetic", "magnetic particles"),
    ("ultrasonic", "ultrasonic"),
    ("eye", "by eye, with a glass"),
];

/// A method in words; one that is not in the list is said as it was typed.
pub fn method(word: &str) -> &str {
    let known = METHODS.iter().find(|(known, _)| *known == word);
    known.map_or(word, |(_, words)| words)
}

impl CrackForm {
    /// What was found; nothing chosen is never 'none found'.
    pub fn parse(&self, errors: &mut FieldErrors) -> Option<NewCrack> {
        if !METHODS.iter().any(|(known, _)| *known == self.method) {
            errors.add("method", "say by which method it was looked at");
        }
        let found = match self.cracks.as_str() {
            "found" => Some(true),
            "none" => Some(false),
            _ => {
                errors.add(
                    "cracks",
                    "say whether any was found; a blank counts for nothing",
                );
                None
            }
        };
        let agent = errors.check("agent", text(&self.agent, 80));
        let words = match found {
            Some(true) => errors.check("crack_words", text(&self.crack_words, 400)),
            _ => errors
                .check("crack_words", optional_text(&self.crack_words, 400))
                .map(Option::unwrap_or_default),
        };
        let (found, words, agent) = (found?, words?, agent?);
        Some(NewCrack {
            method: self.method.clone(),
            found,
            words,
            agent,
        })
    }
}

impl NewCrack {
    pub fn content(&self) -> Value {
        json!({
            "method": self.method,
            "found": self.found,
            "words": self.words,
            "agent": self.agent,
        })
    }

    /// What a part is held for, where any was found.
    pub fn out(&self) -> Option<String> {
        let method = method(&self.method);
        self.found
            .then(|| format!("cracks by {method}: {}", self.words))
    }
}

/// When and by whom a part was looked at, under which entry of the journal.
pub struct Looked<'a> {
    pub request: Uuid,
    pub at_arrival: bool,
    pub by: &'a str,
    pub at_ms: i64,
    pub sequence: i64,
}

pub async fn insert(
    change: &mut Change,
    new: &NewCrack,
    looked: &Looked<'_>,
) -> Result<(), AppError> {
    let at = if looked.at_arrival {
        "arrival"
    } else {
        "operation"
    };
    sqlx::query!(
        "insert into crack_check (journal_sequence, request_id, at, method, found, words, agent, looked_by,
           looked_ms)
         values (?, ?, ?, ?, ?, ?, ?, ?, ?)",
        looked.sequence,
        looked.request,
        at,
        new.method,
        new.found,
        new.words,
        new.agent,
        looked.by,
        looked.at_ms,
    )
    .execute(change.connection())
    .await?;
    Ok(())
}

/// Keeps how a part was looked at as it came, and holds it where cracks were found; the number of the hold.
pub async fn keep_look(
    change: &mut Change,
    new: &NewCrack,
    (request, number, sequence): (Uuid, i64, i64),
    who: &Who,
) -> Result<Option<i64>, AppError> {
    let looked = Looked {
        request,
        at_arrival: true,
        by: &who.name,
        at_ms: change.now(),
        sequence,
    };
    insert(change, new, &looked).await?;
    let Some(what) = new.out() else {
        return Ok(None);
    };
    let held = Held {
        request: number,
        cause: Cause::Crack,
        of_sequence: Some(sequence),
        what: &short(&format!("as it came, {what}")),
    };
    Ok(Some(hold_part(change, &held, who).await?))
}
