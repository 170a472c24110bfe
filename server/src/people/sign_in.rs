//! Signing in and out.

use askama::Template;
use axum::extract::{Query, State};
use axum::http::header::RETRY_AFTER;
use axum::http::{HeaderValue, StatusCode};
use axum::response::{IntoResponse, Redirect, Response};
use mendpost_core::people::{Act, may};
use thiserror::Error;

use super::form::{DemonstrationForm, SignInForm, person_name};
use super::{Person, Visit, local_path, queries};
use crate::AppState;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted};
use crate::handover;
use crate::page::{Layout, Screen, page_with};
use crate::routes::{Access, Routes};

pub fn routes() -> Routes {
    Routes::default()
        .get("/sign-in", Access::Open, show)
        .post("/sign-in", Access::Open, sign_in)
        .post(
            "/sign-in/demonstration",
            Access::Open,
            sign_in_to_demonstration,
        )
        .post("/sign-out", Access::Open, sign_out)
}

#[derive(Template)]
#[template(path = "people/sign-in.html")]
struct SignInPage {
    page: Layout,
    form: SignInForm,
    errors: FieldErrors,
    /// Those that one button signs in as; only in the demonstration.
    people: Vec<Person>,
}

/// The active person of this name, if the passphrase is theirs. Each try counts for the slow-down.
pub async fn by_passphrase(
    state: &AppState,
    name: &str,
    typed: &str,
) -> Result<Result<Person, Refused>, AppError> {
    if let Err(seconds) = state.slow_down.admit(name, state.clock.now()) {
        return Ok(Err(Refused::Wait { seconds }));
    }
    // What cannot be a name is nobody's.
    let known = person_name(name).unwrap_or_default();
    let found = queries::person_to_sign_in(&state.db.read, &known).await?;
    let (person, hash) = found.unzip();
    let matches = state
        .passphrases
        .verify(typed.to_owned(), hash.flatten())
        .await?;
    Ok(match person {
        Some(person) if matches => {
            state.slow_down.forget(name);
            Ok(person)
        }
        _ => Err(Refused::Wrong),
    })
}

/// Why somebody is not let in, or not believed.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum Refused {
    #[error("name and passphrase do not belong together; try again")]
    Wrong,
    #[error("too many tries for this name; wait {seconds} s, then try again")]
    Wait { seconds: i64 },
}

impl Refused {
    pub fn status(&self) -> StatusCode {
        match self {
            Refused::Wrong => StatusCode::UNPROCESSABLE_ENTITY,
            Refused::Wait { .. } => StatusCode::TOO_MANY_REQUESTS,
        }
    }

    /// Tells browsers and scripts too how long to wait.
    pub fn mark(&self, page: Response) -> Response {
        match self {
            Refused::Wrong => page,
            Refused::Wait { seconds } => {
                ([(RETRY_AFTER, HeaderValue::from(*seconds))], page).into_response()
            }
        }
    }
}

async fn show(
    State(state): State<AppState>,
    visit: Visit,
    Query(form): Query<SignInForm>,
) -> Result<Response, AppError> {
    if visit.who.is_some() {
        return Ok(Redirect::to(local_path(&form.next)).into_response());
    }
    sign_in_page(&state, visit, StatusCode::OK, form, FieldErrors::default()).await
}

async fn sign_in(
    State(state): State<AppState>,
    visit: Visit,
    Posted(form): Posted<SignInForm>,
) -> Result<Response, AppError> {
    let refused = match by_passphrase(&state, &form.name, &form.passphrase).await? {
        Ok(person) => {
            visit.sign_in(&person).await?;
            tracing::info!(person = person.number, "signed in");
            return Ok(Redirect::to(&first_page(&visit, &person, &form.next)).into_response());
        }
        Err(refused) => refused,
    };
    tracing::warn!("sign-in refused");
    let mut errors = FieldErrors::default();
    errors.add("passphrase", refused.to_string());
    let page = sign_in_page(&state, visit, refused.status(), form, errors).await?;
    Ok(refused.mark(page))
}

async fn sign_in_to_demonstration(
    State(state): State<AppState>,
    visit: Visit,
    Posted(form): Posted<DemonstrationForm>,
) -> Result<Response, AppError> {
    let nobody = || AppError::NotFound {
        what: "such person to sign in as".to_owned(),
    };
    if !state.config.demonstration {
        return Err(nobody());
    }
    let number: i64 = form.person.parse().map_err(|_| nobody())?;
    let person = queries::person_numbered(&state.db.read, number).await?;
    let person = person.filter(|person| person.active);
    let person = person.ok_or_else(nobody)?;
    visit.sign_in(&person).await?;
    Ok(Redirect::to(&first_page(&visit, &person, &form.next)).into_response())
}

/// Where somebody is led who signed in: to a handover that was left for them, before all else.
fn first_page(visit: &Visit, person: &Person, next: &str) -> String {
    let left = visit.waiting.as_ref().filter(|it| it.left_for_reader);
    match left.filter(|_| may(person.role, Act::HandOver)) {
        Some(waiting) => handover::path(waiting.number),
        None => local_path(next).to_owned(),
    }
}

async fn sign_out(visit: Visit) -> Result<Redirect, AppError> {
    visit.sign_out().await?;
    Ok(Redirect::to(Screen::SignIn.path()))
}

async fn sign_in_page(
    state: &AppState,
    mut visit: Visit,
    status: StatusCode,
    form: SignInForm,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    visit.ensure_token().await?;
    let mut people = Vec::new();
    if state.config.demonstration {
        people = queries::everybody(&state.db.read).await?;
        people.retain(|person| person.active);
    }
    let page = visit.layout(Screen::SignIn, "Sign in").await?;
    page_with(
        status,
        &SignInPage {
            page,
            form,
            errors,
            people,
        },
    )
}
