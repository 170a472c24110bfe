//! People: signing in and out, and who is in front of a page.

mod form;
mod next;
mod pages;
pub mod passphrase;
pub mod queries;
mod session;
mod slow_down;
mod token;
mod visit;

use axum::extract::{Query, State};
use axum::http::header::RETRY_AFTER;
use axum::http::{HeaderValue, StatusCode};
use axum::response::{IntoResponse, Redirect, Response};
use mendpost_core::journal::Subject;
use mendpost_core::people::Role;
use serde_json::json;
use tower_sessions::Session;
use uuid::Uuid;

use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted};
use crate::page::{Screen, page_with};
use crate::routes::{Access, Routes};
use form::{DemonstrationForm, SignInForm};
use pages::SignInPage;

pub use next::local_path;
pub use passphrase::Passphrases;
pub use session::{Sessions, layer as session_layer};
pub use slow_down::SlowDown;
pub use token::{check as check_token, new as new_token};
pub use visit::{Visit, Who, identify, sign_in_first};

pub fn routes() -> Routes {
    Routes::default()
        .get("/sign-in", Access::Open, show_sign_in)
        .post("/sign-in", Access::Open, sign_in)
        .post(
            "/sign-in/demonstration",
            Access::Open,
            sign_in_to_demonstration,
        )
        .post("/sign-out", Access::Open, sign_out)
}

/// Somebody who works at the site, or did.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Person {
    pub id: Uuid,
    pub number: i64,
    pub name: String,
    pub role: Role,
    /// False once the person has left.
    pub active: bool,
}

impl Person {
    /// Whether the person can sign in, in a word.
    pub fn state(&self) -> &'static str {
        if self.active { "active" } else { "left" }
    }
}

/// Adds a person, who signs in with the passphrase of this hash, or not by passphrase at all.
pub async fn add(
    change: &mut Change,
    name: &str,
    role: Role,
    passphrase_hash: Option<&str>,
) -> Result<Person, AppError> {
    let number = queries::next_number(change.connection()).await?;
    let person = Person {
        id: Uuid::now_v7(),
        number,
        name: name.to_owned(),
        role,
        active: true,
    };
    queries::insert(change.connection(), &person, passphrase_hash).await?;
    let content = json!({ "id": person.id, "name": name, "role": role });
    change
        .journal("person.added", Subject::new("person", number), content)
        .await?;
    Ok(person)
}

/// Gives the person of this name a passphrase, or adds them with it.
pub async fn admit(
    change: &mut Change,
    name: &str,
    role: Role,
    passphrase_hash: &str,
) -> Result<(), AppError> {
    let everybody = queries::everybody(change.connection()).await?;
    let known = everybody
        .into_iter()
        .find(|person| person.name.eq_ignore_ascii_case(name));
    let Some(person) = known else {
        add(change, name, role, Some(passphrase_hash)).await?;
        return Ok(());
    };
    queries::set_passphrase(change.connection(), person.id, role, passphrase_hash).await?;
    let content = json!({ "id": person.id, "role": role });
    change
        .journal(
            "person.passphrase-set",
            Subject::new("person", person.number),
            content,
        )
        .await?;
    Ok(())
}

async fn show_sign_in(
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
    session: Session,
    Posted(form): Posted<SignInForm>,
) -> Result<Response, AppError> {
    if let Err(wait) = state.slow_down.admit(&form.name, state.clock.now()) {
        return too_many_tries(&state, visit, form, wait).await;
    }
    let found = queries::person_to_sign_in(&state.db.read, form.name.trim()).await?;
    let (person, hash) = found.unzip();
    let matches = state
        .passphrases
        .verify(form.passphrase.clone(), hash.flatten())
        .await?;
    match person {
        Some(person) if matches => {
            state.slow_down.forget(&form.name);
            session::open(&session, &person).await?;
            tracing::info!(person = person.number, "signed in");
            Ok(Redirect::to(local_path(&form.next)).into_response())
        }
        _ => {
            tracing::warn!("sign-in refused");
            let mut errors = FieldErrors::default();
            errors.add(
                "passphrase",
                "name and passphrase do not belong together; try again",
            );
            sign_in_page(
                &state,
                visit,
                StatusCode::UNPROCESSABLE_ENTITY,
                form,
                errors,
            )
            .await
        }
    }
}

async fn sign_in_to_demonstration(
    State(state): State<AppState>,
    session: Session,
    Posted(form): Posted<DemonstrationForm>,
) -> Result<Response, AppError> {
    let nobody = || AppError::NotFound {
        what: "such person to sign in as".to_owned(),
    };
    if !state.config.demonstration {
        return Err(nobody());
    }
    let number: i64 = form.person.parse().map_err(|_| nobody())?;
    let people = queries::everybody(&state.db.read).await?;
    let person = people
        .into_iter()
        .find(|person| person.number == number && person.active);
    session::open(&session, &person.ok_or_else(nobody)?).await?;
    Ok(Redirect::to(local_path(&form.next)).into_response())
}

async fn sign_out(session: Session) -> Result<Redirect, AppError> {
    session.flush().await?;
    Ok(Redirect::to("/sign-in"))
}

async fn too_many_tries(
    state: &AppState,
    visit: Visit,
    form: SignInForm,
    wait_seconds: i64,
) -> Result<Response, AppError> {
    let mut errors = FieldErrors::default();
    let text = format!("too many tries for this name; wait {wait_seconds} s, then try again");
    errors.add("passphrase", text);
    let page = sign_in_page(state, visit, StatusCode::TOO_MANY_REQUESTS, form, errors).await?;
    Ok(([(RETRY_AFTER, HeaderValue::from(wait_seconds))], page).into_response())
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
