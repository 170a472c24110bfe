//! Passphrases: what may be one, and how it is kept and compared.

use std::sync::{Arc, LazyLock};

use argon2::Argon2;
use argon2::password_hash::phc::PasswordHash;
use argon2::password_hash::{PasswordHasher, PasswordVerifier};
use thiserror::Error;
use tokio::sync::Semaphore;
use tokio::task::spawn_blocking;

use crate::error::AppError;

/// Hashes and compares passphrases, a few at once: each takes 19 MiB and some tens of milliseconds of
/// a core by design (Argon2id with the parameters of OWASP's password storage guidance).
#[derive(Debug, Clone)]
pub struct Passphrases {
    turns: Arc<Semaphore>,
}

impl Default for Passphrases {
    fn default() -> Self {
        Passphrases {
            turns: Arc::new(Semaphore::new(AT_ONCE)),
        }
    }
}

impl Passphrases {
    /// The hash to keep, with a salt of its own.
    pub async fn hash(&self, passphrase: NewPassphrase) -> Result<String, AppError> {
        self.run(move || hash(&passphrase.0))
            .await?
            .map_err(AppError::internal)
    }

    /// The hash of a PIN, which the device and the session behind it make up for.
    pub async fn hash_pin(&self, pin: String) -> Result<String, AppError> {
        self.run(move || hash(&pin))
            .await?
            .map_err(AppError::internal)
    }

    /// Whether the passphrase is the one of this hash. Without a hash the work is done all the same,
    /// so that the time taken does not tell which names exist.
    pub async fn verify(&self, typed: String, stored: Option<String>) -> Result<bool, AppError> {
        self.run(move || {
            let nobody = &*NOBODY;
            let known = stored.is_some();
            let hash = PasswordHash::new(stored.as_deref().unwrap_or(nobody));
            let matches = hash.is_ok_and(|hash| {
                Argon2::default()
                    .verify_password(typed.as_bytes(), &hash)
                    .is_ok()
            });
            matches && known
        })
        .await
    }

    async fn run<T: Send + 'static>(
        &self,
        work: impl FnOnce() -> T + Send + 'static,
    ) -> Result<T, AppError> {
        let turn = Arc::clone(&self.turns)
            .acquire_owned()
            .await
            .map_err(AppError::internal)?;
        spawn_blocking(move || {
            // Held until the work is done, also when the request is given up.
            let _turn = turn;
            work()
        })
        .await
        .map_err(AppError::internal)
    }
}

/// A passphrase that may be taken: long enough, of any letters.
pub struct NewPassphrase(String);

impl NewPassphrase {
    pub fn new(typed: &str) -> Result<NewPassphrase, PassphraseError> {
        let given = typed.chars().count();
        if given < SHORTEST {
            return Err(PassphraseError::TooShort {
                given,
                min: SHORTEST,
            });
        }
        if given > LONGEST {
            return Err(PassphraseError::TooLong {
                given,
                max: LONGEST,
            });
        }
        Ok(NewPassphrase(typed.to_owned()))
    }
}

/// Why a passphrase is not taken.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum PassphraseError {
    #[error("{given} characters are too few; use at least {min}, several words make a good one")]
    TooShort { given: usize, min: usize },
    #[error("{given} characters are too many; use at most {max}")]
    TooLong { given: usize, max: usize },
}

/// NIST SP 800-63B-4 asks for at least 8 characters.
const SHORTEST: usize = 8;

/// NIST asks that at least 64 be allowed; beyond some hundreds only the machine is kept busy.
const LONGEST: usize = 256;

const AT_ONCE: usize = 2;

/// What is compared with when there is no such person.
static NOBODY: LazyLock<String> = LazyLock::new(|| hash("nobody at all").unwrap_or_default());

fn hash(passphrase: &str) -> Result<String, argon2::password_hash::Error> {
    Ok(Argon2::default()
        .hash_password(passphrase.as_bytes())?
        .to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn length_is_counted_in_characters_and_nothing_else_matters() {
        assert!(NewPassphrase::new("åäöåäöåä").is_ok());
        assert!(NewPassphrase::new("        ").is_ok());
        assert!(matches!(
            NewPassphrase::new("åäöåäöå").map(|_| ()),
            Err(PassphraseError::TooShort { given: 7, min: 8 })
        ));
        assert!(NewPassphrase::new(&"x".repeat(256)).is_ok());
        assert!(NewPassphrase::new(&"x".repeat(257)).is_err());
    }

    /// Two hashes of one passphrase differ by their salt, and both match it only.
    #[tokio::test]
    async fn a_hash_matches_its_own_passphrase_only() -> Result<(), AppError> {
        let passphrases = Passphrases::default();
        let new = || NewPassphrase::new("copper over steel").map_err(AppError::internal);
        let first = passphrases.hash(new()?).await?;
        let second = passphrases.hash(new()?).await?;
        assert!(
            first.starts_with("$argon2id$v=19$m=19456,t=2,p=1$"),
            "{first}"
        );
        assert_ne!(first, second);
        assert!(
            passphrases
                .verify("copper over steel".into(), Some(first))
                .await?
        );
        assert!(
            !passphrases
                .verify("copper over steel ".into(), Some(second))
                .await?
        );
        Ok(())
    }

    #[tokio::test]
    async fn nobody_and_a_damaged_hash_match_nothing() -> Result<(), AppError> {
        let passphrases = Passphrases::default();
        assert!(!passphrases.verify("nobody at all".into(), None).await?);
        assert!(
            !passphrases
                .verify("".into(), Some("$argon2id$".into()))
                .await?
        );
        Ok(())
    }
}
