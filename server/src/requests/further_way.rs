//! A recipe that may be built by from now on is a further way of what waits for it.

use mendpost_core::code::{PartCode, RecipeCode};
use mendpost_core::situation::Way;
use sqlx::SqliteConnection;
use uuid::Uuid;

use super::queries::insert_way;

/// Adds a recipe to the ways of each open request of its part that has it not among them yet; the
/// numbers of those requests. What somebody has sorted stays as that person sorted it.
pub async fn add(
    connection: &mut SqliteConnection,
    part: &PartCode,
    recipe: &RecipeCode,
) -> Result<Vec<i64>, sqlx::Error> {
    let unsorted = unsorted(&mut *connection, part, recipe).await?;
    let way = Way::Recipe(recipe.clone());
    for request in &unsorted {
        let position = request.ways + 1;
        insert_way(&mut *connection, request.id, position, &way, None, "").await?;
    }
    Ok(unsorted.into_iter().map(|request| request.number).collect())
}

struct Unsorted {
    id: Uuid,
    number: i64,
    /// The position of its last way; 0 if it has none.
    ways: i64,
}

/// Taken up again, a request waits to be sorted anew.
async fn unsorted(
    connection: &mut SqliteConnection,
    part: &PartCode,
    recipe: &RecipeCode,
) -> Result<Vec<Unsorted>, sqlx::Error> {
    let (part, recipe) = (part.as_str(), recipe.as_str());
    sqlx::query_as!(
        Unsorted,
        r#"select r.id as "id!: Uuid", r.number as "number!: i64",
             (select coalesce(max(position), 0) from request_way where request_id = r.id) as "ways!: i64"
           from request r
           join part p on p.id = r.part_id
           where p.code = ? and r.state = 'open'
             and not exists (select 1 from request_way w where w.request_id = r.id and w.recipe_code = ?)
             and not exists (
               select 1 from request_decision d
               where d.request_id = r.id and d.decision = 'sorted'
                 and d.journal_sequence > coalesce((select max(journal_sequence) from request_decision
                   where request_id = r.id and decision = 'reopened'), 0))
           order by r.number"#,
        part,
        recipe
    )
    .fetch_all(connection)
    .await
}
