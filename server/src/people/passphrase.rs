//! Passphrases: what may be one, and how it is kept and compared.

use std::sync::{Arc, LazyLock};

use argon2::Argon2;
use argon2::password_hash::phc::PasswordHash;
use argon2::password_hash::{PasswordHasher, PasswordVerifier};
use thiserror::Error;
use tokio::sync::Semaphore;
use tokio::task::spawn_blocking;
use unicode_normalization::UnicodeNormalization;
use zxcvbn::zxcvbn;

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
                    .verify_password(normal(&typed).as_bytes(), &hash)
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

/// A passphrase that may be taken, by NIST SP 800-63B-4: long enough to be the only factor, of any
/// characters, and not quickly guessed.
pub struct NewPassphrase(String);

impl NewPassphrase {
    /// `words` are those that a guesser would try here: the names of person, site and cell.
    pub fn new(typed: &str, words: &[&str]) -> Result<NewPassphrase, PassphraseError> {
        let passphrase = normal(typed);
        let given = passphrase.chars().count();
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
        if guesses_log10(&passphrase, words) < SAFE_GUESSES_LOG10 {
            return Err(PassphraseError::Guessable);
        }
        Ok(NewPassphrase(passphrase))
    }
}

/// Why a passphrase is not taken.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum PassphraseError {
    #[error("{given} characters are too few; use at least {min}, four words make a good one")]
    TooShort { given: usize, min: usize },
    #[error("{given} characters are too many; use at most {max}")]
    TooLong { given: usize, max: usize },
    #[error(
        "this is among the first that a guesser tries; use four words that do not belong together, \
         none of them a name from here"
    )]
    Guessable,
}

/// NIST SP 800-63B-4 asks for at least 15 characters where the passphrase is the only factor.
const SHORTEST: usize = 15;

/// NIST asks that at least 64 be allowed; beyond some hundreds only the machine is kept busy.
const LONGEST: usize = 256;

/// Ten thousand million guesses: where `zxcvbn` begins to call a passphrase very unguessable, and at
/// Argon2id's tens of milliseconds each some years of a core.
const SAFE_GUESSES_LOG10: f64 = 10.0;

/// The same letters in the same code points, whichever keyboard typed them.
fn normal(typed: &str) -> String {
    typed.nfc().collect()
}

fn guesses_log10(passphrase: &str, words: &[&str]) -> f64 {
    let whole = words.iter().map(|words| words.trim().to_lowercase());
    let single = words
        .iter()
        .flat_map(|words| words.split(|letter: char| !letter.is_alphanumeric()))
        .filter(|word| word.chars().count() >= 3)
        .map(str::to_lowercase);
    let known: Vec<String> = whole.chain(single).chain(["mendpost".to_owned()]).collect();
    let known: Vec<&str> = known.iter().map(String::as_str).collect();
    zxcvbn(passphrase, &known).guesses_log10()
}

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

    const WORDS: [&str; 3] = ["Ada Lovelace", "Port Ansel", "Cell 1"];

    fn fault(typed: &str) -> Option<PassphraseError> {
        NewPassphrase::new(typed, &WORDS).err()
    }

    /// 'å' as one code point or as 'a' with a ring is one character: 14 letters stay 14.
    #[test]
    fn length_is_counted_in_normalised_characters() {
        let too_few = |given| Some(PassphraseError::TooShort { given, min: 15 });
        assert_eq!(fault("båt över stål!"), too_few(14));
        assert_eq!(fault("ba\u{30a}t o\u{308}ver sta\u{30a}l!"), too_few(14));
        assert_eq!(fault("båt över stål!!"), None);
        let words = "lettuce under the green boat ";
        let long = words.repeat(9).chars().take(256).collect::<String>();
        assert_eq!(fault(&long), None);
        assert_eq!(
            fault(&format!("{long}x")),
            Some(PassphraseError::TooLong {
                given: 257,
                max: 256
            })
        );
    }

    /// Common, repeated, in a row on the keyboard, or made of the names that stand on every page.
    #[test]
    fn what_is_quickly_guessed_is_refused() {
        for typed in [
            "passwordpassword",
            "password1234567",
            "aaaaaaaaaaaaaaa",
            "               ",
            "123456789012345",
            "qwertyuiopasdfgh",
            "ada lovelace ada lovelace",
            "Adalovelace12345",
            "Port Ansel Cell",
            "mendpost mendpost",
            "portanselmendpost",
        ] {
            assert_eq!(fault(typed), Some(PassphraseError::Guessable), "{typed}");
        }
    }

    /// No rule asks for capitals, figures or signs; spaces and any script are as good.
    #[test]
    fn words_that_do_not_belong_together_are_taken() {
        for typed in [
            "copper over steel",
            "lettuce under the green boat",
            "stål över koppar",
            "\u{92fc}\u{306e}\u{4e0a}\u{306b}\u{9285}\u{3092}\u{5439}\u{304d}\u{3064}\u{3051}\u{308b}\u{671d}\u{306e}\u{8239}\u{51fa}\u{308b}",
        ] {
            assert_eq!(fault(typed), None, "{typed}");
        }
    }

    #[tokio::test]
    async fn one_passphrase_typed_on_two_keyboards_matches() -> Result<(), AppError> {
        let passphrases = Passphrases::default();
        let composed = NewPassphrase::new("stål över koppar", &[]).map_err(AppError::internal)?;
        let hash = passphrases.hash(composed).await?;
        let apart = "sta\u{30a}l o\u{308}ver koppar".to_owned();
        assert!(passphrases.verify(apart, Some(hash)).await?);
        Ok(())
    }

    /// Two hashes of one passphrase differ by their salt, and both match it only.
    #[tokio::test]
    async fn a_hash_matches_its_own_passphrase_only() -> Result<(), AppError> {
        let passphrases = Passphrases::default();
        let new = || NewPassphrase::new("copper over steel", &[]).map_err(AppError::internal);
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
