//! One-time codes: start codes, by which a person gets in for the first time or again, and recovery
//! codes, which wait on paper in a sealed envelope.
//!
//! A code has 118 random bits. NIST SP 800-63B-4 calls that a look-up secret of 112 bits or more, of
//! which a plain SHA-256 may be kept.

use std::fmt;

use mendpost_core::journal::Subject;
use serde_json::json;
use sha2::{Digest, Sha256};
use sqlx::{SqliteConnection, SqliteExecutor};
use uuid::Uuid;

use super::{Person, queries};
use crate::change::Change;
use crate::error::AppError;

/// A code as it is shown, once: 'ABCD-EFGH-JKMN-PQRS-TUVW-XYZ2'. It has no `Debug`, so that no log
/// holds it.
pub struct Code(String);

impl Code {
    fn new() -> Result<Code, AppError> {
        let mut letters = String::with_capacity(LENGTH);
        while letters.len() < LENGTH {
            let mut bytes = [0; LENGTH];
            getrandom::fill(&mut bytes).map_err(AppError::internal)?;
            letters.extend(bytes.iter().filter_map(|byte| letter(*byte)));
        }
        letters.truncate(LENGTH);
        Ok(Code(letters))
    }

    fn hash(&self) -> [u8; 32] {
        hash(&self.0)
    }
}

impl fmt::Display for Code {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (place, letter) in self.0.chars().enumerate() {
            if place > 0 && place % GROUP == 0 {
                f.write_str("-")?;
            }
            write!(f, "{letter}")?;
        }
        Ok(())
    }
}

/// A start code and when it lapses.
pub struct StartCode {
    pub code: Code,
    pub until: i64,
}

/// What a code was for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    Start,
    Recovery,
}

impl Kind {
    pub fn word(self) -> &'static str {
        match self {
            Kind::Start => "start code",
            Kind::Recovery => "recovery code",
        }
    }
}

/// How many recovery codes are made at once.
pub const RECOVERY_CODES: usize = 8;

/// Gives a person a new start code, which makes earlier ones void.
pub async fn give_start(change: &mut Change, person: &Person) -> Result<StartCode, AppError> {
    let code = Code::new()?;
    let until = change.now() + START_LASTS_MS;
    void_start(change.connection(), person.id).await?;
    insert(change, person.id, &code, Kind::Start, Some(until)).await?;
    let content = json!({ "id": person.id, "until": until });
    journal(change, "person.start-code", person, content).await?;
    Ok(StartCode { code, until })
}

/// Gives a person new recovery codes, which makes earlier ones void.
pub async fn give_recovery(change: &mut Change, person: &Person) -> Result<Vec<Code>, AppError> {
    sqlx::query!(
        "delete from one_time_code where person_id = ? and kind = 'recovery' and used_at is null",
        person.id
    )
    .execute(change.connection())
    .await?;
    let mut codes = Vec::with_capacity(RECOVERY_CODES);
    for _ in 0..RECOVERY_CODES {
        let code = Code::new()?;
        insert(change, person.id, &code, Kind::Recovery, None).await?;
        codes.push(code);
    }
    let content = json!({ "id": person.id, "count": codes.len() });
    journal(change, "person.recovery-codes", person, content).await?;
    Ok(codes)
}

/// The active person of this name, if the code is theirs, unused and in time.
pub async fn holder(
    connection: &mut SqliteConnection,
    name: &str,
    typed: &str,
    now: i64,
) -> Result<Option<(Person, Kind)>, sqlx::Error> {
    let Some((person, _)) = queries::person_to_sign_in(&mut *connection, name).await? else {
        return Ok(None);
    };
    let hash = hash(typed);
    let hash = hash.as_slice();
    let kind = sqlx::query_scalar!(
        "select kind from one_time_code
         where hash = ? and person_id = ? and used_at is null
           and (expires_at is null or expires_at > ?)",
        hash,
        person.id,
        now,
    )
    .fetch_optional(connection)
    .await?;
    Ok(kind.map(|kind| match kind.as_str() {
        "start" => (person, Kind::Start),
        _ => (person, Kind::Recovery),
    }))
}

/// Uses a code up, and makes the person's other start codes void: they are in.
pub async fn use_up(change: &mut Change, person: Uuid, typed: &str) -> Result<(), AppError> {
    let hash = hash(typed);
    let hash = hash.as_slice();
    let now = change.now();
    sqlx::query!(
        "update one_time_code set used_at = ? where hash = ? and person_id = ?",
        now,
        hash,
        person,
    )
    .execute(change.connection())
    .await?;
    void_start(change.connection(), person).await?;
    Ok(())
}

/// Makes all unused codes of a person void.
pub async fn void_all(connection: &mut SqliteConnection, person: Uuid) -> Result<(), sqlx::Error> {
    sqlx::query!(
        "delete from one_time_code where person_id = ? and used_at is null",
        person
    )
    .execute(connection)
    .await?;
    Ok(())
}

/// How many recovery codes a person has left.
pub async fn recovery_left(
    executor: impl SqliteExecutor<'_>,
    person: Uuid,
) -> Result<i64, sqlx::Error> {
    sqlx::query_scalar!(
        "select count(*) from one_time_code
         where person_id = ? and kind = 'recovery' and used_at is null",
        person
    )
    .fetch_one(executor)
    .await
}

/// Until when a person's start code can be used, if there is one.
pub async fn start_open_until(
    executor: impl SqliteExecutor<'_>,
    person: Uuid,
    now: i64,
) -> Result<Option<i64>, sqlx::Error> {
    sqlx::query_scalar!(
        r#"select max(expires_at) as "until: i64" from one_time_code
           where person_id = ? and kind = 'start' and used_at is null and expires_at > ?"#,
        person,
        now,
    )
    .fetch_one(executor)
    .await
}

/// Capitals and figures without those that look alike: no 0 and O, no 1, I and L.
const ALPHABET: &[u8; 31] = b"ABCDEFGHJKMNPQRSTUVWXYZ23456789";
const LENGTH: usize = 24;
const GROUP: usize = 4;

/// Three days: longer than a person is off shift.
const START_LASTS_MS: i64 = 72 * 60 * 60 * 1000;

/// Each letter by as many bytes as any other; the bytes left over stand for none.
fn letter(byte: u8) -> Option<char> {
    let even = u8::MAX - u8::MAX % 31;
    let place = usize::from(byte % 31);
    (byte < even).then(|| char::from(ALPHABET[place]))
}

/// Of what was typed only letters and figures count, small or capital.
fn hash(typed: &str) -> [u8; 32] {
    let plain: String = typed
        .chars()
        .filter(char::is_ascii_alphanumeric)
        .map(|letter| letter.to_ascii_uppercase())
        .collect();
    Sha256::digest(plain.as_bytes()).into()
}

async fn insert(
    change: &mut Change,
    person: Uuid,
    code: &Code,
    kind: Kind,
    until: Option<i64>,
) -> Result<(), AppError> {
    let hash = code.hash();
    let hash = hash.as_slice();
    let kind = match kind {
        Kind::Start => "start",
        Kind::Recovery => "recovery",
    };
    let now = change.now();
    sqlx::query!(
        "insert into one_time_code (hash, person_id, kind, made_at, expires_at)
         values (?, ?, ?, ?, ?)",
        hash,
        person,
        kind,
        now,
        until,
    )
    .execute(change.connection())
    .await?;
    Ok(())
}

async fn void_start(connection: &mut SqliteConnection, person: Uuid) -> Result<(), sqlx::Error> {
    sqlx::query!(
        "delete from one_time_code where person_id = ? and kind = 'start' and used_at is null",
        person
    )
    .execute(connection)
    .await?;
    Ok(())
}

async fn journal(
    change: &mut Change,
    kind: &str,
    person: &Person,
    content: serde_json::Value,
) -> Result<(), AppError> {
    let subject = Subject::new("person", person.number);
    change.journal(kind, subject, content).await?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 24 letters of 31: 24 x log2(31) = 24 x 4.954 = 118.9 bits.
    #[test]
    fn a_code_has_six_groups_of_four_without_lookalikes() -> Result<(), AppError> {
        let code = Code::new()?.to_string();
        let groups: Vec<&str> = code.split('-').collect();
        assert_eq!(groups.len(), 6, "{code}");
        assert!(groups.iter().all(|group| group.len() == 4), "{code}");
        assert!(!code.contains(['0', 'O', '1', 'I', 'L']), "{code}");
        let bits = 24.0 * f64::from(31).log2();
        assert!((bits - 118.9).abs() < 0.05, "{bits}");
        Ok(())
    }

    /// Of 256 bytes 248 = 8 x 31 stand for a letter, 8 for each.
    #[test]
    fn every_letter_is_as_likely_as_any_other() {
        for expected in ALPHABET {
            let count = (0..=u8::MAX)
                .filter(|byte| letter(*byte) == Some(char::from(*expected)))
                .count();
            assert_eq!(count, 8, "{}", char::from(*expected));
        }
        assert_eq!((0..=u8::MAX).filter_map(letter).count(), 248);
    }

    #[test]
    fn small_letters_hyphens_and_spaces_make_no_difference() -> Result<(), AppError> {
        let code = Code::new()?;
        let shown = code.to_string();
        for typed in [
            shown.clone(),
            shown.to_lowercase(),
            shown.replace('-', ""),
            shown.replace('-', " "),
            format!(" {shown}\n"),
        ] {
            assert_eq!(hash(&typed), code.hash(), "{typed}");
        }
        assert_ne!(hash(&shown[1..]), code.hash());
        Ok(())
    }
}
