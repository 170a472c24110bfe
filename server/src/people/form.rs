//! What people type about themselves and each other.

use mendpost_core::people::Role;
use serde::Deserialize;
use unicode_normalization::UnicodeNormalization;

use super::Person;
use super::passphrase::NewPassphrase;
use crate::form::{FieldError, FieldErrors, choice, text};
use crate::site::Site;

/// A person's name, the same whichever keyboard typed it.
pub fn person_name(typed: &str) -> Result<String, FieldError> {
    text(&typed.nfc().collect::<String>(), LONGEST_NAME)
}

/// What was typed to sign in; also the query of the page, which carries `next`.
#[derive(Default, Deserialize)]
#[serde(default)]
pub struct SignInForm {
    pub name: String,
    pub passphrase: String,
    /// The page that was asked for.
    pub next: String,
}

#[derive(Default, Deserialize)]
#[serde(default)]
pub struct DemonstrationForm {
    /// The person's number.
    pub person: String,
    pub next: String,
}

/// What was typed to get in by a code.
#[derive(Default, Deserialize)]
#[serde(default, rename_all = "kebab-case")]
pub struct StartForm {
    pub name: String,
    pub secret_code: String,
    pub new_passphrase: String,
    pub again_passphrase: String,
}

impl StartForm {
    /// Name and passphrase, or every fault that shows before the code is looked at.
    pub fn parse(&self, site: &Site) -> Result<(String, NewPassphrase), FieldErrors> {
        let mut errors = FieldErrors::default();
        let name = errors.check("name", person_name(&self.name));
        if self.secret_code.trim().is_empty() {
            errors.add("secret-code", FieldError::Missing.to_string());
        }
        let passphrase = new_passphrase(
            &mut errors,
            &self.new_passphrase,
            &self.again_passphrase,
            &[&self.name, &site.name, &site.cell_name],
        );
        match (name, passphrase) {
            (Some(name), Some(passphrase)) if errors.is_empty() => Ok((name, passphrase)),
            _ => Err(errors),
        }
    }
}

/// What was typed to change one's passphrase.
#[derive(Default, Deserialize)]
#[serde(default, rename_all = "kebab-case")]
pub struct PassphraseForm {
    /// The one until now.
    pub passphrase: String,
    pub new_passphrase: String,
    pub again_passphrase: String,
}

impl PassphraseForm {
    /// The new passphrase, or every fault that shows before the old one is looked at.
    pub fn parse(&self, name: &str, site: &Site) -> Result<NewPassphrase, FieldErrors> {
        let mut errors = FieldErrors::default();
        if self.passphrase.is_empty() {
            errors.add("passphrase", FieldError::Missing.to_string());
        }
        let passphrase = new_passphrase(
            &mut errors,
            &self.new_passphrase,
            &self.again_passphrase,
            &[name, &site.name, &site.cell_name],
        );
        passphrase.filter(|_| errors.is_empty()).ok_or(errors)
    }
}

/// The passphrase, asked for again before recovery codes are made.
#[derive(Default, Deserialize)]
#[serde(default, rename_all = "kebab-case")]
pub struct CodesForm {
    pub codes_passphrase: String,
}

/// Which session to end.
#[derive(Default, Deserialize)]
#[serde(default)]
pub struct SessionForm {
    /// The key in hexadecimal figures.
    pub session: String,
}

impl SessionForm {
    /// The key; of no session if it is none.
    pub fn key(&self) -> Vec<u8> {
        let pairs = self.session.as_bytes().chunks(2);
        let byte = |pair: &[u8]| u8::from_str_radix(std::str::from_utf8(pair).ok()?, 16).ok();
        pairs
            .map(byte)
            .collect::<Option<Vec<u8>>>()
            .unwrap_or_default()
    }
}

/// What was typed about a person of the site.
#[derive(Default, Deserialize)]
#[serde(default)]
pub struct PersonForm {
    pub name: String,
    pub role: String,
    /// At which version the form was opened; empty for somebody new.
    pub version: String,
    /// Who the lead shows to be, to sign it.
    pub sign_passphrase: String,
}

impl PersonForm {
    pub fn of(person: &Person) -> PersonForm {
        PersonForm {
            name: person.name.clone(),
            role: person.role.to_string(),
            version: person.version.to_string(),
            sign_passphrase: String::new(),
        }
    }

    pub fn parse(&self) -> Result<(String, Role), FieldErrors> {
        let mut errors = FieldErrors::default();
        let name = errors.check("name", person_name(&self.name));
        let role = errors.check("role", choice(&self.role));
        name.zip(role).ok_or(errors)
    }
}

/// A passphrase typed twice, in the fields `new-passphrase` and `again-passphrase`.
pub fn new_passphrase(
    errors: &mut FieldErrors,
    new: &str,
    again: &str,
    words: &[&str],
) -> Option<NewPassphrase> {
    let passphrase = NewPassphrase::new(new, words)
        .map_err(|error| errors.add("new-passphrase", error.to_string()))
        .ok()?;
    if new != again {
        errors.add("again-passphrase", "the two differ; type the same again");
        return None;
    }
    Some(passphrase)
}

const LONGEST_NAME: usize = 60;
