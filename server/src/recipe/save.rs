//! Saving a change of a draft: one journaled change, seen by whoever has the form open.

use axum::response::Response;
use mendpost_core::catalogue::{Operation, Recipe, may_edit};
use serde::Serialize;

use super::queries::{self, Revision};
use super::{named, path};
use crate::catalogue::store::rewrite;
use crate::change::Change;
use crate::error::AppError;
use crate::page::Notice;
use crate::people::Who;

/// What a change of an operation looks like in the journal.
#[derive(Serialize)]
pub struct OperationChange<'a> {
    pub version: i64,
    /// Its place afterwards, or the one that it had, from 1.
    pub position: usize,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub from: Option<usize>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub before: Option<&'a Operation>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub after: Option<&'a Operation>,
}

/// Refuses what is not a draft.
pub fn editable(revision: &Revision) -> Result<(), AppError> {
    let recipe = &revision.recipe;
    if may_edit(recipe.state) {
        return Ok(());
    }
    Err(AppError::Conflict(format!(
        "{} is {} and is not changed any more; start a new revision from it",
        named(recipe),
        recipe.state
    )))
}

/// Writes what a draft says now, notes its author, and leads to the recipe's page.
pub async fn save(
    mut change: Change,
    who: &Who,
    revision: &Revision,
    after: &Recipe,
    (kind, content): (&str, impl Serialize),
    said: &str,
) -> Result<Response, AppError> {
    rewrite(&mut change, revision.id, after).await?;
    queries::add_author(&mut change, revision.id, who.id).await?;
    let journal = change.journal(kind, revision.subject(), content).await?;
    let text = format!("{said}. Journal {journal}.");
    change
        .finish(who, &path(after), Notice::done("SAVED", text))
        .await
}

/// Refuses a button that was pressed on a page older than what stands.
pub fn current(revision: &Revision, carried: &str) -> Result<(), AppError> {
    if crate::version::is_current(carried, revision.version) {
        return Ok(());
    }
    Err(AppError::Conflict(format!(
        "{} was changed by somebody else meanwhile; look at it again",
        named(&revision.recipe)
    )))
}
