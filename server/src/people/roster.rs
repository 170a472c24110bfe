//! Who works at the site: people come, change, leave, come back, and get a passphrase.
//!
//! Each function is one part of a [`Change`], writes its journal entry, and returns its sequence if
//! nothing else.

use mendpost_core::people::Role;
use serde_json::{Value, json};
use sqlx::SqliteConnection;
use thiserror::Error;
use uuid::Uuid;

use super::codes::{self, StartCode};
use super::{Person, queries, session};
use crate::change::Change;
use crate::error::AppError;
use crate::signature::pin;

/// Adds a person, who signs in with the passphrase of this hash, or not by passphrase at all.
pub async fn add(
    change: &mut Change,
    name: &str,
    role: Role,
    passphrase_hash: Option<&str>,
) -> Result<Person, AppError> {
    let person = Person {
        id: Uuid::now_v7(),
        number: queries::next_number(change.connection()).await?,
        name: name.to_owned(),
        role,
        active: true,
        version: 1,
    };
    queries::insert(change.connection(), &person, passphrase_hash).await?;
    let content = json!({ "id": person.id, "name": name, "role": role });
    journal(change, "person.added", &person, content).await?;
    Ok(person)
}

/// Adds a person, or finds the one of this name, gives the role, and a start code: the way in, and the
/// way back in.
pub async fn welcome(change: &mut Change, name: &str, role: Role) -> Result<StartCode, AppError> {
    let known = queries::person_named(change.connection(), name).await?;
    let person = match known {
        None => add(change, name, role, None).await?,
        Some(person) => {
            if !person.active {
                come_back(change, &person).await?;
            }
            if person.role != role {
                edit(change, &person, &person.name, role).await?;
            }
            person
        }
    };
    codes::give_start(change, &person).await
}

/// Changes name and role, and raises the version.
///
/// # Errors
/// When that would leave the site without a lead.
pub async fn edit(
    change: &mut Change,
    person: &Person,
    name: &str,
    role: Role,
) -> Result<i64, AppError> {
    if role != Role::Lead {
        refuse_only_lead(change.connection(), person).await?;
    }
    queries::update(change.connection(), person.id, name, role).await?;
    let content = json!({
        "id": person.id,
        "version": person.version + 1,
        "before": { "name": person.name, "role": person.role },
        "after": { "name": name, "role": role },
    });
    journal(change, "person.changed", person, content).await
}

/// A person leaves: out at once, and neither code nor PIN is good any more.
///
/// # Errors
/// When that would leave the site without a lead.
pub async fn leave(change: &mut Change, person: &Person) -> Result<i64, AppError> {
    refuse_only_lead(change.connection(), person).await?;
    queries::set_active(change.connection(), person.id, false).await?;
    codes::void_all(change.connection(), person.id).await?;
    pin::void(change.connection(), person.id).await?;
    let ended = session::end_all(change.connection(), person.id).await?;
    let content = json!({ "id": person.id, "sessions_ended": ended });
    journal(change, "person.left", person, content).await
}

/// A person is back, with the passphrase that they had.
pub async fn come_back(change: &mut Change, person: &Person) -> Result<i64, AppError> {
    queries::set_active(change.connection(), person.id, true).await?;
    journal(
        change,
        "person.returned",
        person,
        json!({ "id": person.id }),
    )
    .await
}

/// Gives a person a passphrase, ends all their sessions and voids their PINs; `by` says what let them set it.
pub async fn set_passphrase(
    change: &mut Change,
    person: &Person,
    passphrase_hash: &str,
    by: &str,
) -> Result<i64, AppError> {
    queries::set_passphrase(change.connection(), person.id, passphrase_hash).await?;
    pin::void(change.connection(), person.id).await?;
    let ended = session::end_all(change.connection(), person.id).await?;
    let content = json!({ "id": person.id, "by": by, "sessions_ended": ended });
    journal(change, "person.passphrase-set", person, content).await
}

/// Notes that sessions of a person were ended, by whomever the change is.
pub async fn note_ended(
    change: &mut Change,
    person: &Person,
    which: &str,
    count: u64,
) -> Result<i64, AppError> {
    let content = json!({ "id": person.id, "which": which, "count": count });
    journal(change, "session.ended", person, content).await
}

/// Without this person nobody could set up the site any more.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("{name} is the only lead; make somebody else lead first")]
pub struct OnlyLead {
    pub name: String,
}

/// Whether this person is the one active lead.
pub async fn only_lead(
    connection: &mut SqliteConnection,
    person: &Person,
) -> Result<Option<OnlyLead>, sqlx::Error> {
    let is_lead = person.active && person.role == Role::Lead;
    if !is_lead || queries::has_other_lead(connection, person.id).await? {
        return Ok(None);
    }
    Ok(Some(OnlyLead {
        name: person.name.clone(),
    }))
}

async fn refuse_only_lead(
    connection: &mut SqliteConnection,
    person: &Person,
) -> Result<(), AppError> {
    match only_lead(connection, person).await? {
        None => Ok(()),
        Some(error) => Err(AppError::Conflict(error.to_string())),
    }
}

async fn journal(
    change: &mut Change,
    kind: &str,
    person: &Person,
    content: Value,
) -> Result<i64, AppError> {
    change.journal(kind, person.subject(), content).await
}
