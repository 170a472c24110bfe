//! Signatures: one mechanism for every act that a named person answers for.
//!
//! A feature shows its form with [`ask`], proves who signs with [`prove`], and writes the journal entry
//! of its change with [`sign`]. What two people must sign is opened with [`open`] and carried out when
//! the second has signed.

mod pages;
pub mod pin;
mod prove;
pub mod queries;
pub mod second;

use mendpost_core::journal::Subject;
use mendpost_core::people::{Act, Role};
use mendpost_core::signature::Meaning;
use serde::Serialize;
use uuid::Uuid;

use crate::change::Change;
use crate::error::AppError;
use crate::routes::Routes;

pub use pages::{Ask, Secret};
pub use prove::{Proof, ask, prove};
pub use queries::{Waits, of_subject};

pub fn routes() -> Routes {
    Routes::default()
        .get("/signatures", Act::Look, second::show_all)
        .get("/signatures/{number}", Act::Look, second::show)
        .post("/signatures/{number}", Act::Look, second::sign)
        .post("/signatures/{number}/withdraw", Act::Look, second::withdraw)
        .get("/account/pin", Act::Look, pin::show)
        .post("/account/pin", Act::Look, pin::set)
        .post("/account/pin/remove", Act::Look, pin::remove)
}

/// A signature on record, as it is shown and printed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Signature {
    pub statement: String,
    pub printed_name: String,
    pub role: String,
    pub signed_ms: i64,
    pub journal_sequence: i64,
}

/// Writes a change's journal entry with its signatures, and keeps them as rows; the entry's sequence.
///
/// # Errors
/// When the proofs are not as many different people as the meaning asks for: a fault in the program.
pub async fn sign(
    change: &mut Change,
    kind: &str,
    subject: Subject,
    content: impl Serialize,
    meaning: Meaning,
    proof: &Proof,
) -> Result<i64, AppError> {
    if meaning.people() != 1 {
        return Err(AppError::internal(format!("one signature for {meaning}")));
    }
    let signed = Signed {
        content,
        signatures: vec![proof.entry(meaning)],
    };
    let sequence = change.journal(kind, subject.clone(), signed).await?;
    queries::insert(change, None, meaning, &subject, proof, sequence).await?;
    Ok(sequence)
}

/// Gives a signature to a change whose own entry is written elsewhere.
pub async fn give(
    change: &mut Change,
    subject: Subject,
    meaning: Meaning,
    proof: &Proof,
) -> Result<i64, AppError> {
    let content = Given { meaning };
    sign(change, "signature.given", subject, content, meaning, proof).await
}

#[derive(Serialize)]
struct Given {
    meaning: Meaning,
}

/// Gives the first of several signatures; the number under which the others are waited for.
pub async fn open(
    change: &mut Change,
    subject: Subject,
    content: impl Serialize,
    meaning: Meaning,
    proof: &Proof,
) -> Result<i64, AppError> {
    let number = queries::next_number(change.connection()).await?;
    let content = serde_json::to_value(content).map_err(AppError::internal)?;
    let signing = queries::Signing {
        id: Uuid::now_v7(),
        number,
        meaning,
        subject: subject.clone(),
        content: content.clone(),
        state: queries::State::Open,
    };
    queries::insert_signing(change.connection(), &signing).await?;
    let opened = Opened {
        meaning,
        signing: number,
        signed: Signed {
            content,
            signatures: vec![proof.entry(meaning)],
        },
    };
    let sequence = change
        .journal("signing.opened", subject.clone(), opened)
        .await?;
    queries::insert(change, Some(signing.id), meaning, &subject, proof, sequence).await?;
    Ok(number)
}

/// The content of a signed journal entry.
#[derive(Serialize)]
struct Signed<T> {
    #[serde(flatten)]
    content: T,
    signatures: Vec<Entry>,
}

#[derive(Serialize)]
struct Opened<T> {
    meaning: Meaning,
    signing: i64,
    #[serde(flatten)]
    signed: Signed<T>,
}

/// A signature in the journal.
#[derive(Debug, Clone, Serialize)]
struct Entry {
    meaning: Meaning,
    /// The words that were signed.
    statement: &'static str,
    person: Uuid,
    printed_name: String,
    role: Role,
    how: &'static str,
}
