//! Stopping a lot, and saying that it is never to be used: with what was made of it.

use axum::extract::{Path, State};
use axum::response::Response;
use mendpost_core::code::LotCode;
use mendpost_core::journal::Subject;
use mendpost_core::powder::LotState;
use mendpost_core::signature::Meaning;
use serde::{Deserialize, Serialize};

use super::queries::{self, LotFacts};
use super::{REASON, facts, find, lot_path, unchanged};
use crate::AppState;
use crate::blend::queries::{Relative, children};
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted, text};
use crate::page::act::{ActPage, Field, SIGN_FIELD};
use crate::page::{Notice, Screen};
use crate::people::{Visit, Who};
use crate::signature::{ask, prove, sign};
use crate::words::powder::lot_state;

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct StopForm {
    reason: String,
    /// The lots made of it that are stopped too.
    with: Vec<String>,
    sign_passphrase: String,
}

pub async fn show_hold(
    State(state): State<AppState>,
    visit: Visit,
    Path(code): Path<String>,
) -> Result<Response, AppError> {
    let lot = stoppable(&state, &code).await?;
    let family = stoppable_children(&state, &code).await?;
    let form = StopForm {
        with: family.iter().map(|child| child.lot.clone()).collect(),
        ..StopForm::default()
    };
    hold_page(&visit, &lot, &family, form, FieldErrors::default()).await
}

/// Stops a lot. That asks for a reason and no signature: to stop must be easy.
pub async fn hold(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(code): Path<String>,
    Posted(form): Posted<StopForm>,
) -> Result<Response, AppError> {
    let lot = stoppable(&state, &code).await?;
    let mut errors = FieldErrors::default();
    let Some(reason) = errors.check("reason", text(&form.reason, REASON)) else {
        let family = stoppable_children(&state, &code).await?;
        return hold_page(&visit, &lot, &family, form, errors).await;
    };
    let mut change = Change::begin(&state, &who).await?;
    unchanged(&mut change, &lot).await?;
    let journal = stop(&mut change, &lot, &reason, None).await?;
    let with = stop_children(&mut change, &lot.code, &form.with, &reason).await?;
    let text = format!(
        "{} is on hold, journal {journal}.{with} Tell those who might draw from it.",
        lot.code
    );
    change
        .finish(&who, &lot_path(&lot.code), Notice::done("STOPPED", text))
        .await
}

/// Stops a lot as a part of a change, perhaps since it was made of another; the journal entry.
pub async fn stop(
    change: &mut Change,
    lot: &LotFacts,
    reason: &str,
    made_of: Option<&str>,
) -> Result<i64, AppError> {
    queries::set_state(change.connection(), &lot.code, LotState::Hold, reason).await?;
    let content = Held {
        before: lot.state,
        reason,
        made_of,
    };
    let subject = Subject::new("lot", &lot.code);
    change.journal("lot.held", subject, content).await
}

/// Stops lots of which too much is unexplained, or that were called off, as part of another change; what there is to
/// say of it.
pub async fn stop_lots(
    change: &mut Change,
    lots: &[LotCode],
    reason: &str,
) -> Result<String, AppError> {
    let mut held = Vec::new();
    for code in lots {
        let lot = queries::lot(change.connection(), code.as_str()).await?;
        if let Some(lot) = lot.filter(|lot| lot.state.can_be_stopped()) {
            stop(change, &lot, reason, None).await?;
            held.push(lot.code);
        }
    }
    Ok(match held.as_slice() {
        [] => String::new(),
        held => format!(" {} on hold: {reason}.", held.join(" and ")),
    })
}

/// Stops those of the lots made of a lot that were asked for; what there is to say of it.
async fn stop_children(
    change: &mut Change,
    code: &str,
    asked: &[String],
    reason: &str,
) -> Result<String, AppError> {
    let family = children(change.connection(), code).await?;
    let reason: String = format!("made of {code}: {reason}")
        .chars()
        .take(REASON)
        .collect();
    let mut stopped = Vec::new();
    for child in family.iter().filter(|child| asked.contains(&child.lot)) {
        let lot = queries::lot(change.connection(), &child.lot).await?;
        if let Some(lot) = lot.filter(|lot| lot.state.can_be_stopped()) {
            stop(change, &lot, &reason, Some(code)).await?;
            stopped.push(lot.code);
        }
    }
    Ok(match stopped.is_empty() {
        true => String::new(),
        false => format!(" So is what was made of it: {}.", stopped.join(", ")),
    })
}

/// The lots made of a lot that can still be stopped.
async fn stoppable_children(state: &AppState, code: &str) -> Result<Vec<Relative>, AppError> {
    let mut family = children(&state.db.read, code).await?;
    family.retain(|child| child.state.can_be_stopped());
    Ok(family)
}

pub async fn show_reject(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(code): Path<String>,
) -> Result<Response, AppError> {
    let lot = rejectable(&state, &code).await?;
    let family = stoppable_children(&state, &code).await?;
    let form = StopForm {
        with: family.iter().map(|child| child.lot.clone()).collect(),
        ..StopForm::default()
    };
    reject_page(
        &state,
        &visit,
        &who,
        (&lot, &family),
        form,
        FieldErrors::default(),
    )
    .await
}

/// Says that a lot is never to be sprayed: a named person signs it, with a reason.
pub async fn reject(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(code): Path<String>,
    Posted(form): Posted<StopForm>,
) -> Result<Response, AppError> {
    let lot = rejectable(&state, &code).await?;
    let mut errors = FieldErrors::default();
    let reason = errors.check("reason", text(&form.reason, REASON));
    let proof = prove(&state, &visit, &who, &form.sign_passphrase).await?;
    let proof = proof.map_err(|fault| errors.add(SIGN_FIELD, fault)).ok();
    let (Some(reason), Some(proof)) = (reason, proof) else {
        let family = stoppable_children(&state, &code).await?;
        return reject_page(&state, &visit, &who, (&lot, &family), form, errors).await;
    };
    let mut change = Change::begin(&state, &who).await?;
    unchanged(&mut change, &lot).await?;
    queries::set_state(change.connection(), &code, LotState::Rejected, &reason).await?;
    let content = Held {
        before: lot.state,
        reason: &reason,
        made_of: None,
    };
    let subject = Subject::new("lot", &code);
    let meaning = Meaning::Reject;
    let journal = sign(
        &mut change,
        "lot.rejected",
        subject,
        content,
        meaning,
        &proof,
    )
    .await?;
    let with = stop_children(&mut change, &code, &form.with, &reason).await?;
    let text = format!(
        "{code} is never to be sprayed, journal {journal}.{with} Set it apart, and plan again."
    );
    change
        .finish(&who, &lot_path(&code), Notice::done("REJECTED", text))
        .await
}

#[derive(Serialize)]
struct Held<'a> {
    before: LotState,
    reason: &'a str,
    #[serde(skip_serializing_if = "Option::is_none")]
    made_of: Option<&'a str>,
}

/// The lots made of it, to be ticked; nothing where there are none.
fn family_field(family: &[Relative], form: &StopForm) -> Option<Field> {
    let options: Vec<(String, String, bool)> = family
        .iter()
        .map(|child| {
            let words = format!(
                "{}, {}, {}",
                child.lot,
                child.powder,
                lot_state(child.state)
            );
            (child.lot.clone(), words, form.with.contains(&child.lot))
        })
        .collect();
    let hint = "what was made of it holds the same powder";
    (!options.is_empty()).then(|| Field::ticks("with", "Stop these too", options, hint))
}

async fn hold_page(
    visit: &Visit,
    lot: &LotFacts,
    family: &[Relative],
    form: StopForm,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let reason = Field::area(
        "reason",
        "What is the matter",
        &form.reason,
        "what you saw, where, when",
    );
    let act = ActPage {
        page: visit.layout(Screen::Powder, &lot.code).await?,
        answer: format!("Stop lot {}.", lot.code),
        reason: "Nobody draws from it until two people have released it.".to_owned(),
        pairs: facts(lot),
        fields: [reason]
            .into_iter()
            .chain(family_field(family, &form))
            .collect(),
        action: format!("{}/hold", lot_path(&lot.code)),
        verb: "Stop the lot",
        detail: "puts it on hold at once".to_owned(),
        back: ("Leave it as it is", lot_path(&lot.code)),
        ask: None,
        errors,
    };
    act.answer()
}

async fn reject_page(
    state: &AppState,
    visit: &Visit,
    who: &Who,
    (lot, family): (&LotFacts, &[Relative]),
    form: StopForm,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let reason = Field::area(
        "reason",
        "Why it is never to be sprayed",
        &form.reason,
        "what you found, and what is to become of it",
    );
    let act = ActPage {
        page: visit.layout(Screen::Powder, &lot.code).await?,
        answer: format!("Reject lot {}.", lot.code),
        reason: "A rejected lot never comes back. If it may yet be good, stop it instead."
            .to_owned(),
        pairs: facts(lot),
        fields: [reason]
            .into_iter()
            .chain(family_field(family, &form))
            .collect(),
        action: format!("{}/reject", lot_path(&lot.code)),
        verb: "Sign",
        detail: "it is never to be sprayed".to_owned(),
        back: ("Leave it as it is", lot_path(&lot.code)),
        ask: Some(ask(state, visit, who, Meaning::Reject).await?),
        errors,
    };
    act.answer()
}

async fn stoppable(state: &AppState, code: &str) -> Result<LotFacts, AppError> {
    let lot = find(state, code).await?;
    match lot.state.can_be_stopped() {
        true => Ok(lot),
        false => Err(AppError::Conflict(format!(
            "lot {code} is {}; nobody may draw from it as it is",
            lot_state(lot.state)
        ))),
    }
}

async fn rejectable(state: &AppState, code: &str) -> Result<LotFacts, AppError> {
    let lot = find(state, code).await?;
    match lot.state.can_be_rejected() {
        true => Ok(lot),
        false => Err(AppError::Conflict(format!(
            "lot {code} is {}; there is nothing to reject",
            lot_state(lot.state)
        ))),
    }
}
