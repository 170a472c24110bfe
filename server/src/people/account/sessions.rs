//! Ending one's own sessions: one, all others, or all.

use axum::extract::State;
use axum::response::{IntoResponse, Redirect, Response};
use mendpost_core::people::Act;

use super::myself;
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::Posted;
use crate::page::{Notice, Screen};
use crate::people::form::SessionForm;
use crate::people::{Visit, Who, roster, session};
use crate::routes::{Access, Routes};

pub fn routes() -> Routes {
    Routes::default()
        .post("/account/sessions/end", Act::Look, end_one)
        .post("/account/sessions/end-others", Act::Look, end_others)
        .post("/sign-out/everywhere", Access::Open, end_all)
}

async fn end_one(
    State(state): State<AppState>,
    who: Who,
    Posted(form): Posted<SessionForm>,
) -> Result<Response, AppError> {
    let key = form.key();
    let mut change = Change::begin(&state, &who).await?;
    let ended = session::end_one(change.connection(), who.id, &key).await?;
    finish(change, &who, "one", ended).await
}

async fn end_others(
    State(state): State<AppState>,
    visit: Visit,
    who: Who,
) -> Result<Response, AppError> {
    let mut change = Change::begin(&state, &who).await?;
    let kept = visit.session_key();
    let ended = session::end_others(change.connection(), who.id, &kept).await?;
    finish(change, &who, "all others", ended).await
}

/// Also the one in front of the page. Whoever is signed in nowhere is so already.
async fn end_all(State(state): State<AppState>, visit: Visit) -> Result<Response, AppError> {
    let Some(who) = visit.who.clone() else {
        return Ok(Redirect::to(Screen::SignIn.path()).into_response());
    };
    let mut change = Change::begin(&state, &who).await?;
    let person = myself(&mut change, &who).await?;
    let ended = session::end_all(change.connection(), who.id).await?;
    roster::note_ended(&mut change, &person, "all", ended).await?;
    let notice = Notice::done("SIGNED OUT EVERYWHERE", "");
    let answer = change.finish(&who, Screen::SignIn.path(), notice).await?;
    visit.sign_out().await?;
    Ok(answer)
}

async fn finish(
    mut change: Change,
    who: &Who,
    which: &str,
    ended: u64,
) -> Result<Response, AppError> {
    if ended == 0 {
        drop(change);
        let text = "There was no such session any more.";
        who.notice(Notice::done("Nothing to end.", text)).await?;
        return Ok(Redirect::to(Screen::Account.path()).into_response());
    }
    let person = myself(&mut change, who).await?;
    let journal = roster::note_ended(&mut change, &person, which, ended).await?;
    let sessions = if ended == 1 { "session" } else { "sessions" };
    let text = format!("{ended} {sessions} ended. Journal {journal}.");
    let notice = Notice::done("SAVED", text);
    change.finish(who, Screen::Account.path(), notice).await
}
