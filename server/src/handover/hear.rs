//! Taking a handover over: item by item, with five facts seen, and read back where the risk is higher.

use axum::extract::{Path, State};
use axum::response::Response;
use mendpost_core::journal::Subject;
use mendpost_core::shift::{Heard, Seen, Told, unheard};
use mendpost_core::signature::Meaning;

use super::one::{Hearing, page_of};
use super::queries::{self, Ending, Handover};
use super::{PATH, fields};
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::section::Fields;
use crate::form::{FieldErrors, Posted};
use crate::page::Notice;
use crate::page::act::SIGN_FIELD;
use crate::people::{Visit, Who};
use crate::signature::{Proof, prove, sign};

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
    let heard = heard(&handover.told, &typed, &mut errors);
    let own = handover.person == who.id;
    for missing in unheard(&handover.told, &heard, own, visit.now) {
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
fn heard(told: &Told, typed: &Fields, errors: &mut FieldErrors) -> Heard {
    let items = told.record.items().into_iter();
    let mut said = |name: &str| fields::said(typed, name, errors);
    let seen = told.facts.iter().map(|fact| {
        let seen = Seen {
            value: said(&format!("{}_seen", fact.key)),
            agrees: fields::answered(typed, &format!("{}_agrees", fact.key)),
        };
        (fact.key.clone(), seen)
    });
    let seen = seen.collect();
    let stands = told.record.stands.iter();
    let again = stands.map(|it| (it.key.clone(), said(&format!("{}_again", it.key))));
    let again = again.filter(|(_, text)| !text.is_empty()).collect();
    Heard {
        read: items
            .filter(|key| fields::ticked(typed, &format!("{key}_heard")))
            .collect(),
        seen,
        again,
        settled: said("settled"),
        read_back: said("read_back"),
        talked: fields::ticked(typed, "talked"),
    }
}

/// Records that it was heard, and opens the next shift with it; the number of that.
async fn take_over(
    change: &mut Change,
    handover: &Handover,
    heard: &Heard,
    proof: &Proof,
) -> Result<i64, AppError> {
    let ending = Ending {
        number: handover.number,
        heard: Some(heard),
        reason: "",
        by: &proof.name,
        person: proof.person,
    };
    let subject = Subject::new("handover", handover.number);
    let kind = "handover.heard";
    let sequence = sign(
        change,
        kind,
        subject,
        ending.content(),
        Meaning::TakeOver,
        proof,
    )
    .await?;
    queries::end(change, &ending, sequence).await?;
    super::shift::begin(
        change,
        Some(handover.number),
        "",
        (&proof.name, proof.person),
    )
    .await
}
