//! What the lead does with a person besides name and role.

use axum::extract::{Path, State};
use axum::response::{IntoResponse, Redirect, Response};
use mendpost_core::people::Act;
use mendpost_core::signature::Meaning;
use serde::Deserialize;

use super::{find, find_in, path, show_start_code};
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted};
use crate::page::act::{ActPage, SIGN_FIELD};
use crate::page::{Notice, Screen};
use crate::people::{Person, Visit, Who, codes, roster, session};
use crate::routes::Routes;
use crate::signature::{ask, give, prove};

pub fn routes() -> Routes {
    Routes::default()
        .get(
            "/site/people/{number}/start-code",
            Act::SetUpSite,
            show_start,
        )
        .post("/site/people/{number}/start-code", Act::SetUpSite, start)
        .post("/site/people/{number}/leave", Act::SetUpSite, leave)
        .post("/site/people/{number}/return", Act::SetUpSite, come_back)
        .post(
            "/site/people/{number}/end-sessions",
            Act::SetUpSite,
            end_sessions,
        )
}

#[derive(Default, Deserialize)]
#[serde(default)]
struct StartCodeForm {
    sign_passphrase: String,
}

async fn show_start(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(number): Path<String>,
) -> Result<Response, AppError> {
    let person = find(&state, &number).await?;
    start_page(&state, &visit, &who, &person, FieldErrors::default()).await
}

/// Makes a start code. The lead signs, because whoever holds the code is that person.
async fn start(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Path(number): Path<String>,
    Posted(form): Posted<StartCodeForm>,
) -> Result<Response, AppError> {
    if state.config.demonstration {
        let text = "the demonstration asks for no passphrase, so it gives no start codes";
        return Err(AppError::Conflict(text.to_owned()));
    }
    let proof = match prove(&state, &visit, &who, &form.sign_passphrase).await? {
        Ok(proof) => proof,
        Err(fault) => {
            let person = find(&state, &number).await?;
            let mut errors = FieldErrors::default();
            errors.add(SIGN_FIELD, fault);
            return start_page(&state, &visit, &who, &person, errors).await;
        }
    };
    let mut change = Change::begin(&state, &who).await?;
    let person = find_in(&mut change, &number).await?;
    if !person.active {
        let text = format!("{} has left; say first that they are back", person.name);
        return Err(AppError::Conflict(text));
    }
    let start = codes::give_start(&mut change, &person).await?;
    give(&mut change, person.subject(), Meaning::HandCode, &proof).await?;
    show_start_code(change, &visit, person, start).await
}

async fn start_page(
    state: &AppState,
    visit: &Visit,
    who: &Who,
    person: &Person,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let act = ActPage {
        page: visit.layout(Screen::Site, &person.name).await?,
        answer: format!("Make a start code for {}.", person.name),
        reason: "It is shown once, works once, and voids one before.".to_owned(),
        pairs: vec![
            ("Person", person.name.clone()),
            ("Role", person.role.to_string()),
            ("Number", person.number.to_string()),
        ],
        fields: Vec::new(),
        action: format!("{}/start-code", path(person)),
        verb: "Make the code",
        detail: "good for 72 hours".to_owned(),
        back: ("Make none", path(person)),
        ask: Some(ask(state, visit, who, Meaning::HandCode).await?),
        errors,
    };
    act.answer()
}

async fn leave(
    State(state): State<AppState>,
    who: Who,
    Path(number): Path<String>,
) -> Result<Response, AppError> {
    let mut change = Change::begin(&state, &who).await?;
    let person = find_in(&mut change, &number).await?;
    if !person.active {
        return nothing_to_do(change, &who, &person, "has left already").await;
    }
    let journal = roster::leave(&mut change, &person).await?;
    let text = format!(
        "{} has left: signed out everywhere, all codes void. Journal {journal}.",
        person.name
    );
    change
        .finish(&who, &path(&person), Notice::done("SAVED", text))
        .await
}

async fn come_back(
    State(state): State<AppState>,
    who: Who,
    Path(number): Path<String>,
) -> Result<Response, AppError> {
    let mut change = Change::begin(&state, &who).await?;
    let person = find_in(&mut change, &number).await?;
    if person.active {
        return nothing_to_do(change, &who, &person, "is here already").await;
    }
    let journal = roster::come_back(&mut change, &person).await?;
    let text = format!(
        "{} is back, with the passphrase from before. Journal {journal}.",
        person.name
    );
    change
        .finish(&who, &path(&person), Notice::done("SAVED", text))
        .await
}

async fn end_sessions(
    State(state): State<AppState>,
    who: Who,
    Path(number): Path<String>,
) -> Result<Response, AppError> {
    let mut change = Change::begin(&state, &who).await?;
    let person = find_in(&mut change, &number).await?;
    let ended = session::end_all(change.connection(), person.id).await?;
    if ended == 0 {
        return nothing_to_do(change, &who, &person, "is signed in nowhere").await;
    }
    let journal = roster::note_ended(&mut change, &person, "all", ended).await?;
    let text = format!(
        "{} is signed out everywhere. Journal {journal}.",
        person.name
    );
    change
        .finish(&who, &path(&person), Notice::done("SAVED", text))
        .await
}

async fn nothing_to_do(
    change: Change,
    who: &Who,
    person: &Person,
    why: &str,
) -> Result<Response, AppError> {
    drop(change);
    let text = format!("{} {why}.", person.name);
    who.notice(Notice::done("Nothing to do.", text)).await?;
    Ok(Redirect::to(&path(person)).into_response())
}
