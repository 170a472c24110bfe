//! What an operation after spraying asks for when it is entered as done, and what is stored of it.

use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use mendpost_core::catalogue::{OperationKind, Recipe};
use mendpost_core::finish::{Dimension, Measures};
use serde_json::{Value, json};
use sqlx::SqliteConnection;
use uuid::Uuid;

use super::cracks::{self, CrackForm, Looked, METHODS, NewCrack};
use super::sizes::{self, NewSize, Row, SizesForm};
use crate::change::Change;
use crate::error::AppError;
use crate::form::FieldErrors;
use crate::hold::{Cause, Held, hold_part};
use crate::people::Who;
use crate::tools::queries::{Listed, measuring};

/// What an operation asks for.
#[derive(Debug, Clone, Copy)]
pub enum Asks<'a> {
    Nothing,
    /// Each of these dimensions.
    Sizes(&'a [Dimension]),
    /// What was measured, in words: its recipe lists no dimension.
    Words,
    Cracks,
}

/// The last measuring takes the size sheet; what is measured before it is said in words if at all.
pub fn asks(recipe: &Recipe, at: usize) -> Asks<'_> {
    let kind = |operation: &mendpost_core::catalogue::Operation| operation.kind;
    let later = recipe.operations.iter().skip(at + 1).map(kind);
    match recipe.operations.get(at).map(kind) {
        Some(OperationKind::CrackCheck) => Asks::Cracks,
        Some(OperationKind::Measure) if later.clone().any(|it| it == OperationKind::Measure) => {
            Asks::Nothing
        }
        Some(OperationKind::Measure) if recipe.sizes.is_empty() => Asks::Words,
        Some(OperationKind::Measure) => Asks::Sizes(&recipe.sizes),
        _ => Asks::Nothing,
    }
}

/// What was found at an operation.
#[derive(Debug)]
pub enum Entry {
    Plain,
    Sizes(Vec<NewSize>),
    Crack(NewCrack),
}

impl Entry {
    /// What the journal's entry of the operation holds of it.
    pub fn content(&self) -> Option<(&'static str, Value)> {
        match self {
            Entry::Plain => None,
            Entry::Sizes(sizes) => {
                let sizes: Vec<Value> = sizes.iter().map(NewSize::content).collect();
                Some(("sizes", json!(sizes)))
            }
            Entry::Crack(crack) => Some(("crack_check", crack.content())),
        }
    }

    /// What a part is held for, if anything that was found is out.
    fn out(&self) -> Option<(Cause, String)> {
        match self {
            Entry::Plain => None,
            Entry::Sizes(sizes) => {
                let out: Vec<String> = sizes.iter().filter_map(NewSize::out).collect();
                (!out.is_empty()).then(|| (Cause::Size, out.join("; ")))
            }
            Entry::Crack(crack) => crack.out().map(|what| (Cause::Crack, what)),
        }
    }
}

/// What was typed, read by what the operation asks for; faults are told beside their fields.
pub async fn parse(
    connection: &mut SqliteConnection,
    asks: Asks<'_>,
    (sizes, cracks, note): (&SizesForm, &CrackForm, &str),
    at: (DateTime<Utc>, Tz),
    errors: &mut FieldErrors,
) -> Result<Option<Entry>, sqlx::Error> {
    Ok(match asks {
        Asks::Nothing => Some(Entry::Plain),
        Asks::Words if note.trim().is_empty() => {
            let fault = "its recipe lists no dimension: say what was measured, and what was found";
            errors.add("note", fault);
            None
        }
        Asks::Words => Some(Entry::Plain),
        Asks::Sizes(dimensions) => {
            let tools = measuring(connection, Measures::Length).await?;
            sizes::parse(sizes, dimensions, &tools, at, errors).map(Entry::Sizes)
        }
        Asks::Cracks => cracks.parse(errors).map(Entry::Crack),
    })
}

/// What an entry is written under.
pub struct Under<'a> {
    pub request: (Uuid, i64),
    pub recipe: Uuid,
    pub ended_ms: i64,
    pub sequence: i64,
    pub who: &'a Who,
}

/// Stores what was found, and puts the part on hold where it is out; the number of the hold.
pub async fn insert(
    change: &mut Change,
    entry: &Entry,
    under: &Under<'_>,
) -> Result<Option<i64>, AppError> {
    let (request, number) = under.request;
    match entry {
        Entry::Plain => {}
        Entry::Sizes(sizes) => {
            for size in sizes {
                insert_size(change, size, under).await?;
            }
        }
        Entry::Crack(crack) => {
            let looked = Looked {
                request,
                at_arrival: false,
                by: &under.who.name,
                at_ms: under.ended_ms,
                sequence: under.sequence,
            };
            cracks::insert(change, crack, &looked).await?;
        }
    }
    let Some((cause, what)) = entry.out() else {
        return Ok(None);
    };
    let held = Held {
        request: number,
        cause,
        of_sequence: Some(under.sequence),
        what: &short(&what),
    };
    Ok(Some(hold_part(change, &held, under.who).await?))
}

/// At most as long as a hold has room for.
pub fn short(what: &str) -> String {
    const MOST: usize = 1000;
    match what.chars().count() > MOST {
        true => what.chars().take(MOST - 1).chain(['…']).collect(),
        false => what.to_owned(),
    }
}

async fn insert_size(
    change: &mut Change,
    size: &NewSize,
    under: &Under<'_>,
) -> Result<(), AppError> {
    let unit = size.unit.as_str();
    sqlx::query!(
        "insert into size_found (journal_sequence, recipe_id, position, found_nm, unit, tool_id)
         values (?, ?, ?, ?, ?, ?)",
        under.sequence,
        under.recipe,
        size.position,
        size.found.0,
        unit,
        size.tool,
    )
    .execute(change.connection())
    .await?;
    Ok(())
}

/// What the page of an operation asks for.
#[derive(Default)]
pub struct Page {
    pub sizes: Vec<Row>,
    /// Number and words of each tool that measures lengths.
    pub tools: Vec<(String, String)>,
    pub cracks: bool,
    pub methods: Vec<(String, String)>,
    /// The note is needed, and says what was measured.
    pub words: bool,
}

pub async fn page(
    connection: &mut SqliteConnection,
    asks: Asks<'_>,
    form: &SizesForm,
    errors: &FieldErrors,
    now: DateTime<Utc>,
) -> Result<Page, sqlx::Error> {
    Ok(match asks {
        Asks::Nothing => Page::default(),
        Asks::Words => Page {
            words: true,
            ..Page::default()
        },
        Asks::Cracks => Page {
            cracks: true,
            methods: METHODS
                .map(|(word, words)| (word.to_owned(), words.to_owned()))
                .to_vec(),
            ..Page::default()
        },
        Asks::Sizes(dimensions) => Page {
            sizes: sizes::rows(form, dimensions, errors),
            tools: tools(&measuring(connection, Measures::Length).await?, now),
            ..Page::default()
        },
    })
}

/// Those whose figures count first.
fn tools(listed: &[Listed], now: DateTime<Utc>) -> Vec<(String, String)> {
    let mut tools: Vec<(bool, String, String)> = listed
        .iter()
        .map(|listed| {
            let tool = &listed.tool;
            let out = tool.fault_at(now).is_some();
            let but = if out { ": does not count now" } else { "" };
            (
                out,
                tool.code.clone(),
                format!("{} {}{but}", tool.code, tool.name),
            )
        })
        .collect();
    tools.sort();
    tools
        .into_iter()
        .map(|(_, code, words)| (code, words))
        .collect()
}
