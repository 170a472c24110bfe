//! Whether a lot may be sprayed: released by one who has checked it, stopped by anybody, and released
//! again by two.

use axum::extract::{Path, State};
use axum::response::Response;
use mendpost_core::code::LotCode;
use mendpost_core::journal::Subject;
use mendpost_core::people::{Act, may};
use mendpost_core::powder::LotState;
use mendpost_core::signature::Meaning;
use serde::{Deserialize, Serialize};

use super::lot_path;
use super::queries::{self, LotFacts};
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted, text};
use crate::page::act::{ActPage, Field, SIGN_FIELD};
use crate::page::{Notice, Screen};
use crate::people::{Visit, Who};
use crate::signature::queries::Signing;
use crate::signature::{self, ask, prove, second};
use crate::words::powder::lot_state;

/// Something that can be done with a lot, from its page.
pub struct LotAct {
    pub path: String,
    pub words: &'static str,
    pub detail: String,
    /// Whether it is the next act.
    pub first: bool,
}

/// What the person may do with a lot; the next act first.
pub async fn acts(
    state: &AppState,
    visit: &Visit,
    lot: &LotFacts,
) -> Result<Vec<LotAct>, AppError> {
    let Some(who) = &visit.who else {
        return Ok(Vec::new());
    };
    let at = |act: &str| format!("{}/{act}", lot_path(&lot.code));
    let mut acts = Vec::new();
    let waits = signature::queries::open_on(&state.db.read, Meaning::ReleaseFromHold, &lot.code);
    if let Some(number) = waits.await? {
        acts.push(LotAct {
            path: second::path(number),
            words: "Look at its release",
            detail: "waits for a second signature".to_owned(),
            first: true,
        });
    } else if let Some(meaning) = lot.state.released_by().filter(|m| may(who.role, m.act())) {
        let (words, detail) = match meaning {
            Meaning::ReleaseFromHold => ("Release from hold", "takes two people"),
            _ => ("Release", "after certificate, label and seals are checked"),
        };
        acts.push(LotAct {
            path: at("release"),
            words,
            detail: detail.to_owned(),
            first: true,
        });
    }
    let mut second = |act, words, allowed| {
        if allowed {
            acts.push(LotAct {
                path: at(act),
                words,
                detail: String::new(),
                first: false,
            });
        }
    };
    let stop = lot.state.can_be_stopped() && may(who.role, Act::HoldLot);
    second("hold", "Stop this lot", stop);
    let count = lot.state != LotState::Empty && may(who.role, Act::AdjustBook);
    second("count", "Weigh what is there", count);
    Ok(acts)
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct ReasonForm {
    reason: String,
    sign_passphrase: String,
}

pub async fn show(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(code): Path<String>,
) -> Result<Response, AppError> {
    let lot = releasable(&state, &code).await?;
    release_page(
        &state,
        &visit,
        &who,
        lot,
        ReasonForm::default(),
        FieldErrors::default(),
    )
    .await
}

/// Releases a lot, or gives the first of two signatures to it.
pub async fn release(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(code): Path<String>,
    Posted(form): Posted<ReasonForm>,
) -> Result<Response, AppError> {
    let (lot, meaning) = releasable(&state, &code).await?;
    let mut errors = FieldErrors::default();
    let reason = errors.check("reason", text(&form.reason, REASON));
    let proof = prove(&state, &visit, &who, &form.sign_passphrase).await?;
    let proof = proof.map_err(|fault| errors.add(SIGN_FIELD, fault)).ok();
    let (Some(reason), Some(proof)) = (reason, proof) else {
        return release_page(&state, &visit, &who, (lot, meaning), form, errors).await;
    };
    let mut change = Change::begin(&state, &who).await?;
    unchanged(&mut change, &lot).await?;
    let subject = Subject::new("lot", &lot.code);
    let content = Released {
        lot: lot.code.clone(),
        before: lot.state,
        stopped_for: lot.state_note.clone(),
        reason,
    };
    if meaning.people() > 1 {
        let number = signature::open(&mut change, subject, content, meaning, &proof).await?;
        let text = format!(
            "{} waits for a second signature; nothing is released yet.",
            lot.code
        );
        return change
            .finish(&who, &second::path(number), Notice::waits("SIGNED", text))
            .await;
    }
    queries::set_state(change.connection(), &lot.code, LotState::Released, "").await?;
    let journal = signature::sign(&mut change, RELEASED, subject, content, meaning, &proof).await?;
    let text = format!(
        "{} may be sprayed, journal {journal}. Plan again to count with it.",
        lot.code
    );
    change
        .finish(&who, &lot_path(&lot.code), Notice::done("SIGNED", text))
        .await
}

/// Carries out a release that two have signed; the kind of its journal entry.
pub async fn carry_out(change: &mut Change, signing: &Signing) -> Result<&'static str, AppError> {
    let code = &signing.subject.id;
    let lot = queries::lot(change.connection(), code).await?;
    match lot.map(|lot| lot.state) {
        Some(LotState::Hold) => {
            queries::set_state(change.connection(), code, LotState::Released, "").await?;
            Ok(RELEASED)
        }
        _ => Err(AppError::Conflict(format!(
            "lot {code} is no longer on hold; withdraw this"
        ))),
    }
}

/// What is told of a release to those who sign it.
pub fn pairs(signing: &Signing) -> Vec<(&'static str, String)> {
    let told = |key: &str| signing.content[key].as_str().unwrap_or_default().to_owned();
    vec![
        ("Lot", signing.subject.id.clone()),
        ("Stopped for", told("stopped_for")),
        ("Why it may be sprayed", told("reason")),
    ]
}

pub async fn show_hold(
    State(state): State<AppState>,
    visit: Visit,
    Path(code): Path<String>,
) -> Result<Response, AppError> {
    let lot = stoppable(&state, &code).await?;
    hold_page(&visit, &lot, "", FieldErrors::default()).await
}

/// Stops a lot. That asks for a reason and no signature: to stop must be easy.
pub async fn hold(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(code): Path<String>,
    Posted(form): Posted<ReasonForm>,
) -> Result<Response, AppError> {
    let lot = stoppable(&state, &code).await?;
    let mut errors = FieldErrors::default();
    let Some(reason) = errors.check("reason", text(&form.reason, REASON)) else {
        return hold_page(&visit, &lot, &form.reason, errors).await;
    };
    let mut change = Change::begin(&state, &who).await?;
    unchanged(&mut change, &lot).await?;
    queries::set_state(change.connection(), &lot.code, LotState::Hold, &reason).await?;
    let content = Held {
        before: lot.state,
        reason: &reason,
    };
    let subject = Subject::new("lot", &lot.code);
    let journal = change.journal("lot.held", subject, content).await?;
    let text = format!(
        "{} is on hold, journal {journal}. Tell those who might draw from it.",
        lot.code
    );
    change
        .finish(&who, &lot_path(&lot.code), Notice::done("STOPPED", text))
        .await
}

/// Stops lots of which too much is unexplained, as part of another change; what there is to say of it.
pub async fn hold_for_gap(
    change: &mut Change,
    lots: &[LotCode],
    reason: &str,
) -> Result<String, AppError> {
    let mut held = Vec::new();
    for code in lots {
        let lot = queries::lot(change.connection(), code.as_str()).await?;
        let Some(lot) = lot.filter(|lot| lot.state.can_be_stopped()) else {
            continue;
        };
        queries::set_state(change.connection(), &lot.code, LotState::Hold, reason).await?;
        let content = Held {
            before: lot.state,
            reason,
        };
        let subject = Subject::new("lot", &lot.code);
        change.journal("lot.held", subject, content).await?;
        held.push(lot.code);
    }
    Ok(match held.as_slice() {
        [] => String::new(),
        held => format!(" {} on hold: {reason}.", held.join(" and ")),
    })
}

#[derive(Serialize)]
struct Released {
    lot: String,
    before: LotState,
    stopped_for: String,
    reason: String,
}

#[derive(Serialize)]
struct Held<'a> {
    before: LotState,
    reason: &'a str,
}

const RELEASED: &str = "lot.released";

/// As long as the note of a lot's state may be.
const REASON: usize = 200;

async fn release_page(
    state: &AppState,
    visit: &Visit,
    who: &Who,
    (lot, meaning): (LotFacts, Meaning),
    form: ReasonForm,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let held = meaning == Meaning::ReleaseFromHold;
    let (field, detail) = if held {
        (
            Field::area(
                "reason",
                "Why it may be sprayed again",
                &form.reason,
                "what you found, and what was done about it",
            ),
            "the first of two signatures",
        )
    } else {
        (
            Field::area(
                "reason",
                "What you checked",
                &form.reason,
                "certificate number, label, seals",
            ),
            "the planner may draw from it then",
        )
    };
    let mut pairs = facts(&lot);
    pairs.push((
        if held { "Stopped for" } else { "Note" },
        none_if_empty(&lot.state_note),
    ));
    let act = ActPage {
        page: visit.layout(Screen::Powder, &lot.code).await?,
        answer: format!("{}.", second::act(meaning, &lot.code)),
        reason: if held {
            "Two people must look at it and sign.".to_owned()
        } else {
            "Check its certificate, label and seals first.".to_owned()
        },
        pairs,
        fields: vec![field],
        action: format!("{}/release", lot_path(&lot.code)),
        verb: "Sign",
        detail: detail.to_owned(),
        back: ("Leave it as it is", lot_path(&lot.code)),
        ask: Some(ask(state, visit, who, meaning).await?),
        errors,
    };
    act.answer()
}

async fn hold_page(
    visit: &Visit,
    lot: &LotFacts,
    reason: &str,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let act = ActPage {
        page: visit.layout(Screen::Powder, &lot.code).await?,
        answer: format!("Stop lot {}.", lot.code),
        reason: "Nobody draws from it until two people have released it.".to_owned(),
        pairs: facts(lot),
        fields: vec![Field::area(
            "reason",
            "What is the matter",
            reason,
            "what you saw, where, when",
        )],
        action: format!("{}/hold", lot_path(&lot.code)),
        verb: "Stop the lot",
        detail: "puts it on hold at once".to_owned(),
        back: ("Leave it as it is", lot_path(&lot.code)),
        ask: None,
        errors,
    };
    act.answer()
}

fn facts(lot: &LotFacts) -> Vec<(&'static str, String)> {
    vec![
        ("Lot", lot.code.clone()),
        ("Powder", lot.powder_name.clone()),
        ("State", lot_state(lot.state).to_owned()),
        ("Maker's lot", none_if_empty(&lot.maker_lot)),
    ]
}

fn none_if_empty(text: &str) -> String {
    if text.is_empty() { "none" } else { text }.to_owned()
}

pub(super) async fn find(state: &AppState, code: &str) -> Result<LotFacts, AppError> {
    let lot = queries::lot(&state.db.read, code).await?;
    lot.ok_or_else(|| AppError::NotFound {
        what: format!("lot {code}"),
    })
}

async fn releasable(state: &AppState, code: &str) -> Result<(LotFacts, Meaning), AppError> {
    let lot = find(state, code).await?;
    let meaning = lot.state.released_by();
    let meaning = meaning.ok_or_else(|| {
        AppError::Conflict(format!(
            "lot {code} is {}; there is nothing to release",
            lot_state(lot.state)
        ))
    })?;
    if meaning.people() > 1 {
        let waits = signature::queries::open_on(&state.db.read, meaning, code).await?;
        if let Some(number) = waits {
            return Err(AppError::Conflict(format!(
                "the release of lot {code} waits for its second signature; sign it at {}",
                second::path(number)
            )));
        }
    }
    Ok((lot, meaning))
}

async fn stoppable(state: &AppState, code: &str) -> Result<LotFacts, AppError> {
    let lot = find(state, code).await?;
    if lot.state.can_be_stopped() {
        Ok(lot)
    } else {
        Err(AppError::Conflict(format!(
            "lot {code} is {}; nobody may draw from it as it is",
            lot_state(lot.state)
        )))
    }
}

/// Refuses to go on when another tablet has changed the lot since it was looked at.
async fn unchanged(change: &mut Change, seen: &LotFacts) -> Result<(), AppError> {
    let lot = queries::lot(change.connection(), &seen.code).await?;
    match lot {
        Some(lot) if lot.state == seen.state && lot.state_note == seen.state_note => Ok(()),
        _ => Err(AppError::Conflict(format!(
            "lot {} was changed by somebody else meanwhile; look at it again",
            seen.code
        ))),
    }
}
