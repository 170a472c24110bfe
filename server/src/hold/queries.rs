//! Holds and what was judged of them, as rows.

use mendpost_core::catalogue::Came;
use mendpost_core::journal::Subject;
use serde_json::json;
use sqlx::SqliteConnection;
use uuid::Uuid;

use super::{Cause, Verdict};
use crate::change::Change;
use crate::db::decoded;
use crate::error::AppError;
use crate::people::Who;

/// A question on a part.
#[derive(Debug, Clone)]
pub struct Hold {
    pub number: i64,
    pub request: i64,
    pub cause: Cause,
    /// The entry of what was found; none where somebody put it on hold by hand.
    pub of_sequence: Option<i64>,
    pub what: String,
    pub by: String,
    pub person: Uuid,
    pub held_ms: i64,
    pub judged: Option<Judged>,
}

/// What a named person said of it.
#[derive(Debug, Clone)]
pub struct Judged {
    pub verdict: Verdict,
    pub said_by: String,
    pub came: Came,
    pub reason: String,
    pub by: String,
    pub at_ms: i64,
    pub sequence: i64,
}

impl Hold {
    pub fn is_open(&self) -> bool {
        self.judged.is_none()
    }

    /// Judged fit as it is.
    pub fn is_fit(&self) -> bool {
        let judged = self.judged.as_ref();
        judged.is_some_and(|judged| judged.verdict == Verdict::Fit)
    }
}

/// A hold as it will be put.
#[derive(Debug)]
pub struct Held<'a> {
    pub request: i64,
    pub cause: Cause,
    pub of_sequence: Option<i64>,
    pub what: &'a str,
}

/// All holds of a request, or all there are, the oldest first.
pub async fn holds(
    connection: &mut SqliteConnection,
    request: Option<i64>,
) -> Result<Vec<Hold>, sqlx::Error> {
    sqlx::query!(
        r#"select h.number as "number!: i64", r.number as "request!: i64", h.cause as "cause!: String",
             h.of_sequence, h.what as "what!: String", h.held_by as "held_by!: String",
             h.person_id as "person!: Uuid", h.held_ms as "held_ms!: i64", j.verdict as "verdict?: String",
             j.said_by as "said_by?: String", j.came as "came?: String", j.reason as "reason?: String",
             j.judged_by as "judged_by?: String", j.judged_ms as "judged_ms?: i64",
             j.journal_sequence as "judged_sequence?: i64"
           from part_hold h
           join request r on r.id = h.request_id
           left join part_judged j on j.number = h.number
           where ?1 is null or r.number = ?1
           order by h.number"#,
        request
    )
    .try_map(|row| {
        let verdict = row.verdict.map(|verdict| decoded(verdict.parse()));
        let came = row.came.map(|came| decoded(came.parse()));
        let came = came.transpose()?.unwrap_or(Came::InPerson);
        let judged = verdict.transpose()?.map(|verdict| Judged {
            verdict,
            said_by: row.said_by.unwrap_or_default(),
            came,
            reason: row.reason.unwrap_or_default(),
            by: row.judged_by.unwrap_or_default(),
            at_ms: row.judged_ms.unwrap_or_default(),
            sequence: row.judged_sequence.unwrap_or_default(),
        });
        Ok(Hold {
            number: row.number,
            request: row.request,
            cause: decoded(row.cause.parse())?,
            of_sequence: row.of_sequence,
            what: row.what,
            by: row.held_by,
            person: row.person,
            held_ms: row.held_ms,
            judged,
        })
    })
    .fetch_all(connection)
    .await
}

/// One hold, by what stands in an address.
pub async fn find(connection: &mut SqliteConnection, number: &str) -> Result<Hold, AppError> {
    let none = || AppError::NotFound {
        what: format!("hold '{number}'"),
    };
    let parsed: i64 = number.parse().map_err(|_| none())?;
    let all = holds(connection, None).await?;
    all.into_iter()
        .find(|hold| hold.number == parsed)
        .ok_or_else(none)
}

/// Puts a part on hold; the number of the hold.
pub async fn put(change: &mut Change, held: &Held<'_>, who: &Who) -> Result<i64, AppError> {
    let number: i64 = sqlx::query_scalar!(
        r#"select coalesce(max(number), 0) + 1 as "number!: i64" from part_hold"#
    )
    .fetch_one(change.connection())
    .await?;
    let content = json!({
        "hold": number,
        "cause": held.cause,
        "of": held.of_sequence,
        "what": held.what,
        "by": who.name,
    });
    let subject = Subject::new("request", format!("R{}", held.request));
    let sequence = change.journal("request.held", subject, content).await?;
    let (cause, now) = (held.cause.as_str(), change.now());
    sqlx::query!(
        "insert into part_hold (number, request_id, cause, of_sequence, what, held_by, person_id, held_ms,
           journal_sequence)
         values (?, (select id from request where number = ?), ?, ?, ?, ?, ?, ?, ?)",
        number,
        held.request,
        cause,
        held.of_sequence,
        held.what,
        who.name,
        who.id,
        now,
        sequence,
    )
    .execute(change.connection())
    .await?;
    Ok(number)
}

/// What is recorded of a judgement.
pub struct NewJudged<'a> {
    pub verdict: Verdict,
    pub said_by: &'a str,
    pub came: Came,
    pub reason: &'a str,
}

/// Notes what was judged of a hold, under the entry that says so.
pub async fn insert_judged(
    change: &mut Change,
    number: i64,
    new: &NewJudged<'_>,
    who: &Who,
    sequence: i64,
) -> Result<(), AppError> {
    let (verdict, came, now) = (new.verdict.as_str(), new.came.as_str(), change.now());
    sqlx::query!(
        "insert into part_judged (number, verdict, said_by, came, reason, judged_by, person_id, judged_ms,
           journal_sequence)
         values (?, ?, ?, ?, ?, ?, ?, ?, ?)",
        number,
        verdict,
        new.said_by,
        came,
        new.reason,
        who.name,
        who.id,
        now,
        sequence,
    )
    .execute(change.connection())
    .await?;
    Ok(())
}
