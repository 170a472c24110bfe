//! One form, one change: a form sent twice changes once, and gets the same answer twice.
//!
//! Each form carries a number of its own, made with its page. [`crate::change::Change`] keeps the
//! number with the answer in the transaction of the change itself, so that neither can be without the
//! other. The same number with other fields is no repetition: the person is told what was done, and
//! may send it as a further change.

use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use sqlx::SqliteConnection;
use uuid::Uuid;

use crate::db::decoded;
use crate::error::{AppError, Problem, Resend};
use crate::page::Notice;
use crate::people::{Visit, new_token};
use crate::sent::Sent;

/// The number of a form and what was in it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Once {
    key: String,
    fingerprint: [u8; 32],
}

impl Once {
    /// What a sent form carries, if its number is one.
    pub fn of(sent: &Sent) -> Option<Once> {
        let key = sent
            .once
            .clone()
            .filter(|key| KEY_LENGTH.contains(&key.len()))?;
        Some(Once {
            key,
            fingerprint: sent.fingerprint,
        })
    }
}

/// A number for a new form.
pub fn number() -> String {
    new_token()
}

/// What was answered to a form.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Answered {
    pub location: String,
    pub notice: Notice,
}

/// The answer that this person's form has had already.
///
/// # Errors
/// [`AppError::DoneBefore`] carries it when the form is the same, [`AppError::SentBefore`] when its
/// fields differ.
pub async fn refuse_repeated(
    connection: &mut SqliteConnection,
    person: Uuid,
    once: &Once,
) -> Result<(), AppError> {
    let found = sqlx::query!(
        "select fingerprint, location, notice from answered where person_id = ? and key = ?",
        person,
        once.key,
    )
    .try_map(|row| {
        let answered = Answered {
            location: row.location,
            notice: decoded(serde_json::from_str(&row.notice))?,
        };
        Ok((row.fingerprint, answered))
    })
    .fetch_optional(connection)
    .await?;
    match found {
        None => Ok(()),
        Some((same, answered)) if same == once.fingerprint => Err(AppError::DoneBefore(answered)),
        Some((_, answered)) => Err(AppError::SentBefore(answered)),
    }
}

/// Keeps the answer to a form, in the transaction of its change, and forgets old ones.
pub async fn keep(
    connection: &mut SqliteConnection,
    person: Uuid,
    once: &Once,
    answered: &Answered,
    journal_sequence: i64,
    now: i64,
) -> Result<(), AppError> {
    let notice = serde_json::to_string(&answered.notice).map_err(AppError::internal)?;
    let fingerprint = once.fingerprint.as_slice();
    let forgotten = now - KEPT_MS;
    sqlx::query!("delete from answered where answered_ms < ?", forgotten)
        .execute(&mut *connection)
        .await?;
    sqlx::query!(
        "insert into answered
           (person_id, key, fingerprint, location, notice, journal_sequence, answered_ms)
         values (?, ?, ?, ?, ?, ?, ?)",
        person,
        once.key,
        fingerprint,
        answered.location,
        notice,
        journal_sequence,
        now,
    )
    .execute(connection)
    .await?;
    Ok(())
}

/// Answers a form that was done before as it was answered then, and shows one whose fields differ what
/// was done; all else passes.
pub async fn answer_again(
    visit: &Visit,
    sent: Sent,
    path: &str,
    mut response: Response,
) -> Response {
    let Some(Repeated { answered, same }) = response.extensions_mut().remove::<Repeated>() else {
        return response;
    };
    if same {
        if let Err(error) = visit.notice(answered.notice).await {
            tracing::warn!(cause = %error, "a repeated form was answered without its notice");
        }
        return Redirect::to(&answered.location).into_response();
    }
    let Notice { head, text, .. } = answered.notice;
    let mut problem = Problem::bare(StatusCode::CONFLICT);
    problem.detail = format!(
        "This form was sent before and done: {head} {text} What was sent now is different, and was \
         not taken."
    );
    problem.resend = Some(Resend {
        done: answered.location,
        path: path.to_owned(),
        fields: (!sent.partial).then_some(sent.fields),
    });
    response.extensions_mut().insert(problem);
    response
}

/// Left by [`AppError::DoneBefore`] and [`AppError::SentBefore`] on their way out.
#[derive(Debug, Clone)]
pub struct Repeated {
    pub answered: Answered,
    /// Whether the same was sent.
    pub same: bool,
}

const KEY_LENGTH: std::ops::RangeInclusive<usize> = 16..=100;

/// Longer than any tablet stays out of reach with an answer lost.
const KEPT_MS: i64 = 7 * 24 * 60 * 60 * 1000;
