//! A short PIN to sign with: good on one device, for one person, inside that person's session.
//!
//! A PIN of four to eight figures is no passphrase by NIST SP 800-63B-4. It stands for one only where
//! the session was opened with the passphrase and the device carries a long secret of its own; after
//! five wrong tries it is dead on this device until the passphrase is used.

use axum::extract::State;
use axum::http::HeaderMap;
use axum::http::header::{COOKIE, SET_COOKIE};
use axum::response::{IntoResponse, Response};
use mendpost_core::journal::Subject;
use serde::Deserialize;
use serde_json::json;
use sha2::{Digest, Sha256};
use sqlx::{SqliteConnection, SqliteExecutor};
use uuid::Uuid;

use super::pages::PinPage;
use super::prove::prove;
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted};
use crate::page::{Notice, Screen, page_with};
use crate::people::{Visit, Who, new_token};

/// The hash of a device's secret.
pub type Device = [u8; 32];

/// The device that a request comes from, if it carries a secret.
pub fn device(headers: &HeaderMap) -> Option<Device> {
    headers
        .get_all(COOKIE)
        .iter()
        .filter_map(|cookies| cookies.to_str().ok())
        .flat_map(|cookies| cookies.split(';'))
        .find_map(|cookie| cookie.trim().strip_prefix(COOKIE_NAME)?.strip_prefix('='))
        .filter(|secret| secret.len() >= SECRET_LENGTH)
        .map(|secret| Sha256::digest(secret.as_bytes()).into())
}

/// Whether what was typed can only be meant as a PIN: passphrases are longer.
pub(super) fn looks_like(typed: &str) -> bool {
    LENGTH.contains(&typed.len()) && typed.bytes().all(|byte| byte.is_ascii_digit())
}

/// Whether this person has a PIN on this device that still counts.
pub(super) async fn stands(
    executor: impl SqliteExecutor<'_>,
    device: Option<Device>,
    person: Uuid,
) -> Result<bool, sqlx::Error> {
    let Some(device) = device else {
        return Ok(false);
    };
    let pin = find(executor, &device, person).await?;
    Ok(pin.is_some_and(|pin| pin.failures < TRIES))
}

/// Judges a PIN, and counts the try before its outcome is known, so that many at once are no way round.
pub(super) async fn judge(
    state: &AppState,
    device: Option<Device>,
    person: Uuid,
    typed: &str,
) -> Result<Result<(), String>, AppError> {
    let Some(device) = device else {
        return Ok(Err(NO_PIN.to_owned()));
    };
    let bytes = device.as_slice();
    let counted = sqlx::query_scalar!(
        "update device_pin set failures = failures + 1
         where device_hash = ? and person_id = ? and failures < ?
         returning pin_hash",
        bytes,
        person,
        TRIES,
    )
    .fetch_optional(&state.db.write)
    .await?;
    let Some(hash) = counted else {
        let known = find(&state.db.read, &device, person).await?.is_some();
        return Ok(Err(if known { DEAD } else { NO_PIN }.to_owned()));
    };
    if state
        .passphrases
        .verify(typed.to_owned(), Some(hash))
        .await?
    {
        forgive(state, Some(device), person).await;
        return Ok(Ok(()));
    }
    tracing::warn!("a PIN was refused");
    let left = match find(&state.db.read, &device, person).await? {
        Some(pin) => TRIES - pin.failures,
        None => 0,
    };
    Ok(Err(match left {
        ..=0 => DEAD.to_owned(),
        1 => "that is not your PIN; one more try, or enter your passphrase".to_owned(),
        left => format!("that is not your PIN; {left} more tries, or enter your passphrase"),
    }))
}

/// Forgets wrong tries after a right one, or after the passphrase. A count that cannot be written stays.
pub(super) async fn forgive(state: &AppState, device: Option<Device>, person: Uuid) {
    let Some(device) = device else { return };
    let bytes = device.as_slice();
    let forgiven = sqlx::query!(
        "update device_pin set failures = 0
         where device_hash = ? and person_id = ? and failures > 0",
        bytes,
        person,
    )
    .execute(&state.db.write)
    .await;
    if let Err(error) = forgiven {
        tracing::warn!(cause = %error, "wrong tries at a PIN were not forgotten");
    }
}

/// Takes a person's PINs off all devices.
pub async fn void(connection: &mut SqliteConnection, person: Uuid) -> Result<(), sqlx::Error> {
    sqlx::query!("delete from device_pin where person_id = ?", person)
        .execute(connection)
        .await?;
    Ok(())
}

#[derive(Default, Deserialize)]
#[serde(default)]
pub(super) struct PinForm {
    pub passphrase: String,
    pub pin: String,
    pub pin_again: String,
}

pub(super) async fn show(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
) -> Result<Response, AppError> {
    pin_page(&state, &visit, &who, FieldErrors::default()).await
}

/// Enrols this device, if it is not, and sets the person's PIN on it.
pub(super) async fn set(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Posted(form): Posted<PinForm>,
) -> Result<Response, AppError> {
    let mut errors = FieldErrors::default();
    if looks_like(&form.passphrase) {
        errors.add("passphrase", "enter your passphrase here, not a PIN");
    } else if let Err(fault) = prove(&state, &visit, &who, &form.passphrase).await? {
        errors.add("passphrase", fault);
    }
    if !looks_like(&form.pin) {
        errors.add("pin", "use four to eight figures, and nothing else");
    } else if is_plain(&form.pin) {
        errors.add("pin", "that is the first that others try; use another");
    } else if form.pin != form.pin_again {
        errors.add("pin_again", "the two differ; enter the same again");
    }
    if !errors.is_empty() {
        return pin_page(&state, &visit, &who, errors).await;
    }
    let hash = state.passphrases.hash_pin(form.pin.clone()).await?;
    let (device, cookie) = match visit.device {
        Some(device) => (device, None),
        None => {
            let secret = new_token();
            let device: Device = Sha256::digest(secret.as_bytes()).into();
            (device, Some(device_cookie(&state, &secret)))
        }
    };
    let mut change = Change::begin(&state, &who).await?;
    let (bytes, now) = (device.as_slice(), change.now());
    sqlx::query!(
        "insert into device_pin (device_hash, person_id, pin_hash, failures, made_ms)
         values (?, ?, ?, 0, ?)
         on conflict do update set pin_hash = excluded.pin_hash, failures = 0, made_ms = excluded.made_ms",
        bytes,
        who.id,
        hash,
        now,
    )
    .execute(change.connection())
    .await?;
    let subject = Subject::new("person", who.number);
    let journal = change.journal("person.pin-set", subject, json!({})).await?;
    let text = format!("Your PIN signs on this device, journal {journal}.");
    let notice = Notice::done("SAVED", text);
    let mut response = change.finish(&who, "/account/pin", notice).await?;
    if let Some(cookie) = cookie {
        let value = cookie.parse().map_err(AppError::internal)?;
        response.headers_mut().append(SET_COOKIE, value);
    }
    Ok(response)
}

/// Takes the person's PIN off this device; it takes no proof to have less power.
pub(super) async fn remove(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
) -> Result<Response, AppError> {
    let mut change = Change::begin(&state, &who).await?;
    let device = visit.device.unwrap_or_default();
    let bytes = device.as_slice();
    sqlx::query!(
        "delete from device_pin where device_hash = ? and person_id = ?",
        bytes,
        who.id
    )
    .execute(change.connection())
    .await?;
    let subject = Subject::new("person", who.number);
    let journal = change
        .journal("person.pin-removed", subject, json!({}))
        .await?;
    let text = format!("This device signs by passphrase only, journal {journal}.");
    change
        .finish(&who, "/account/pin", Notice::done("SAVED", text))
        .await
}

async fn pin_page(
    state: &AppState,
    visit: &Visit,
    who: &Who,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let pin = match visit.device {
        Some(device) => find(&state.db.read, &device, who.id).await?,
        None => None,
    };
    let page = PinPage {
        page: visit.layout(Screen::Account, "PIN").await?,
        made: pin.as_ref().map(|pin| pin.made_ms),
        dead: pin.is_some_and(|pin| pin.failures >= TRIES),
        demonstration: state.config.demonstration,
        errors,
    };
    let status = page.errors.status();
    Ok(page_with(status, &page)?.into_response())
}

struct Pin {
    failures: i64,
    made_ms: i64,
}

async fn find(
    executor: impl SqliteExecutor<'_>,
    device: &Device,
    person: Uuid,
) -> Result<Option<Pin>, sqlx::Error> {
    let bytes = device.as_slice();
    sqlx::query_as!(
        Pin,
        "select failures, made_ms from device_pin where device_hash = ? and person_id = ?",
        bytes,
        person
    )
    .fetch_optional(executor)
    .await
}

fn device_cookie(state: &AppState, secret: &str) -> String {
    let secure = if state.config.behind_https {
        "; Secure"
    } else {
        ""
    };
    format!("{COOKIE_NAME}={secret}; Path=/; Max-Age=31536000; HttpOnly; SameSite=Strict{secure}")
}

/// One figure throughout, or figures in a row up or down.
fn is_plain(pin: &str) -> bool {
    let steps: Vec<i16> = pin
        .as_bytes()
        .windows(2)
        .map(|pair| i16::from(pair[1]) - i16::from(pair[0]))
        .collect();
    [0, 1, -1]
        .iter()
        .any(|step| steps.iter().all(|found| found == step))
}

const COOKIE_NAME: &str = "device";
const SECRET_LENGTH: usize = 22;
const LENGTH: std::ops::RangeInclusive<usize> = 4..=8;
const TRIES: i64 = 5;
const NO_PIN: &str = "no PIN of yours is set on this device; enter your passphrase";
const DEAD: &str = "five wrong tries: the PIN counts no more on this device; enter your passphrase, then the PIN \
                    counts again";

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_four_to_eight_figures_are_a_pin() {
        for pin in ["4711", "00347712"] {
            assert!(looks_like(pin), "{pin}");
        }
        for other in [
            "471",
            "471147114",
            "47a1",
            "",
            "copper over steel",
            "４７１１",
        ] {
            assert!(!looks_like(other), "{other}");
        }
    }

    #[test]
    fn what_everybody_tries_first_is_no_pin() {
        for plain in ["0000", "77777", "1234", "456789", "9876"] {
            assert!(is_plain(plain), "{plain}");
        }
        for fair in ["4711", "1213", "1235", "8642"] {
            assert!(!is_plain(fair), "{fair}");
        }
    }
}
