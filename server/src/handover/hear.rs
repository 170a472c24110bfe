//! Taking a handover over: item by item, with five facts seen, and read back where the risk is higher.

use axum::extract::{Path, State};
use axum::response::Response;
use mendpost_core::journal::{Subject, canonical};
use mendpost_core::shift::{Heard, Record, Seen, unheard};
use mendpost_core::signature::Meaning;
use serde_json::json;

use super::PATH;
use super::one::{Hearing, page_of};
use super::queries::{self, Handover};
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::section::Fields;
use crate::form::{FieldErrors, Posted, optional_text};
use crate::page::Notice;
use crate::page::act::SIGN_FIELD;
use crate::people::{Visit, Who};
use crate::signature::{Proof, prove, sign};

/// The longest text of a field.
const LONGEST: usize = 400;

pub(super) async fn save(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(number): Path<String>,
    Posted(typed): Posted<Fields>,
) -> Result<Response, AppError> {
    let mut errors = FieldErrors::default();
    let secret = typed.get(SIGN_FIELD).map_or("", String::as_str);
    let proof = prove(&state, &visit, &who, secret).await?;
    let mut change = Change::begin(&state, &who).await?;
    let handover = queries::find(change.connection(), &number).await?;
    still_waits(&handover)?;
    let heard = heard(&handover.told.record, &typed, &mut errors);
    let own = handover.person == who.id;
    for missing in unheard(&handover.told.record, &heard, own, visit.now) {
        errors.add(&missing.field(), missing.to_string());
    }
    let (Ok(proof), true) = (&proof, errors.is_empty()) else {
        drop(change);
        if let Err(fault) = proof {
            errors.add(SIGN_FIELD, fault);
        }
        let hearing = Hearing { typed, errors };
        return page_of(&state, &visit, handover, hearing).await;
    };
    let shift = take_over(&mut change, &handover, &heard, proof).await?;
    let text =
        format!("Shift {shift} is on. What was promised and what must be done stands below.");
    let notice = Notice::done(format!("HANDOVER {number} IS YOURS."), text);
    change.finish(&who, PATH, notice).await
}

/// Refuses what ended already.
pub(super) fn still_waits(handover: &Handover) -> Result<(), AppError> {
    let Some(end) = &handover.end else {
        return Ok(());
    };
    let how = match end.heard {
        Some(_) => "taken over",
        None => "refused",
    };
    Err(AppError::Conflict(format!(
        "handover {} was {how} by {} already; look at it",
        handover.number, end.by
    )))
}

/// What was typed of each item.
fn heard(record: &Record, typed: &Fields, errors: &mut FieldErrors) -> Heard {
    let ticked = |name: &str| typed.get(name).is_some_and(|it| it == "yes");
    let mut said = |name: &str| {
        let typed = typed.get(name).map_or("", String::as_str);
        let text = errors.check(name, optional_text(typed, LONGEST));
        text.flatten().unwrap_or_default()
    };
    let items = record.items().into_iter();
    let read = items
        .filter(|key| ticked(&format!("{key}_heard")))
        .collect();
    let facts = mendpost_core::shift::facts(record).into_iter();
    let seen = facts.map(|fact| {
        let agrees = format!("{}_agrees", fact.key);
        let seen = Seen {
            value: said(&format!("{}_seen", fact.key)),
            agrees: match typed.get(&agrees).map_or("", String::as_str) {
                "yes" => Some(true),
                "no" => Some(false),
                _ => None,
            },
        };
        (fact.key, seen)
    });
    let seen = seen.collect();
    let stands = record.stands.iter();
    let again = stands.map(|it| (it.key.clone(), said(&format!("{}_again", it.key))));
    let again = again.filter(|(_, text)| !text.is_empty()).collect();
    Heard {
        read,
        seen,
        again,
        settled: said("settled"),
        read_back: said("read_back"),
        talked: ticked("talked"),
    }
}

/// Records that it was heard, and opens the next shift with it; the number of that.
async fn take_over(
    change: &mut Change,
    handover: &Handover,
    heard: &Heard,
    proof: &Proof,
) -> Result<i64, AppError> {
    let text = canonical(heard).map_err(AppError::internal)?;
    let content = json!({
        "taken": true,
        "heard": heard,
        "reason": "",
        "ended_by": proof.name,
    });
    let subject = Subject::new("handover", handover.number);
    let sequence = sign(
        change,
        "handover.heard",
        subject,
        content,
        Meaning::TakeOver,
        proof,
    )
    .await?;
    let now = change.now();
    sqlx::query!(
        "insert into handover_end (number, taken, heard, reason, ended_by, person_id, ended_ms, journal_sequence)
         values (?, 1, ?, '', ?, ?, ?, ?)",
        handover.number,
        text,
        proof.name,
        proof.person,
        now,
        sequence,
    )
    .execute(change.connection())
    .await?;
    super::shift::begin(
        change,
        Some(handover.number),
        "",
        (&proof.name, proof.person),
    )
    .await
}
