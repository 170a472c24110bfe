//! Keeping the whole page of a handover, and telling it: signed, it waits for somebody to take it over.

use axum::extract::State;
use axum::response::{IntoResponse, Redirect, Response};
use mendpost_core::journal::{Subject, canonical};
use mendpost_core::shift::{Record, Told, untold};
use mendpost_core::signature::Meaning;
use serde_json::json;

use super::draft::Draft;
use super::gather::gather;
use super::queries::Shift;
use super::write::{Written, layout, merge, page_of, still_on};
use super::{WRITE, fields, path};
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::section::Fields;
use crate::form::{FieldErrors, Posted};
use crate::page::Notice;
use crate::page::act::SIGN_FIELD;
use crate::people::{Visit, Who};
use crate::signature::{Proof, prove, sign};

/// Keeps what was typed, and tells it where that was asked for and nothing is missing.
pub(super) async fn save(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Posted(typed): Posted<Fields>,
) -> Result<Response, AppError> {
    let given = |name: &str| typed.get(name).map_or("", String::as_str);
    let tells = given("act") == "tell";
    let mut errors = FieldErrors::default();
    let proof = match tells {
        true => prove(&state, &visit, &who, given(SIGN_FIELD)).await?,
        false => Err(String::new()),
    };
    let page = layout(&visit).await?;
    let mut change = Change::begin(&state, &who).await?;
    let shift = still_on(&mut change, &typed).await?;
    let gathered = gather(&state, &visit, &page, &shift).await?;
    let draft = Draft::load(change.connection(), shift.number, visit.now).await?;
    let merged = merge(&draft, &gathered, &typed, &who.name, &mut errors);
    let base = draft
        .keep(&mut change, shift.number, &merged.changed, &who.name)
        .await?;
    let stands = gathered.typed(|name| {
        let changed = merged.changed.get(name).map(String::as_str);
        let stands = changed.or_else(|| draft.value(name));
        match errors.of(name).is_empty() {
            true => stands.map(str::to_owned),
            // What could not be written stays beside its fault.
            false => Some(given(name).to_owned()),
        }
    });
    let mut record = gathered.record.clone();
    fields::apply(
        &mut record,
        &stands,
        (visit.now, visit.site.zone),
        &mut errors,
    );
    if tells {
        for missing in untold(&record, visit.now) {
            errors.add(&missing.field, missing.why.to_string());
        }
        if let Err(fault) = &proof {
            errors.add(SIGN_FIELD, fault.clone());
        }
    }
    let left = !given("left_for_reader").is_empty();
    if let (true, true, Ok(proof)) = (tells, errors.is_empty(), &proof) {
        let number = tell(&mut change, &shift, record, left, proof).await?;
        return told(change, &who, number, left).await;
    }
    let kept = !merged.changed.is_empty();
    if errors.is_empty() && !kept {
        drop(change);
        let text = "Nothing was typed that was not kept already.";
        who.notice(Notice::done("KEPT", text)).await?;
        return Ok(Redirect::to(WRITE).into_response());
    }
    if errors.is_empty() {
        let notice = Notice::done("KEPT", "The draft is kept here. Go on at any tablet.");
        return change.finish(&who, WRITE, notice).await;
    }
    if kept {
        let notice = Notice::done("KEPT", "The draft is kept here. It is not told yet.");
        change.finish_shown_once(WRITE, notice).await?;
    } else {
        drop(change);
    }
    let written = Written {
        shift,
        gathered,
        typed: stands,
        base,
        left_for_reader: left,
    };
    page_of(&state, &visit, &who, page, written, errors).await
}

/// Records a handover with its signature; its number.
async fn tell(
    change: &mut Change,
    shift: &Shift,
    record: Record,
    left_for_reader: bool,
    proof: &Proof,
) -> Result<i64, AppError> {
    let number = sqlx::query_scalar!(
        r#"select coalesce(max(number), 0) + 1 as "number!: i64" from handover"#
    )
    .fetch_one(change.connection())
    .await?;
    let told = Told::of(record);
    let risk = told.risk();
    let text = canonical(&told).map_err(AppError::internal)?;
    let content = json!({
        "shift": shift.number,
        "told": told,
        "risk": risk,
        "left_for_reader": left_for_reader,
        "told_by": proof.name,
    });
    let subject = Subject::new("handover", number);
    let sequence = sign(
        change,
        "handover.told",
        subject,
        content,
        Meaning::Tell,
        proof,
    )
    .await?;
    let (risk, now) = (risk.as_str(), change.now());
    sqlx::query!(
        "insert into handover (number, shift, told, risk, left_for_reader, told_by, person_id, told_ms, journal_sequence)
         values (?, ?, ?, ?, ?, ?, ?, ?, ?)",
        number,
        shift.number,
        text,
        risk,
        left_for_reader,
        proof.name,
        proof.person,
        now,
        sequence,
    )
    .execute(change.connection())
    .await?;
    Ok(number)
}

async fn told(
    change: Change,
    who: &Who,
    number: i64,
    left_for_reader: bool,
) -> Result<Response, AppError> {
    let text = match left_for_reader {
        true => "Whoever signs in next opens it first.",
        false => {
            "Go through it together, item by item, at the machine. Somebody else takes it over."
        }
    };
    let notice = Notice::waits(format!("HANDOVER {number} IS TOLD, NOT TAKEN OVER."), text);
    change.finish(who, &path(number), notice).await
}
