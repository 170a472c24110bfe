//! Asking again: who signs must be who they say, at the moment of signing.

use mendpost_core::people::Role;
use mendpost_core::signature::Meaning;
use uuid::Uuid;

use super::pages::{Ask, Secret};
use super::{Entry, pin};
use crate::AppState;
use crate::error::AppError;
use crate::people::{Person, Visit, Who, by_passphrase, queries};

/// That a person has just shown who they are. Made by [`prove`] alone.
#[derive(Debug, Clone)]
pub struct Proof {
    pub person: Uuid,
    pub name: String,
    pub role: Role,
    pub(super) how: How,
}

impl Proof {
    pub(super) fn entry(&self, meaning: Meaning) -> Entry {
        Entry {
            meaning,
            statement: meaning.statement(),
            person: self.person,
            printed_name: self.name.clone(),
            role: self.role,
            how: self.how.word(),
        }
    }
}

/// By what a person showed who they are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum How {
    Passphrase,
    Pin,
    /// The demonstration asks for nothing.
    Demonstration,
}

impl How {
    pub(super) fn word(self) -> &'static str {
        match self {
            How::Passphrase => "passphrase",
            How::Pin => "pin",
            How::Demonstration => "demonstration",
        }
    }
}

/// What a form must ask of this person to sign this, for the form's page.
pub async fn ask(
    state: &AppState,
    visit: &Visit,
    who: &Who,
    meaning: Meaning,
) -> Result<Ask, AppError> {
    let secret = if state.config.demonstration {
        Secret::Nothing
    } else if pin::stands(&state.db.read, visit.device, who.id).await? {
        Secret::PinOrPassphrase
    } else {
        Secret::Passphrase
    };
    Ok(Ask {
        statement: meaning.statement(),
        name: who.name.clone(),
        role: who.role,
        secret,
        error: String::new(),
    })
}

/// Whether the person who is signed in is the one in front of the page, by passphrase or by the
/// device's PIN; else what to say beside the field.
pub async fn prove(
    state: &AppState,
    visit: &Visit,
    who: &Who,
    typed: &str,
) -> Result<Result<Proof, String>, AppError> {
    let proof = |how| Proof {
        person: who.id,
        name: who.name.clone(),
        role: who.role,
        how,
    };
    if state.config.demonstration {
        return Ok(Ok(proof(How::Demonstration)));
    }
    if typed.is_empty() {
        return Ok(Err(
            "enter your passphrase, or your PIN of this device".to_owned()
        ));
    }
    if pin::looks_like(typed) {
        let judged = pin::judge(state, visit.device, who.id, typed).await?;
        return Ok(judged.map(|()| proof(How::Pin)));
    }
    let proved = passphrase(state, &who.name, typed).await?;
    if proved.is_ok() {
        pin::forgive(state, visit.device, who.id).await;
    }
    Ok(proved.map(|_| proof(How::Passphrase)))
}

/// The same for somebody else at the same device: by name and passphrase, as no session of theirs
/// stands behind a PIN.
pub(super) async fn prove_other(
    state: &AppState,
    name: &str,
    typed: &str,
) -> Result<Result<Proof, String>, AppError> {
    let how = |person: Person, how| Proof {
        person: person.id,
        name: person.name,
        role: person.role,
        how,
    };
    if state.config.demonstration {
        let found = queries::person_to_sign_in(&state.db.read, name.trim()).await?;
        return Ok(found
            .map(|(person, _)| how(person, How::Demonstration))
            .ok_or_else(|| format!("nobody here is called '{}'", name.trim())));
    }
    if typed.is_empty() {
        return Ok(Err(
            "the passphrase of the one who signs is needed".to_owned()
        ));
    }
    let proved = passphrase(state, name, typed).await?;
    Ok(proved.map(|person| how(person, How::Passphrase)))
}

async fn passphrase(
    state: &AppState,
    name: &str,
    typed: &str,
) -> Result<Result<Person, String>, AppError> {
    let proved = by_passphrase(state, name, typed).await?;
    Ok(proved.map_err(|refused| {
        tracing::warn!("a signature was refused");
        refused.to_string()
    }))
}
