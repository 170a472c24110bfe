//! The journal's entries that concern a part, with the very text whose hash seals each.

use mendpost_core::journal::{Entry, Hash, Subject};
use sqlx::SqliteConnection;

use crate::db::decoded;
use crate::error::AppError;

/// An entry of the journal.
pub(super) struct Line {
    pub sequence: i64,
    pub time: i64,
    pub by: String,
    pub kind: String,
    pub subject: Subject,
    /// What it was sealed over: canonical JSON (RFC 8785).
    pub sealed: String,
    /// The SHA-256 of that.
    pub hash: Hash,
}

/// Those about the request, its builds, its furnace loads and its interim part, about the recipes that it was built
/// by, and about the lots that are in it.
pub(super) async fn of(
    connection: &mut SqliteConnection,
    number: i64,
) -> Result<Vec<Line>, AppError> {
    let rows = sqlx::query!(
        r#"with own as (
             select id, number from request where number = ?1
           ), subject (kind, id) as (
             select 'request', 'R' || number from own
             union
             select 'build', cast(b.number as text) from build b join own on own.id = b.request_id
             union
             select 'furnace-load', 'F' || f.load_number from furnace_part f join own on own.id = f.request_id
             union
             select 'interim', 'I' || i.number from interim_part i join own on own.id = i.request_id
             union
             select 'recipe', c.code || '/' || c.revision from work_done w
             join own on own.id = w.request_id join recipe c on c.id = w.recipe_id
             union
             select 'lot', l.code from build b join own on own.id = b.request_id
             join movement m on m.to_id = b.id join lot l on l.id = m.lot_id
           )
           select j.sequence as "sequence!: i64", j.time as "time!: i64", j.actor as "actor!: String",
             j.kind as "kind!: String", j.subject_kind as "subject_kind!: String",
             j.subject_id as "subject_id!: String", j.content as "content!: String",
             j.previous_hash as "previous!: Vec<u8>", j.hash as "hash!: Vec<u8>",
             coalesce(p.name, 'Mendpost itself') as "by!: String"
           from subject s
           join journal j on j.subject_kind = s.kind and j.subject_id = s.id
           left join person p on lower(hex(p.id)) = replace(j.actor, '-', '')
           order by j.sequence"#,
        number
    )
    .fetch_all(connection)
    .await?;
    let mut lines = Vec::new();
    for row in rows {
        let entry = Entry {
            sequence: row.sequence,
            time: row.time,
            actor: row.actor,
            kind: row.kind,
            subject: Subject::new(&row.subject_kind, &row.subject_id),
            content: decoded(serde_json::from_str(&row.content))?,
        };
        let previous = Hash(decoded(row.previous.as_slice().try_into())?);
        lines.push(Line {
            sealed: entry.sealed(previous).map_err(AppError::internal)?,
            hash: Hash(decoded(row.hash.as_slice().try_into())?),
            sequence: entry.sequence,
            time: entry.time,
            by: row.by,
            kind: entry.kind,
            subject: entry.subject,
        });
    }
    Ok(lines)
}
