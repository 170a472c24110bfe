//! One's own account: who I am here, passphrase, recovery codes, and where I am signed in.

mod pages;
mod sessions;

use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;
use mendpost_core::people::Act;

use super::form::{CodesForm, PassphraseForm};
use super::sign_in::{Refused, by_passphrase};
use super::{Person, Visit, Who, codes, queries, roster, session};
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, Posted};
use crate::page::{Notice, Screen, page, page_with};
use crate::routes::Routes;

pub use pages::{SessionRow, rows};

/// Whoever may look has an account.
pub fn routes() -> Routes {
    Routes::default()
        .get("/account", Act::Look, show)
        .post("/account/passphrase", Act::Look, change_passphrase)
        .post("/account/recovery-codes", Act::Look, make_recovery_codes)
        .merge(sessions::routes())
}

async fn show(State(state): State<AppState>, visit: Visit, who: Who) -> Result<Response, AppError> {
    account_page(&state, &visit, &who, StatusCode::OK, FieldErrors::default()).await
}

async fn change_passphrase(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Posted(form): Posted<PassphraseForm>,
) -> Result<Response, AppError> {
    refuse_in_demonstration(&state)?;
    let new = match form.parse(&who.name, &visit.site) {
        Ok(new) => new,
        Err(errors) => return account_page(&state, &visit, &who, errors.status(), errors).await,
    };
    let refused = confirm(&state, &visit, &who, "passphrase", &form.passphrase).await?;
    if let Some(page) = refused {
        return Ok(page);
    }
    let hash = state.passphrases.hash(new).await?;
    let mut change = Change::begin(&state, &who).await?;
    let person = myself(&mut change, &who).await?;
    let journal =
        roster::set_passphrase(&mut change, &person, &hash, "the passphrase before").await?;
    let text = format!("Your other sessions have ended. Journal {journal}.");
    let notice = Notice::done("SAVED", text);
    let answer = change.finish(&who, Screen::Account.path(), notice).await?;
    visit.sign_in(&person).await?;
    Ok(answer)
}

async fn make_recovery_codes(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
    Posted(form): Posted<CodesForm>,
) -> Result<Response, AppError> {
    refuse_in_demonstration(&state)?;
    let refused = confirm(
        &state,
        &visit,
        &who,
        "codes-passphrase",
        &form.codes_passphrase,
    )
    .await?;
    if let Some(page) = refused {
        return Ok(page);
    }
    let mut change = Change::begin(&state, &who).await?;
    let person = myself(&mut change, &who).await?;
    let codes = codes::give_recovery(&mut change, &person).await?;
    let again = Notice::waits(
        "The codes were shown once.",
        "If you did not print them, make new ones: that makes these void.",
    );
    change
        .finish_shown_once(Screen::Account.path(), again)
        .await?;
    page(&pages::RecoveryCodesPage {
        page: visit.layout(Screen::Account, "Recovery codes").await?,
        name: who.name,
        codes,
    })
}

/// Asks for the passphrase again before something that others must not do at a tablet left open; the
/// page to show if it is not theirs.
async fn confirm(
    state: &AppState,
    visit: &Visit,
    who: &Who,
    field: &str,
    typed: &str,
) -> Result<Option<Response>, AppError> {
    let Err(refused) = by_passphrase(state, &who.name, typed).await? else {
        return Ok(None);
    };
    let text = match refused {
        Refused::Wrong => "this is not your passphrase; type the one that you sign in with".into(),
        Refused::Wait { .. } => refused.to_string(),
    };
    let mut errors = FieldErrors::default();
    errors.add(field, text);
    let page = account_page(state, visit, who, refused.status(), errors).await?;
    Ok(Some(refused.mark(page)))
}

/// The person as the change finds them.
async fn myself(change: &mut Change, who: &Who) -> Result<Person, AppError> {
    let person = queries::active_person(change.connection(), who.id).await?;
    person.ok_or(AppError::SignInNeeded)
}

fn refuse_in_demonstration(state: &AppState) -> Result<(), AppError> {
    if state.config.demonstration {
        return Err(AppError::Conflict(
            "the demonstration asks for no passphrase, so there is none to change and no code to make"
                .to_owned(),
        ));
    }
    Ok(())
}

async fn account_page(
    state: &AppState,
    visit: &Visit,
    who: &Who,
    status: StatusCode,
    errors: FieldErrors,
) -> Result<Response, AppError> {
    let open = session::open_sessions(&state.db.read, who.id, visit.now).await?;
    let codes_left = codes::recovery_left(&state.db.read, who.id).await?;
    let layout = visit.layout(Screen::Account, "Account").await?;
    let account = pages::AccountPage {
        page: layout,
        name: who.name.clone(),
        number: who.number,
        role: who.role,
        sessions: pages::rows(open, &visit.session_key()),
        codes_left,
        errors,
        demonstration: state.config.demonstration,
    };
    page_with(status, &account)
}
