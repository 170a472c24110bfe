//! A part is put on hold by hand.

use axum::extract::{Path, State};
use axum::response::Response;
use serde::Deserialize;

use super::queries::{Held, put};
use super::{Cause, path};
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted, text};
use crate::page::act::{ActPage, Field};
use crate::page::{Notice, Screen};
use crate::people::{Visit, Who};
use crate::requests::{History, Named, named};

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct HoldForm {
    reason: String,
}

/// The request, while it is open.
async fn open(connection: &mut sqlx::SqliteConnection, number: &str) -> Result<Named, AppError> {
    let request = named(&mut *connection, number).await?;
    let history = History::load(connection, &request).await?;
    match history.stand.is_open() {
        true => Ok(request),
        false => Err(AppError::Conflict(format!(
            "R{} is {}, and nothing more is done to it here",
            request.number, history.stand
        ))),
    }
}

pub(super) async fn ask(
    State(state): State<AppState>,
    visit: Visit,
    Path(number): Path<String>,
) -> Result<Response, AppError> {
    let mut reading = state.db.read.acquire().await?;
    let request = open(&mut reading, &number).await?;
    form_page(
        &visit,
        &request,
        &HoldForm::default(),
        FieldErrors::default(),
    )
    .await
}

pub(super) async fn save(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(number): Path<String>,
    Posted(form): Posted<HoldForm>,
) -> Result<Response, AppError> {
    let mut errors = FieldErrors::default();
    let reason = errors.check("reason", text(&form.reason, 400));
    let mut change = Change::begin(&state, &who).await?;
    let request = open(change.connection(), &number).await?;
    let Some(reason) = reason else {
        drop(change);
        return form_page(&visit, &request, &form, errors).await;
    };
    let held = Held {
        request: request.number,
        cause: Cause::Hand,
        of_sequence: None,
        what: &reason,
    };
    let hold = put(&mut change, &held, &who).await?;
    let text = format!(
        "R{} is on hold, number {hold}. Somebody else judges it at {}.",
        request.number,
        path(hold)
    );
    let location = format!("/requests/{}", request.number);
    change
        .finish(&who, &location, Notice::done("ON HOLD", text))
        .await
}

async fn form_page(
    visit: &Visit,
    request: &Named,
    form: &HoldForm,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let back = format!("/requests/{}", request.number);
    let title = format!("Request R{}", request.number);
    let act = ActPage {
        page: visit.layout(Screen::Requests, &title).await?,
        answer: format!("Put the part of R{} on hold.", request.number),
        reason: "Nothing more is done to it until somebody else has judged it.".to_owned(),
        pairs: vec![
            ("Machine", request.asset.clone()),
            ("Part", request.part_name.clone()),
        ],
        fields: vec![Field::area(
            "reason",
            "Why",
            &form.reason,
            "what was found, and by whom",
        )],
        action: format!("{back}/hold"),
        verb: "Hold",
        detail: "nothing more is done to it".to_owned(),
        back: ("Leave it as it is", back),
        ask: None,
        errors,
    };
    act.answer()
}
