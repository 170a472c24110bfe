use sqlx::SqliteExecutor;
use uuid::Uuid;

use crate::change::Change;
use crate::error::AppError;

/// What the plan does not need to know of a part.
pub struct PartRow {
    pub id: Uuid,
    pub version: i64,
    /// Why it is no longer offered; none if it is.
    pub retired_reason: Option<String>,
}

pub async fn row(executor: impl SqliteExecutor<'_>, code: &str) -> Result<PartRow, AppError> {
    sqlx::query_as!(
        PartRow,
        r#"select id as "id: Uuid", version, retired_reason from part where code = ?"#,
        code
    )
    .fetch_optional(executor)
    .await?
    .ok_or_else(|| AppError::NotFound {
        what: format!("part {code} in the catalogue"),
    })
}

/// Takes a part out of the offer, or back with no reason.
pub async fn set_retired(
    change: &mut Change,
    part: Uuid,
    reason: Option<&str>,
) -> Result<(), AppError> {
    sqlx::query!(
        "update part set retired_reason = ?, version = version + 1 where id = ?",
        reason,
        part
    )
    .execute(change.connection())
    .await?;
    Ok(())
}
