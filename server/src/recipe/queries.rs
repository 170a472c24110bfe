use std::collections::BTreeSet;

use mendpost_core::catalogue::{Recipe, RecipeState};
use mendpost_core::journal::Subject;
use sqlx::{SqliteConnection, SqliteExecutor};
use uuid::Uuid;

use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::situation;
use crate::situation::authors::{Names, authors};

/// One revision with what the plan does not need to know.
#[derive(Debug, Clone)]
pub struct Revision {
    pub id: Uuid,
    pub recipe: Recipe,
    pub version: i64,
    pub withdrawn_reason: String,
    /// Everybody who wrote a line of it.
    pub authors: Vec<Uuid>,
    /// The other revisions of the recipe, the first one first.
    pub others: Vec<Recipe>,
}

impl Revision {
    /// The approved revision, or none.
    pub fn approved(&self) -> Option<&Recipe> {
        let approved = |r: &&Recipe| r.state == RecipeState::Approved;
        self.others.iter().find(approved)
    }

    /// What this one is held against: the approved revision, or else the last before it that was.
    pub fn against(&self) -> Option<&Recipe> {
        let was = |r: &&Recipe| {
            r.revision < self.recipe.revision
                && matches!(r.state, RecipeState::Superseded | RecipeState::Withdrawn)
                && !r.approved_by.is_empty()
        };
        let before = |r: &&Recipe| r.revision < self.recipe.revision;
        self.approved()
            .filter(before)
            .or_else(|| self.others.iter().rev().find(was))
    }

    pub fn subject(&self) -> Subject {
        subject(&self.recipe)
    }
}

pub fn subject(recipe: &Recipe) -> Subject {
    Subject::new("recipe", format!("{}/{}", recipe.code, recipe.revision))
}

/// A revision by its code and number, read at one moment.
pub async fn find(state: &AppState, code: &str, revision: &str) -> Result<Revision, AppError> {
    let mut reading = state.db.read.begin().await?;
    load(&mut reading, code, revision).await
}

/// The same within a change.
pub async fn load(
    connection: &mut SqliteConnection,
    code: &str,
    revision: &str,
) -> Result<Revision, AppError> {
    let none = || AppError::NotFound {
        what: format!("recipe {code} revision {revision}"),
    };
    let number: i64 = revision.parse().map_err(|_| none())?;
    let row = sqlx::query!(
        r#"select id as "id: Uuid", version, coalesce(withdrawn_reason, '') as "reason!: String"
           from recipe where code = ? and revision = ?"#,
        code,
        number
    )
    .fetch_optional(&mut *connection)
    .await?
    .ok_or_else(none)?;
    let authors = authors_of(&mut *connection, row.id).await?;
    let mut all = situation::revisions(connection, code).await?;
    let at = all.iter().position(|r| r.revision == number);
    let recipe = all.remove(at.ok_or_else(none)?);
    Ok(Revision {
        id: row.id,
        recipe,
        version: row.version,
        withdrawn_reason: row.reason,
        authors: authors.into_iter().collect(),
        others: all,
    })
}

/// Everybody of the site who wrote a line of a revision.
async fn authors_of(
    connection: &mut SqliteConnection,
    recipe: Uuid,
) -> Result<BTreeSet<Uuid>, sqlx::Error> {
    let names = Names::load(&mut *connection).await?;
    let mut authors = authors(connection, &names).await?;
    Ok(authors.remove(&recipe).unwrap_or_default())
}

/// Notes that whoever wrote the one revision wrote lines of the other too.
pub async fn copy_authors(change: &mut Change, from: Uuid, to: Uuid) -> Result<(), AppError> {
    for author in authors_of(change.connection(), from).await? {
        add_author(change, to, author).await?;
    }
    Ok(())
}

/// Notes that a person wrote a line of a revision.
pub async fn add_author(change: &mut Change, recipe: Uuid, person: Uuid) -> Result<(), AppError> {
    sqlx::query!(
        "insert into recipe_author (recipe_id, person_id) values (?, ?) on conflict do nothing",
        recipe,
        person
    )
    .execute(change.connection())
    .await?;
    Ok(())
}

/// Sets where a revision stands; its version goes up by one.
pub async fn set_state(
    change: &mut Change,
    recipe: Uuid,
    state: RecipeState,
) -> Result<(), AppError> {
    let state = state.as_str();
    sqlx::query!(
        "update recipe set state = ?, version = version + 1 where id = ?",
        state,
        recipe
    )
    .execute(change.connection())
    .await?;
    Ok(())
}

/// What the approver wrote, and who that is.
pub async fn set_approved(
    change: &mut Change,
    recipe: Uuid,
    by: &str,
    (expected, basis): (&str, &str),
) -> Result<(), AppError> {
    sqlx::query!(
        "update recipe
         set state = 'approved', approved_by = ?, expected = ?, basis = ?, version = version + 1
         where id = ?",
        by,
        expected,
        basis,
        recipe
    )
    .execute(change.connection())
    .await?;
    Ok(())
}

pub async fn set_withdrawn(
    change: &mut Change,
    recipe: Uuid,
    reason: &str,
) -> Result<(), AppError> {
    sqlx::query!(
        "update recipe set state = 'withdrawn', withdrawn_reason = ?, version = version + 1 where id = ?",
        reason,
        recipe
    )
    .execute(change.connection())
    .await?;
    Ok(())
}

/// The id of a revision.
pub async fn id(executor: impl SqliteExecutor<'_>, recipe: &Recipe) -> Result<Uuid, sqlx::Error> {
    let code = recipe.code.as_str();
    sqlx::query_scalar!(
        r#"select id as "id: Uuid" from recipe where code = ? and revision = ?"#,
        code,
        recipe.revision
    )
    .fetch_one(executor)
    .await
}

/// Every revision of every recipe of a part: code, revision and state.
pub async fn of_part(
    executor: impl SqliteExecutor<'_>,
    part: &str,
) -> Result<Vec<(String, i64, String)>, sqlx::Error> {
    let rows = sqlx::query!(
        "select r.code, r.revision, r.state
         from recipe r join part p on p.id = r.part_id
         where p.code = ?
         order by r.code, r.revision",
        part
    )
    .fetch_all(executor)
    .await?;
    Ok(rows
        .into_iter()
        .map(|row| (row.code, row.revision, row.state))
        .collect())
}

/// The throat of the cell's nozzle as it was machined, in micrometres.
pub async fn machined_um(executor: impl SqliteExecutor<'_>) -> Result<i64, sqlx::Error> {
    sqlx::query_scalar!("select throat_um from cell")
        .fetch_one(executor)
        .await
}
