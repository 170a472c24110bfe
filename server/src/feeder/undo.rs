//! Taking back what moved: within a minute by who entered it, later by a signature with a reason.

use axum::extract::{Path, State};
use axum::response::Response;
use mendpost_core::journal::Subject;
use serde::Deserialize;

use super::queries::set_residue;
use crate::AppState;
use crate::book::{self, queries};
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted, text};
use crate::page::act::{ActPage, Field, SIGN_FIELD};
use crate::page::{Notice, Screen, grams_exact, moment};
use crate::people::{Visit, Who};
use crate::powder::lot_path;
use crate::signature::{ask, prove};
use crate::words::powder::{moved, place};
use mendpost_core::signature::Meaning;

/// So long after it, what moved is taken back at a touch.
const AT_A_TOUCH_MS: i64 = 60_000;

/// What the person in front of the page can still take back at a touch.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Undo {
    pub path: String,
    pub what: String,
}

/// The last movement of this person, while it can be taken back at a touch.
pub async fn undo_of(state: &AppState, visit: &Visit) -> Result<Option<Undo>, AppError> {
    let Some(who) = &visit.who else {
        return Ok(None);
    };
    let since = visit.now - AT_A_TOUCH_MS;
    let last = queries::last_by(&state.db.read, who.id, since).await?;
    let Some(sequence) = last else {
        return Ok(None);
    };
    let lines = queries::of_entry(&state.db.read, sequence).await?;
    Ok(lines.first().map(|line| {
        let it = &line.movement;
        Undo {
            path: format!("/book/{sequence}/undo"),
            what: format!(
                "{} of {} from {} to {}",
                grams_exact(it.mass.0),
                it.lot,
                place(&it.from),
                place(&it.to)
            ),
        }
    }))
}

/// Takes back at a touch what this person entered less than a minute ago.
pub(super) async fn undo(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(sequence): Path<i64>,
) -> Result<Response, AppError> {
    let mut change = Change::begin(&state, &who).await?;
    let entry = queries::entry(change.connection(), sequence).await?;
    let entry = entry.ok_or_else(|| none(sequence))?;
    if entry.by != who.id.to_string() || visit.now - entry.at_ms > AT_A_TOUCH_MS {
        return Err(AppError::Conflict(format!(
            "journal {sequence} is older than a minute, or somebody else's; take it back with a reason, from the lot's page"
        )));
    }
    let subject = Subject::new(&entry.subject_kind, &entry.subject_id);
    let back = book::take_back(&mut change, sequence, "undone at once", subject, None).await?;
    dirty_again(&mut change).await?;
    let text = format!("Journal {sequence} is taken back by journal {back}.");
    change
        .finish(&who, &home(&entry), Notice::done("TAKEN BACK", text))
        .await
}

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub(super) struct TakeBackForm {
    reason: String,
    sign_passphrase: String,
}

pub(super) async fn show(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(sequence): Path<i64>,
) -> Result<Response, AppError> {
    take_back_page(
        &state,
        &visit,
        &who,
        sequence,
        TakeBackForm::default(),
        FieldErrors::default(),
    )
    .await
}

/// Takes back with a reason what was entered wrongly.
pub(super) async fn take_back(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(sequence): Path<i64>,
    Posted(form): Posted<TakeBackForm>,
) -> Result<Response, AppError> {
    let mut errors = FieldErrors::default();
    let reason = errors.check("reason", text(&form.reason, 200));
    let proof = prove(&state, &visit, &who, &form.sign_passphrase).await?;
    let proof = proof.map_err(|fault| errors.add(SIGN_FIELD, fault)).ok();
    let (Some(reason), Some(proof)) = (reason, proof) else {
        return take_back_page(&state, &visit, &who, sequence, form, errors).await;
    };
    let mut change = Change::begin(&state, &who).await?;
    let entry = queries::entry(change.connection(), sequence).await?;
    let entry = entry.ok_or_else(|| none(sequence))?;
    let subject = Subject::new(&entry.subject_kind, &entry.subject_id);
    let back = book::take_back(&mut change, sequence, &reason, subject, Some(&proof)).await?;
    dirty_again(&mut change).await?;
    let text = format!("Journal {sequence} is taken back by journal {back}.");
    change
        .finish(&who, &home(&entry), Notice::done("TAKEN BACK", text))
        .await
}

/// What is back in the feeder is what it is dirty with.
async fn dirty_again(change: &mut Change) -> Result<(), AppError> {
    let fed = queries::feeder(change.connection()).await?;
    if let Some(first) = fed.first() {
        set_residue(change.connection(), Some(&first.powder)).await?;
    }
    Ok(())
}

fn none(sequence: i64) -> AppError {
    AppError::NotFound {
        what: format!("movement of powder by journal {sequence}"),
    }
}

/// Where what moved by an entry is shown.
fn home(entry: &queries::Entry) -> String {
    match entry.subject_kind.as_str() {
        "lot" => lot_path(&entry.subject_id),
        _ => super::PATH.to_owned(),
    }
}

async fn take_back_page(
    state: &AppState,
    visit: &Visit,
    who: &Who,
    sequence: i64,
    form: TakeBackForm,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let entry = queries::entry(&state.db.read, sequence).await?;
    let entry = entry.ok_or_else(|| none(sequence))?;
    let lines = queries::of_entry(&state.db.read, sequence).await?;
    let mut pairs = vec![("When", moment(entry.at_ms, visit.site.zone))];
    pairs.extend(lines.iter().map(|line| {
        let it = &line.movement;
        let what = format!(
            "{} {}, {} of {} from {} to {}",
            moved(it.reason),
            if line.taken_back {
                "(taken back since)"
            } else {
                ""
            },
            grams_exact(it.mass.0),
            it.lot,
            place(&it.from),
            place(&it.to)
        );
        ("Moved", what)
    }));
    let act = ActPage {
        page: visit.layout(Screen::Powder, "Take back").await?,
        answer: format!("Say why what moved by journal {sequence} is taken back."),
        reason: "Nothing is deleted: a further movement takes it back, and both stay in the book."
            .to_owned(),
        pairs,
        fields: vec![Field::area("reason", "What was wrong", &form.reason, "")],
        action: format!("/book/{sequence}/take-back"),
        verb: "Sign",
        detail: "moves all of it back".to_owned(),
        back: ("Leave the book as it is", home(&entry)),
        ask: Some(ask(state, visit, who, Meaning::TakeBack).await?),
        errors,
    };
    act.answer()
}
