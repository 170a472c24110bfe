//! Every figure that a tool took.

use mendpost_core::finish::{Length, Unit};
use sqlx::SqliteConnection;
use uuid::Uuid;

use crate::db::decoded;

/// One figure.
pub struct Taken {
    pub request: i64,
    /// The entry under which it stands.
    pub sequence: i64,
    pub what: String,
    pub at_ms: i64,
}

/// Those since a time, in the order in which they were entered.
pub async fn taken(
    connection: &mut SqliteConnection,
    tool: Uuid,
    since_ms: i64,
) -> Result<Vec<Taken>, sqlx::Error> {
    sqlx::query!(
        "select r.number, f.journal_sequence, s.name, f.found_nm, f.unit, w.ended_ms
         from size_found f
         join recipe_size s on s.recipe_id = f.recipe_id and s.position = f.position
         join work_done w on w.journal_sequence = f.journal_sequence
         join request r on r.id = w.request_id
         where f.tool_id = ? and w.ended_ms >= ?
         order by f.journal_sequence, f.position",
        tool,
        since_ms
    )
    .try_map(|row| {
        let unit: Unit = decoded(row.unit.parse())?;
        Ok(Taken {
            request: row.number,
            sequence: row.journal_sequence,
            what: format!("{} {} {unit}", row.name, Length(row.found_nm).in_unit(unit)),
            at_ms: row.ended_ms,
        })
    })
    .fetch_all(connection)
    .await
}
