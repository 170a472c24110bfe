//! Copies of the site's data: made while the service runs, checked, kept by a stated rule, restored.

pub mod check;
pub mod copy;
pub mod keep;
pub mod keeper;
pub mod name;
mod pages;
pub mod restore;
pub mod shelf;
mod standing;

use std::path::Path;
use std::time::Duration;

use axum::extract::State;
use axum::response::{IntoResponse, Redirect, Response};
use mendpost_core::people::Act;
use tokio::time::timeout;

use crate::AppState;
use crate::error::AppError;
use crate::page::{Notice, Screen, page, whole};
use crate::people::{Visit, Who};
use crate::routes::Routes;
use copy::{Copied, CopyError};
use name::Why;

pub use keeper::Keeper;
pub use standing::Standing;

pub fn routes() -> Routes {
    Routes::default()
        .get(PATH, Act::Look, show)
        .post(PATH, Act::SetUpSite, copy_now)
}

/// Copies a database whose structure is about to change.
pub async fn copy_before_update(file: &Path, data: &Path, at: i64) -> Result<Copied, CopyError> {
    let folder = keeper::own_folder(data);
    copy::make_private_folder(&folder).map_err(|cause| CopyError::Write {
        folder: folder.clone(),
        cause,
    })?;
    copy::make(file, &folder, at, Why::Update).await
}

/// Where the copies are shown.
pub const PATH: &str = "/site/backup";

/// How long the page waits for a copy before it says that it is still being made.
const PATIENCE: Duration = Duration::from_secs(20);

async fn show(State(state): State<AppState>, visit: Visit) -> Result<Response, AppError> {
    let layout = visit.layout(Screen::Site, "Backup").await?;
    let standing = Standing::load(&state, &layout).await?;
    let may_copy = state.health.may_write() && visit.may(Act::SetUpSite);
    page(&pages::BackupPage::new(layout, &standing, may_copy))
}

/// Makes a copy off the request: it is finished also when nobody waits for it any more.
async fn copy_now(State(state): State<AppState>, who: Who) -> Result<Response, AppError> {
    state.health.check()?;
    let copying = tokio::spawn(async move { keeper::copy_now(&state).await });
    let notice = match timeout(PATIENCE, copying).await {
        Err(_) => Notice::waits("The copy is still being made.", "Look again in a minute."),
        Ok(Err(error)) => return Err(AppError::internal(error)),
        Ok(Ok(Err(error))) => Notice::wrong("No copy was made.", format!("It failed: {error}.")),
        Ok(Ok(Ok(copied))) => {
            let entries = whole(copied.whole.sequence);
            let text = format!(
                "Copied and checked, up to journal {entries}: {}.",
                copied.name
            );
            Notice::done("SAVED", text)
        }
    };
    who.notice(notice).await?;
    Ok(Redirect::to(PATH).into_response())
}
