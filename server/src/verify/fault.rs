//! What does not hold, with what was found, what should stand there, and what to do.

use mendpost_core::journal::BrokenAt;
use mendpost_core::journal::code::HeadCode;
use serde_json::Value;
use thiserror::Error;

use crate::backup::check;

/// The first thing that does not hold.
#[derive(Debug, Error)]
pub enum Fault {
    #[error("the database cannot be read: {0}")]
    Unreadable(#[from] sqlx::Error),
    #[error("{0}")]
    Chain(#[from] BrokenAt),
    #[error("{0}")]
    Differs(Box<Difference>),
    #[error("table {table} lacks {row}, of which journal {sequence} tells")]
    Lacks {
        table: &'static str,
        row: String,
        sequence: i64,
    },
    #[error("table {table} holds {row}, of which no entry of the journal tells")]
    Untold { table: &'static str, row: String },
    #[error("journal {sequence} tells what cannot be: {fault}")]
    Senseless { sequence: i64, fault: String },
    #[error(
        "the journal ends at {end}, and code {code} names entry {}: its tail was cut",
        code.sequence()
    )]
    Cut { code: HeadCode, end: i64 },
    #[error(
        "journal {} has the code {found}, and {code} was given: the journal was written anew at or before it",
        code.sequence()
    )]
    Anew { code: HeadCode, found: HeadCode },
    #[error("{0}")]
    File(#[from] check::Fault),
    #[error("the database {0}, unlike one that this program makes")]
    Object(String),
    #[error(
        "the journal holds, and its tables were not looked at: they have structure {found}, and this program reads \
         {known}"
    )]
    Structure { found: i64, known: i64 },
}

/// A column that does not hold what an entry says.
#[derive(Debug, Error)]
#[error("table {table}, {row}: {column} is {}, and journal {sequence} says {}", shown(.found), shown(.expected))]
pub struct Difference {
    pub table: &'static str,
    pub row: String,
    pub column: &'static str,
    pub found: Value,
    pub expected: Value,
    pub sequence: i64,
}

impl Fault {
    /// What to do.
    #[must_use]
    pub fn remedy(&self) -> &'static str {
        match self {
            Fault::Structure { found, known } if found < known => {
                "restore a copy of it to a folder of its own, start this program on that once, and verify that"
            }
            Fault::Structure { .. } => "use the program that wrote it, or a newer one",
            _ => {
                "keep these files as they are, and look for the newest copy that verifies with the same codes: \
                 mendpost verify --copy FILE"
            }
        }
    }
}

/// The longest value that is told whole, in characters.
const SHOWN: usize = 80;

fn shown(value: &Value) -> String {
    let text = match value {
        Value::String(text) => format!("'{text}'"),
        Value::Null => "empty".to_owned(),
        other => other.to_string(),
    };
    match text.char_indices().nth(SHOWN) {
        Some((end, _)) => format!("{} ...", &text[..end]),
        None => text,
    }
}
