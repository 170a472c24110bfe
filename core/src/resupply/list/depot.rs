//! Files for the depot and back: canonical JSON (RFC 8785) with a SHA-256 check over its content, so that a
//! file that was cut off, altered or never ours is told from one that came as it went.

use super::answer::Answer;
use super::{ListFault, LoadList};
use crate::journal::canonical;
use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use serde_json::Value;
use sha2::{Digest, Sha256};

/// What a file of a load list says of itself.
pub const LIST_FORMAT: &str = "mendpost-load-list/1";
/// What a file of the depot's answer says of itself.
pub const ANSWER_FORMAT: &str = "mendpost-load-answer/1";
/// The longest file that is read, in bytes.
pub const MOST_BYTES: usize = 1 << 20;

/// Why a file is not read.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Fault {
    /// Nothing stands in it.
    #[error("the file is empty; send the file of a load list or of an answer to one")]
    Empty,
    /// It is longer than any of ours.
    #[error("{given} bytes are too many; a file of ours has at most {MOST_BYTES}")]
    TooLong {
        /// Its length in bytes.
        given: usize,
    },
    /// It ends before its end.
    #[error("the file breaks off in line {line} at character {column}; ask for it again, whole")]
    Truncated {
        /// Where, from 1.
        line: usize,
        /// Where, from 1.
        column: usize,
    },
    /// It is no JSON.
    #[error("the file is no JSON: {what}; send the file of a load list or of an answer to one")]
    NotJson {
        /// What the reader says.
        what: String,
    },
    /// It is something else, or of another version.
    #[error(
        "the file says that it is '{given}'; read here are '{LIST_FORMAT}' and '{ANSWER_FORMAT}'"
    )]
    OtherFormat {
        /// What it says; 'nothing' if it says nothing.
        given: String,
    },
    /// Its content is not what its check is of.
    #[error(
        "the content has the check {found}, and the file says {given}: it was \
         altered on its way; ask for it again"
    )]
    Altered {
        /// The check in the file.
        given: String,
        /// The check of its content.
        found: String,
    },
    /// Its content has not the shape of what it says it is.
    #[error(
        "'{at}' is not as it should be: {what}; ask for the file again, \
         from a version that writes this format"
    )]
    Shape {
        /// Where, as a path of keys.
        at: String,
        /// What the reader says.
        what: String,
    },
    /// The list does not hold against its own rules.
    #[error(transparent)]
    List(#[from] ListFault),
}

/// What a file holds.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Read {
    /// A load list.
    List(Box<LoadList>),
    /// The depot's answer to one.
    Answer(Answer),
}

#[derive(Serialize, Deserialize)]
struct Envelope {
    format: String,
    sha256: String,
    content: Value,
}

fn sum(content: &Value) -> Option<String> {
    let text = canonical(content).ok()?;
    let bytes = Sha256::digest(text.as_bytes());
    Some(bytes.iter().map(|byte| format!("{byte:02x}")).collect())
}

/// None where a figure is beyond what JSON holds exactly.
fn write(format: &str, content: &impl Serialize) -> Option<String> {
    let content = serde_json::to_value(content).ok()?;
    let envelope = Envelope {
        format: format.to_owned(),
        sha256: sum(&content)?,
        content,
    };
    canonical(&envelope).ok()
}

/// The file of a list; none where a figure is beyond 2^53, which JSON does not hold exactly.
#[must_use]
pub fn write_list(list: &LoadList) -> Option<String> {
    write(LIST_FORMAT, list)
}

/// The file of an answer; none as with [`write_list`].
#[must_use]
pub fn write_answer(answer: &Answer) -> Option<String> {
    write(ANSWER_FORMAT, answer)
}

/// Reads a file, whichever of the two it is.
///
/// # Errors
/// Why it is not read.
pub fn read_any(text: &str) -> Result<Read, Fault> {
    let envelope = open(text)?;
    match envelope.format.as_str() {
        LIST_FORMAT => {
            let list: LoadList = content(envelope.content)?;
            list.check()?;
            Ok(Read::List(Box::new(list)))
        }
        _ => content(envelope.content).map(Read::Answer),
    }
}

/// Reads the file of a list.
///
/// # Errors
/// Why it is not read.
pub fn read(text: &str) -> Result<LoadList, Fault> {
    match read_any(text)? {
        Read::List(list) => Ok(*list),
        Read::Answer(_) => Err(Fault::OtherFormat {
            given: ANSWER_FORMAT.to_owned(),
        }),
    }
}

fn open(text: &str) -> Result<Envelope, Fault> {
    let text = text.trim_start_matches('\u{feff}').trim();
    if text.is_empty() {
        return Err(Fault::Empty);
    }
    if text.len() > MOST_BYTES {
        return Err(Fault::TooLong { given: text.len() });
    }
    let value: Value = serde_json::from_str(text).map_err(|error| match error.is_eof() {
        true => Fault::Truncated {
            line: error.line(),
            column: error.column(),
        },
        false => Fault::NotJson {
            what: error.to_string(),
        },
    })?;
    let format = value.get("format").and_then(Value::as_str);
    if !format.is_some_and(|it| [LIST_FORMAT, ANSWER_FORMAT].contains(&it)) {
        let given = format.unwrap_or("nothing").chars().take(80).collect();
        return Err(Fault::OtherFormat { given });
    }
    let envelope: Envelope = content(value)?;
    let found = sum(&envelope.content).unwrap_or_else(|| "none".to_owned());
    match envelope.sha256 == found {
        true => Ok(envelope),
        false => Err(Fault::Altered {
            given: envelope.sha256.chars().take(80).collect(),
            found,
        }),
    }
}

fn content<T: DeserializeOwned>(value: Value) -> Result<T, Fault> {
    serde_path_to_error::deserialize(value).map_err(|error| Fault::Shape {
        at: error.path().to_string(),
        what: error.inner().to_string(),
    })
}
