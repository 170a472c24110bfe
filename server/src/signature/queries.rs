use mendpost_core::journal::{self, Subject};
use mendpost_core::signature::Meaning;
use mendpost_core::word_enum;
use serde_json::Value;
use sqlx::{SqliteConnection, SqliteExecutor};
use uuid::Uuid;

use super::Signature;
use super::prove::Proof;
use crate::change::Change;
use crate::db::decoded;
use crate::error::AppError;

word_enum! {
    /// Where a signing of several stands.
    State {
        /// Waits for the next signature.
        Open = "open",
        /// All have signed, and it was carried out.
        Done = "done",
        /// Somebody took it back before the last signature.
        Withdrawn = "withdrawn",
    }
}

/// What several people must sign.
#[derive(Debug, Clone)]
pub struct Signing {
    pub id: Uuid,
    pub number: i64,
    pub meaning: Meaning,
    pub subject: Subject,
    pub content: Value,
    pub state: State,
}

/// A signing that waits, for the pages that say so.
#[derive(Debug, Clone)]
pub struct Waits {
    pub number: i64,
    pub meaning: Meaning,
    pub subject_id: String,
    /// Who signed first, and when.
    pub by: String,
    pub since_ms: i64,
}

/// The signings that wait, the oldest first.
pub async fn waiting(executor: impl SqliteExecutor<'_>) -> Result<Vec<Waits>, sqlx::Error> {
    sqlx::query!(
        r#"select g.number as "number!: i64", g.meaning as "meaning!: String",
             g.subject_id as "subject_id!: String", s.printed_name as "by!: String",
             min(s.signed_ms) as "since_ms!: i64"
           from signing g
           join signature s on s.signing_id = g.id
           where g.state = 'open'
           group by g.id
           order by g.number"#
    )
    .try_map(|row| {
        Ok(Waits {
            number: row.number,
            meaning: decoded(row.meaning.parse())?,
            subject_id: row.subject_id,
            by: row.by,
            since_ms: row.since_ms,
        })
    })
    .fetch_all(executor)
    .await
}

/// The signatures on one thing that count, oldest first: not those of signings that wait or were
/// withdrawn.
pub async fn of_subject(
    executor: impl SqliteExecutor<'_>,
    kind: &str,
    id: &str,
) -> Result<Vec<Signature>, sqlx::Error> {
    sqlx::query_as!(
        Signature,
        r#"select s.statement, s.printed_name, s.role, s.signed_ms, s.journal_sequence
           from signature s
           left join signing g on g.id = s.signing_id
           where s.subject_kind = ? and s.subject_id = ? and coalesce(g.state, 'done') = 'done'
           order by s.journal_sequence, s.id"#,
        kind,
        id
    )
    .fetch_all(executor)
    .await
}

/// The signatures of one signing, in order, with who gave them.
pub(super) async fn of_signing(
    executor: impl SqliteExecutor<'_>,
    id: Uuid,
) -> Result<Vec<(Uuid, Signature)>, sqlx::Error> {
    sqlx::query!(
        r#"select person_id as "person_id: Uuid", statement, printed_name, role, signed_ms, journal_sequence
           from signature where signing_id = ? order by journal_sequence"#,
        id
    )
    .try_map(|row| {
        let signature = Signature {
            statement: row.statement,
            printed_name: row.printed_name,
            role: row.role,
            signed_ms: row.signed_ms,
            journal_sequence: row.journal_sequence,
        };
        Ok((row.person_id, signature))
    })
    .fetch_all(executor)
    .await
}

pub(super) async fn signing(
    executor: impl SqliteExecutor<'_>,
    number: i64,
) -> Result<Option<Signing>, sqlx::Error> {
    sqlx::query!(
        r#"select id as "id: Uuid", number, meaning, subject_kind, subject_id, content, state
           from signing where number = ?"#,
        number
    )
    .try_map(|row| {
        Ok(Signing {
            id: row.id,
            number: row.number,
            meaning: decoded(row.meaning.parse())?,
            subject: Subject::new(&row.subject_kind, row.subject_id),
            content: decoded(serde_json::from_str(&row.content))?,
            state: decoded(row.state.parse())?,
        })
    })
    .fetch_optional(executor)
    .await
}

/// The open signing of this meaning about this thing.
pub async fn open_on(
    executor: impl SqliteExecutor<'_>,
    meaning: Meaning,
    id: &str,
) -> Result<Option<i64>, sqlx::Error> {
    let meaning = meaning.as_str();
    sqlx::query_scalar!(
        "select number from signing where meaning = ? and subject_id = ? and state = 'open'",
        meaning,
        id
    )
    .fetch_optional(executor)
    .await
}

pub(super) async fn next_number(connection: &mut SqliteConnection) -> Result<i64, sqlx::Error> {
    sqlx::query_scalar!(r#"select coalesce(max(number), 0) + 1 as "number!: i64" from signing"#)
        .fetch_one(connection)
        .await
}

pub(super) async fn insert_signing(
    connection: &mut SqliteConnection,
    signing: &Signing,
) -> Result<(), AppError> {
    let (meaning, state) = (signing.meaning.as_str(), signing.state.as_str());
    let content = journal::canonical(&signing.content).map_err(AppError::internal)?;
    sqlx::query!(
        "insert into signing (id, number, meaning, subject_kind, subject_id, content, state)
         values (?, ?, ?, ?, ?, ?, ?)",
        signing.id,
        signing.number,
        meaning,
        signing.subject.kind,
        signing.subject.id,
        content,
        state,
    )
    .execute(connection)
    .await?;
    Ok(())
}

pub(super) async fn set_state(
    connection: &mut SqliteConnection,
    id: Uuid,
    state: State,
) -> Result<(), sqlx::Error> {
    let state = state.as_str();
    sqlx::query!("update signing set state = ? where id = ?", state, id)
        .execute(connection)
        .await?;
    Ok(())
}

/// Keeps a signature, by the journal entry that holds it.
pub(super) async fn insert(
    change: &mut Change,
    signing: Option<Uuid>,
    meaning: Meaning,
    subject: &Subject,
    proof: &Proof,
    journal_sequence: i64,
) -> Result<(), AppError> {
    let (id, now) = (Uuid::now_v7(), change.now());
    let (word, statement) = (meaning.as_str(), meaning.statement());
    let (role, how) = (proof.role.as_str(), proof.how.word());
    sqlx::query!(
        "insert into signature (id, signing_id, meaning, statement, subject_kind, subject_id, person_id,
           printed_name, role, how, signed_ms, journal_sequence)
         values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        id,
        signing,
        word,
        statement,
        subject.kind,
        subject.id,
        proof.person,
        proof.name,
        role,
        how,
        now,
        journal_sequence,
    )
    .execute(change.connection())
    .await?;
    Ok(())
}
