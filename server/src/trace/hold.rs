//! Holding everything that a lot touched in one act: the lot, what was blended of it, and every part not fitted yet.

use axum::extract::{Path, State};
use axum::response::Response;
use mendpost_core::code::LotCode;
use serde::Deserialize;

use super::queries::{self, Touched, Whereabouts};
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted, text};
use crate::hold::{Cause, Held, Hold, hold_part, queries::holds};
use crate::page::act::{ActPage, Field};
use crate::page::{Notice, Screen};
use crate::people::{Visit, Who};
use crate::powder::{lot_path, stop_lots};

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub(super) struct HoldForm {
    reason: String,
}

/// What will be held, and what cannot be.
struct Reach {
    lots: Vec<LotCode>,
    /// Here still, and not held for this lot yet.
    parts: Vec<Touched>,
    /// Fitted already: call them off.
    out: usize,
}

impl Reach {
    async fn load(connection: &mut sqlx::SqliteConnection, code: &str) -> Result<Reach, AppError> {
        let lots = queries::made_of(&mut *connection, code).await?;
        if lots.is_empty() {
            return Err(AppError::NotFound {
                what: format!("lot {code}"),
            });
        }
        let touched = queries::by_lot(&mut *connection, code).await?;
        let out = touched
            .iter()
            .filter(|it| it.now == Whereabouts::Fitted)
            .count();
        let mut parts: Vec<Touched> = Vec::new();
        for part in touched {
            let here = matches!(
                part.now,
                Whereabouts::InWork | Whereabouts::Released | Whereabouts::UnderNozzle
            );
            if !here || parts.iter().any(|it| it.request == part.request) {
                continue;
            }
            let held = holds(&mut *connection, Some(part.request)).await?;
            let doubt = doubt(code);
            let of_it =
                |it: &Hold| it.is_open() && it.cause == Cause::Lot && it.what.starts_with(&doubt);
            if !held.iter().any(of_it) {
                parts.push(part);
            }
        }
        Ok(Reach { lots, parts, out })
    }

    fn pairs(&self) -> Vec<(&'static str, String)> {
        let lots: Vec<&str> = self.lots.iter().map(LotCode::as_str).collect();
        let parts = self
            .parts
            .iter()
            .map(|it| format!("R{} {} {}", it.request, it.asset, it.part_name));
        let parts: Vec<String> = parts.collect();
        vec![
            ("Lots", lots.join(", ")),
            (
                "Parts",
                if parts.is_empty() {
                    "none is left to hold".to_owned()
                } else {
                    parts.join("; ")
                },
            ),
            (
                "Fitted already",
                format!("{}; print the call-off sheet, and tell each", self.out),
            ),
        ]
    }
}

/// What a hold for a lot begins with, and is known by.
fn doubt(code: &str) -> String {
    format!("powder of lot {code}, which is in doubt:")
}

pub(super) async fn show(
    State(state): State<AppState>,
    visit: Visit,
    Path(code): Path<String>,
) -> Result<Response, AppError> {
    let mut reading = state.db.read.acquire().await?;
    let reach = Reach::load(&mut reading, &code).await?;
    drop(reading);
    hold_page(
        &visit,
        &code,
        &reach,
        HoldForm::default(),
        FieldErrors::default(),
    )
    .await
}

pub(super) async fn save(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(code): Path<String>,
    Posted(form): Posted<HoldForm>,
) -> Result<Response, AppError> {
    let mut errors = FieldErrors::default();
    let reason = errors.check("reason", text(&form.reason, 150));
    let mut change = Change::begin(&state, &who).await?;
    let reach = Reach::load(change.connection(), &code).await?;
    let Some(reason) = reason else {
        drop(change);
        return hold_page(&visit, &code, &reach, form, errors).await;
    };
    let stopped = stop_lots(&mut change, &reach.lots, &reason).await?;
    if stopped.is_empty() && reach.parts.is_empty() {
        drop(change);
        errors.add("reason", "all that can be held of it is on hold already");
        return hold_page(&visit, &code, &reach, form, errors).await;
    }
    let what = format!("{} {reason}", doubt(&code));
    for part in &reach.parts {
        let held = Held {
            request: part.request,
            cause: Cause::Lot,
            of_sequence: None,
            what: &what,
        };
        hold_part(&mut change, &held, &who).await?;
    }
    let parts = match reach.parts.len() {
        0 => "No part was left to hold.".to_owned(),
        1 => "One part is on hold.".to_owned(),
        many => format!("{many} parts are on hold."),
    };
    let text = format!("{parts}{stopped} Print this sheet for what has gone out.");
    let location = format!("{}/trace", lot_path(&code));
    change
        .finish(&who, &location, Notice::done("STOPPED", text))
        .await
}

async fn hold_page(
    visit: &Visit,
    code: &str,
    reach: &Reach,
    form: HoldForm,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let path = format!("{}/trace", lot_path(code));
    let act = ActPage {
        page: visit.layout(Screen::Powder, code).await?,
        answer: format!("Hold everything that lot {code} touched."),
        reason: "In one act: the lot, what was blended of it, and every part that is here still."
            .to_owned(),
        pairs: reach.pairs(),
        fields: vec![Field::area(
            "reason",
            "Why",
            &form.reason,
            "who called it off, by which letter",
        )],
        action: format!("{path}/hold"),
        verb: "Hold them",
        detail: "nothing of it goes on before somebody judged it".to_owned(),
        back: ("Hold nothing", path),
        ask: None,
        errors,
    };
    act.answer()
}
