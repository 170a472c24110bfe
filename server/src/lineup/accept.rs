//! Making a line-up the one that the crew works to: the lead signs the one that was looked at.

use axum::extract::{Query, State};
use axum::response::Response;
use mendpost_core::journal::Subject;
use mendpost_core::signature::Meaning;
use serde::{Deserialize, Serialize};

use super::NONE;
use super::queries::{self, Stored, Sums};
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted};
use crate::page::act::{ActPage, Field, SIGN_FIELD};
use crate::page::{Notice, Screen, loss};
use crate::people::{Visit, Who};
use crate::signature::{ask, prove, sign};
use crate::situation;

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(super) struct AcceptForm {
    /// Number of the line-up that was looked at.
    number: String,
    sign_passphrase: String,
}

pub(super) async fn show(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Query(form): Query<AcceptForm>,
) -> Result<Response, AppError> {
    let newest = queries::latest(&state.db.read).await?;
    let newest = newest.ok_or_else(|| AppError::Conflict(NONE.to_owned()))?;
    if !form.number.is_empty() {
        looked_at(&form, Some(newest.number))?;
    }
    accept_page(&state, &visit, &who, &newest, FieldErrors::default()).await
}

/// Accepts a line-up if it is still the newest.
pub(super) async fn accept(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Posted(form): Posted<AcceptForm>,
) -> Result<Response, AppError> {
    let newest = queries::latest(&state.db.read).await?;
    let newest = newest.ok_or_else(|| AppError::Conflict(NONE.to_owned()))?;
    let proof = match prove(&state, &visit, &who, &form.sign_passphrase).await? {
        Ok(proof) => proof,
        Err(fault) => {
            let mut errors = FieldErrors::default();
            errors.add(SIGN_FIELD, fault);
            return accept_page(&state, &visit, &who, &newest, errors).await;
        }
    };
    let mut change = Change::begin(&state, &who).await?;
    let number = queries::newest_number(change.connection()).await?;
    let number = looked_at(&form, number)?;
    let subject = Subject::new("lineup", number);
    let sums = queries::sums(change.connection(), number).await?;
    let content = Accepted { number, sums };
    let meaning = Meaning::Accept;
    let sequence = sign(
        &mut change,
        "lineup.accepted",
        subject,
        content,
        meaning,
        &proof,
    )
    .await?;
    let now = change.now();
    queries::accept(change.connection(), number, now, &who.name).await?;
    let text = format!("Order {number} is the one the crew works to, journal {sequence}.");
    change
        .finish(&who, Screen::LineUp.path(), Notice::done("SIGNED", text))
        .await
}

/// The number of the newest line-up, if it is the one that was looked at.
fn looked_at(form: &AcceptForm, newest: Option<i64>) -> Result<i64, AppError> {
    let asked = form.number.parse::<i64>().ok();
    newest.filter(|n| asked == Some(*n)).ok_or_else(|| {
        AppError::Conflict(newest.map_or_else(
            || NONE.to_owned(),
            |n| format!("order {n} was computed since that page was shown; look at it and accept it there"),
        ))
    })
}

#[derive(Serialize)]
struct Accepted {
    number: i64,
    /// Of what was looked at.
    #[serde(flatten)]
    sums: Sums,
}

async fn accept_page(
    state: &AppState,
    visit: &Visit,
    who: &Who,
    order: &Stored,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let situation = situation::now(state).await?;
    let unit = &situation.site.loss_word;
    let losses = &order.line_up.losses;
    let layout = visit.layout(Screen::LineUp, "Work to this order").await?;
    let mut pairs = vec![
        ("Order", order.number.to_string()),
        ("Computed", layout.moment(&order.computed_ms)),
        ("Places", order.line_up.places.len().to_string()),
        ("Loses", format!("{} {unit}", loss(losses.ours))),
        (
            "Oldest first would lose",
            format!("{} {unit}", loss(losses.oldest_first)),
        ),
    ];
    if let Some(by) = &order.own_by {
        pairs.insert(1, ("The crew's own, laid out by", by.clone()));
    }
    if let Some(planners) = losses.planners {
        let best = format!("{} {unit}", loss(planners));
        pairs.push(("The planner's best would lose", best));
    }
    let act = ActPage {
        page: layout,
        answer: format!("Sign that the crew works to order {}.", order.number),
        reason: "It stays the order to work to until another is accepted.".to_owned(),
        pairs,
        fields: vec![Field::hidden("number", &order.number)],
        action: "/line-up/accept".to_owned(),
        verb: "Sign",
        detail: format!("order {} becomes the one the crew works to", order.number),
        back: (
            "Look at the line-up again",
            Screen::LineUp.path().to_owned(),
        ),
        ask: Some(ask(state, visit, who, Meaning::Accept).await?),
        errors,
    };
    act.answer()
}
