//! Saving a change of a draft: one journaled change, seen by whoever has the form open.

use axum::response::Response;
use mendpost_core::catalogue::{Changed, Operation, Recipe, may_edit};
use mendpost_core::situation::Situation;
use serde::Serialize;

use super::queries::{self, Revision};
use super::{named, path};
use crate::AppState;
use crate::catalogue::store::rewrite;
use crate::change::Change;
use crate::error::AppError;
use crate::page::Notice;
use crate::people::Who;
use crate::version::{self, Stale};
use crate::words::Words;
use crate::words::recipe::field_word;

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

/// Why nothing is written on it any more; none for a draft.
pub fn closed(recipe: &Recipe) -> Option<String> {
    (!may_edit(recipe.state)).then(|| {
        format!(
            "{} is {} and is not changed any more; start a new revision from it",
            named(recipe),
            recipe.state
        )
    })
}

/// Refuses what is not a draft, where nothing was typed yet.
pub fn editable(revision: &Revision) -> Result<(), AppError> {
    match closed(&revision.recipe) {
        None => Ok(()),
        Some(why) => Err(AppError::Conflict(why)),
    }
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

/// What stands of a draft beside what was typed on a form opened before it: what differs.
pub async fn stale(
    state: &AppState,
    situation: &Situation,
    revision: &Revision,
    differs: Vec<Changed>,
) -> Result<Stale, sqlx::Error> {
    let words = Words::new(situation);
    let fields = differs.into_iter().filter_map(|changed| match changed {
        Changed::Said {
            field, old, new, ..
        } => Some(version::Field::new(
            field_word(field),
            &words.value(field, &old),
            &words.value(field, &new),
        )),
        _ => None,
    });
    let (subject, version) = (revision.subject(), revision.version);
    Stale::of(&state.db.read, &subject, version, fields.collect()).await
}

/// Refuses a button that was pressed on a page older than what stands.
pub fn current(revision: &Revision, carried: &str) -> Result<(), AppError> {
    if version::is_current(carried, revision.version) {
        return Ok(());
    }
    Err(AppError::Conflict(format!(
        "{} was changed by somebody else meanwhile; look at it again",
        named(&revision.recipe)
    )))
}
