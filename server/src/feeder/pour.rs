//! Pouring back from the feeder into a container of the same lot.

use axum::extract::State;
use axum::response::Response;
use mendpost_core::journal::Subject;
use mendpost_core::powder::Reason;
use mendpost_core::powder::book::Place;
use serde::Deserialize;
use serde_json::json;

use super::PATH;
use super::draw_form::weighed;
use super::look::Look;
use super::queries::{self, Container};
use crate::AppState;
use crate::book::queries::InFeeder;
use crate::book::{self, Line};
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted, optional_text, plain_decimal};
use crate::page::act::{ActPage, Field};
use crate::page::{Notice, Screen, grams_down, grams_exact};
use crate::people::{Visit, Who};

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub(super) struct PourForm {
    container: String,
    before: String,
    after: String,
    division: String,
    reason: String,
}

pub(super) async fn show(
    State(state): State<AppState>,
    visit: Visit,
) -> Result<Response, AppError> {
    let mut reading = state.db.read.acquire().await?;
    let look = Look::load(&mut reading, visit.moment()?).await?;
    pour_page(&visit, &look, PourForm::default(), FieldErrors::default()).await
}

pub(super) async fn save(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Posted(form): Posted<PourForm>,
) -> Result<Response, AppError> {
    let mut change = Change::begin(&state, &who).await?;
    let look = Look::load(change.connection(), visit.moment()?).await?;
    let fed = only_lot(&look)?.clone();
    let mut errors = FieldErrors::default();
    let container = look
        .container(&form.container)
        .filter(|it| it.lot == fed.lot);
    if container.is_none() {
        errors.add(
            "container",
            format!(
                "choose a container of {}; no other lot is poured into it",
                fed.lot
            ),
        );
    }
    let fields = (
        form.before.as_str(),
        form.after.as_str(),
        form.division.as_str(),
    );
    let weighed = weighed(fields, false, &mut errors);
    let reason = errors
        .check("reason", optional_text(&form.reason, 200))
        .flatten();
    let poured = weighed.map(|it| -it.drawn());
    if let Some(more) = poured.filter(|poured| *poured > fed.mass.0)
        && reason.is_none()
    {
        errors.add(
            "reason",
            format!(
                "{} came out, and by the book the feeder held {}; say why, or weigh again",
                grams_exact(more),
                grams_exact(fed.mass.0)
            ),
        );
    }
    let (Some(container), Some(poured), true) = (container, poured, errors.is_empty()) else {
        drop(change);
        return pour_page(&visit, &look, form, errors).await;
    };
    let note = reason.unwrap_or_default();
    let entry = enter(&mut change, &fed, container, poured, &note).await?;
    let text = format!(
        "{} back into {}, journal {entry}. Close it.",
        grams_exact(poured),
        container.code
    );
    change.finish(&who, PATH, Notice::done("SAVED", text)).await
}

async fn enter(
    change: &mut Change,
    fed: &InFeeder,
    container: &Container,
    poured: i64,
    note: &str,
) -> Result<i64, AppError> {
    let at_ms = change.now();
    let held = Place::Container(container.code.clone());
    let mut lines = Vec::new();
    let mut line = |from, to, milligrams, reason| {
        let movement = book::movement(&fed.lot, from, to, milligrams, reason);
        lines.push(Line {
            movement,
            note,
            at_ms,
        });
    };
    // More came out than the book knew of: found first, then poured.
    if poured > fed.mass.0 {
        line(
            Place::Gap,
            Place::Feeder,
            poured - fed.mass.0,
            Reason::Count,
        );
    }
    line(Place::Feeder, held, poured, Reason::Return);
    let content = json!({
        "container": container.code,
        "poured_mg": poured,
        "book_mg": fed.mass,
        "reason": note,
    });
    let subject = Subject::new("lot", &fed.lot);
    let entry = book::record(change, "powder.poured-back", subject, content, &lines).await?;
    let open = queries::open(change.connection(), container.id).await?;
    if open.since_ms.is_none() {
        queries::insert_seal(change.connection(), container.id, at_ms, true, entry).await?;
    }
    queries::insert_seal(change.connection(), container.id, at_ms, false, entry).await?;
    Ok(entry)
}

/// The one lot that the feeder holds.
///
/// # Errors
/// Where it holds none, or several, which nobody can tell apart.
fn only_lot(look: &Look) -> Result<&InFeeder, AppError> {
    let fault = match look.feeder.as_slice() {
        [only] => return Ok(only),
        [] => "nothing is in the feeder by the book, so nothing can be poured back".to_owned(),
        several => {
            let lots: Vec<&str> = several.iter().map(|it| it.lot.as_str()).collect();
            format!(
                "{} are mixed in the feeder, and no container takes two lots; empty it, or blend a lot of it",
                lots.join(" and ")
            )
        }
    };
    Err(AppError::Conflict(fault))
}

async fn pour_page(
    visit: &Visit,
    look: &Look,
    form: PourForm,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let fed = only_lot(look)?;
    let options = look.containers.iter().filter(|it| it.lot == fed.lot);
    let options = options
        .map(|it| {
            (
                it.code.to_string(),
                format!("{}, {} in it", it.code, grams_down(it.held.0)),
            )
        })
        .collect();
    let division = match form.division.as_str() {
        "" => plain_decimal(look.allowance.division.0, 3),
        typed => typed.to_owned(),
    };
    let act = ActPage {
        page: visit.layout(Screen::Powder, "Feeder").await?,
        answer: format!("Pour {} back into a container of its lot.", fed.lot),
        reason: "Vent, read zero, then open the feeder.".to_owned(),
        pairs: vec![
            ("Lot", fed.lot.to_string()),
            ("In the feeder, by the book", grams_exact(fed.mass.0)),
        ],
        fields: vec![
            Field::choose("container", "Container", &form.container, options, ""),
            Field::amount("before", "It weighs before", &form.before, "g", ""),
            Field::amount("after", "It weighs after", &form.after, "g", ""),
            Field::amount("division", "The scale’s division", &division, "g", ""),
            Field::area(
                "reason",
                "Why it differs",
                &form.reason,
                "only where more came out than the book says",
            ),
        ],
        action: "/feeder/pour-back".to_owned(),
        verb: "Book it",
        detail: "back into the container".to_owned(),
        back: ("Leave it in the feeder", PATH.to_owned()),
        ask: None,
        errors,
    };
    act.answer()
}
