//! Blending: a new lot made of weighed shares of released ones. It waits for a release of its own.

mod form;
mod pages;
pub mod queries;
mod store;

use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;
use mendpost_core::people::Act;
use mendpost_core::powder::Allowance;
use sqlx::SqliteConnection;

use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::section::Fields;
use crate::form::{FieldErrors, Posted};
use crate::page::{Notice, Screen, grams_exact, page_with};
use crate::people::{Visit, Who};
use crate::powder::lot_path;
use crate::receive;
use crate::routes::Routes;
use crate::site::weighing::allowance;
use form::{Draft, parse};
use queries::Source;

pub const PATH: &str = "/blending";

pub fn routes() -> Routes {
    Routes::default()
        .get(PATH, Act::EnterLots, open)
        .post(PATH, Act::EnterLots, enter)
}

/// What can be blended, and what it is held against.
pub struct Here {
    /// Containers of released lots in date with something in them.
    pub sources: Vec<Source>,
    pub powders: Vec<(String, String)>,
    pub numbers: receive::Numbers,
    pub allowance: Allowance,
}

impl Here {
    async fn load(connection: &mut SqliteConnection, now: i64) -> Result<Here, sqlx::Error> {
        Ok(Here {
            sources: queries::sources(&mut *connection, now).await?,
            powders: receive::queries::powders(&mut *connection).await?,
            numbers: receive::queries::numbers(&mut *connection).await?,
            allowance: allowance(&mut *connection).await?,
        })
    }
}

async fn open(State(state): State<AppState>, visit: Visit) -> Result<Response, AppError> {
    let mut reading = state.db.read.begin().await?;
    let here = Here::load(&mut reading, visit.now).await?;
    drop(reading);
    let draft = Draft::blank(&here.numbers);
    form_page(&visit, &here, draft, FieldErrors::default(), StatusCode::OK).await
}

/// Makes a lot of others, or shows the form again with all that was typed.
async fn enter(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Posted(fields): Posted<Fields>,
) -> Result<Response, AppError> {
    let mut draft = Draft::of(fields);
    let mut errors = FieldErrors::default();
    let mut change = Change::begin(&state, &who).await?;
    let now = change.now();
    let here = Here::load(change.connection(), now).await?;
    if !draft.is_sent() {
        drop(change);
        draft.apply();
        return form_page(&visit, &here, draft, errors, StatusCode::OK).await;
    }
    let labels = draft.labels();
    let taken = receive::queries::labels_taken(change.connection(), &labels).await?;
    let Some(new) = parse(&draft, &here, (&taken, &visit), &mut errors)? else {
        drop(change);
        return form_page(
            &visit,
            &here,
            draft,
            errors,
            StatusCode::UNPROCESSABLE_ENTITY,
        )
        .await;
    };
    let journal = store::make(&mut change, &who, &new).await?;
    let code = new.lot.lot.code.as_str();
    let text = format!(
        "{code}, {} of {} lots. It waits in quarantine for its release. Journal {journal}.",
        grams_exact(new.lot.lot.on_hand.0),
        new.parents
    );
    let location = lot_path(code);
    change
        .finish(&who, &location, Notice::done("BLENDED", text))
        .await
}

async fn form_page(
    visit: &Visit,
    here: &Here,
    draft: Draft,
    errors: FieldErrors,
    status: StatusCode,
) -> Result<Response, AppError> {
    let layout = visit.layout(Screen::Powder, "Blend").await?;
    page_with(status, &pages::FormPage::new(layout, here, draft, errors))
}
