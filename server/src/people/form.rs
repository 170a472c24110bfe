//! What people type about themselves and each other.

use serde::Deserialize;
use unicode_normalization::UnicodeNormalization;

use super::passphrase::NewPassphrase;
use crate::form::{FieldError, FieldErrors, text};
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
