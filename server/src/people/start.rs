//! The way in by a code: a start code for the first time, a recovery code when the passphrase is lost.

use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};

use super::form::StartForm;
use super::passphrase::NewPassphrase;
use super::sign_in::Refused;
use super::{Person, Visit, codes, roster};
use crate::AppState;
use crate::change::{Actor, Change};
use crate::error::AppError;
use crate::form::{FieldErrors, Posted};
use crate::page::{Layout, Notice, Screen, page_with};
use crate::routes::{Access, Routes};

pub fn routes() -> Routes {
    Routes::default()
        .get(PATH, Access::Open, show)
        .post(PATH, Access::Open, start)
}

/// Where a code is entered.
pub const PATH: &str = "/start";

#[derive(Template)]
#[template(path = "people/start.html")]
struct StartPage {
    page: Layout,
    form: StartForm,
    errors: FieldErrors,
    demonstration: bool,
}

async fn show(State(state): State<AppState>, visit: Visit) -> Result<Response, AppError> {
    let (form, errors) = (StartForm::default(), FieldErrors::default());
    start_page(&state, visit, StatusCode::OK, form, errors).await
}

async fn start(
    State(state): State<AppState>,
    visit: Visit,
    Posted(form): Posted<StartForm>,
) -> Result<Response, AppError> {
    if state.config.demonstration {
        return Err(AppError::Conflict(
            "the demonstration asks for no code and no passphrase; choose whom to be at sign-in"
                .to_owned(),
        ));
    }
    let refused = StatusCode::UNPROCESSABLE_ENTITY;
    let (name, passphrase) = match form.parse(&visit.site) {
        Ok(parsed) => parsed,
        Err(errors) => return start_page(&state, visit, refused, form, errors).await,
    };
    let mut errors = FieldErrors::default();
    if let Err(seconds) = state.slow_down.admit(&name, state.clock.now()) {
        let refused = Refused::Wait { seconds };
        errors.add("secret-code", refused.to_string());
        let page = start_page(&state, visit, refused.status(), form, errors).await?;
        return Ok(refused.mark(page));
    }
    let Some(person) = admit(&state, &name, &form.secret_code, passphrase).await? else {
        tracing::warn!("start refused");
        errors.add(
            "secret-code",
            "name and code do not belong together, or the code was used, has lapsed or was made \
             void; try again, or ask the lead for a new one",
        );
        return start_page(&state, visit, refused, form, errors).await;
    };
    state.slow_down.forget(&name);
    visit.sign_in(&person).await?;
    let text = "From now on sign in with the passphrase; the code is used up.";
    visit.notice(Notice::done("SAVED", text)).await?;
    tracing::info!(person = person.number, "started");
    Ok(Redirect::to(Screen::Account.path()).into_response())
}

/// Sets the passphrase and uses the code up, if it is this person's.
async fn admit(
    state: &AppState,
    name: &str,
    code: &str,
    passphrase: NewPassphrase,
) -> Result<Option<Person>, AppError> {
    let mut reading = state.db.read.acquire().await?;
    let found = codes::holder(&mut reading, name, code, state.clock.now()).await?;
    drop(reading);
    let Some((person, _)) = found else {
        return Ok(None);
    };
    // Hashing is slow, so it stands before the change; the code is judged again in it.
    let hash = state.passphrases.hash(passphrase).await?;
    let mut change = Change::begin(state, Actor::Person(person.id)).await?;
    let now = change.now();
    let Some((person, kind)) = codes::holder(change.connection(), name, code, now).await? else {
        return Ok(None);
    };
    codes::use_up(&mut change, person.id, code).await?;
    roster::set_passphrase(&mut change, &person, &hash, kind.word()).await?;
    change.commit().await?;
    Ok(Some(person))
}

async fn start_page(
    state: &AppState,
    mut visit: Visit,
    status: StatusCode,
    form: StartForm,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    visit.ensure_token().await?;
    let page = visit.layout(Screen::Start, "Start").await?;
    page_with(
        status,
        &StartPage {
            page,
            form,
            errors,
            demonstration: state.config.demonstration,
        },
    )
}
