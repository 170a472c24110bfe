use std::collections::BTreeMap;

use mendpost_core::journal::Subject;
use mendpost_core::shape::{Figures, Unit, Views};
use serde::Serialize;
use serde_json::json;
use sqlx::SqliteExecutor;

use super::picture::Small;
use super::reading::Reading;
use crate::change::Change;
use crate::db::decoded;
use crate::error::AppError;

/// The shape that a part has.
#[derive(Debug, Clone)]
pub struct Kept {
    /// Where the journal says that it was given.
    pub given: i64,
    pub figures: Figures,
    pub views: Views,
    pub file_name: String,
    pub unit: Unit,
    pub given_ms: i64,
    pub given_by: String,
}

/// The shape that a part has.
pub async fn of_part(
    executor: impl SqliteExecutor<'_>,
    part: &str,
) -> Result<Option<Kept>, sqlx::Error> {
    sqlx::query!(
        r#"select g.journal_sequence as "given!: i64", g.figures as "figures!: String", s.views,
             g.file_name as "file_name!: String", g.unit as "unit!: String",
             g.given_ms as "given_ms!: i64", g.given_by as "given_by!: String"
           from part_shape_now g
           join shape s on s.hash = g.hash
           join part p on p.id = g.part_id
           where p.code = ?"#,
        part
    )
    .try_map(|row| {
        Ok(Kept {
            given: row.given,
            figures: decoded(serde_json::from_str(&row.figures))?,
            views: decoded(serde_json::from_str(&row.views))?,
            file_name: row.file_name,
            unit: decoded(row.unit.parse())?,
            given_ms: row.given_ms,
            given_by: row.given_by,
        })
    })
    .fetch_optional(executor)
    .await
}

/// The file of the shape that a part has.
pub async fn file_of(
    executor: impl SqliteExecutor<'_>,
    part: &str,
) -> Result<Option<Vec<u8>>, sqlx::Error> {
    sqlx::query_scalar!(
        "select s.stl
         from part_shape_now g
         join shape s on s.hash = g.hash
         join part p on p.id = g.part_id
         where p.code = ?",
        part
    )
    .fetch_optional(executor)
    .await
}

/// Small pictures of parts that open requests ask for, by the request's code.
pub async fn small_of_requests(
    executor: impl SqliteExecutor<'_>,
) -> Result<BTreeMap<String, Small>, sqlx::Error> {
    let pairs = sqlx::query!(
        r#"select r.number as "number!: i64", s.small as "small!: String"
           from request r
           join part_shape_now g on g.part_id = r.part_id
           join shape s on s.hash = g.hash
           where r.state = 'open'"#
    )
    .try_map(|row| {
        let small = decoded(serde_json::from_str(&row.small))?;
        Ok((format!("R{}", row.number), small))
    })
    .fetch_all(executor)
    .await?;
    Ok(pairs.into_iter().collect())
}

/// The small picture of the part that a request asks for, by the request's number.
pub async fn small_of_request(
    executor: impl SqliteExecutor<'_>,
    number: i64,
) -> Result<Option<Small>, sqlx::Error> {
    sqlx::query!(
        r#"select s.small as "small!: String"
           from request r
           join part_shape_now g on g.part_id = r.part_id
           join shape s on s.hash = g.hash
           where r.number = ?"#,
        number
    )
    .try_map(|row| decoded(serde_json::from_str(&row.small)))
    .fetch_optional(executor)
    .await
}

/// Small pictures of all parts that have a shape, by the part's code.
pub async fn small_of_parts(
    executor: impl SqliteExecutor<'_>,
) -> Result<BTreeMap<String, Small>, sqlx::Error> {
    let pairs = sqlx::query!(
        r#"select p.code as "code!: String", s.small as "small!: String"
           from part p
           join part_shape_now g on g.part_id = p.id
           join shape s on s.hash = g.hash"#
    )
    .try_map(|row| {
        let small = decoded(serde_json::from_str(&row.small))?;
        Ok((row.code, small))
    })
    .fetch_all(executor)
    .await?;
    Ok(pairs.into_iter().collect())
}

#[derive(Serialize)]
struct Given<'a> {
    hash: String,
    file_name: &'a str,
    unit: Unit,
    figures: &'a Figures,
}

/// Journals and keeps the shape of a part; the journal's number.
///
/// # Errors
/// [`sqlx::Error::RowNotFound`] if there is no such part.
pub async fn keep(change: &mut Change, reading: &Reading, by: &str) -> Result<i64, AppError> {
    let content = Given {
        hash: reading
            .hash
            .iter()
            .map(|byte| format!("{byte:02x}"))
            .collect(),
        file_name: &reading.file_name,
        unit: reading.unit,
        figures: &reading.figures,
    };
    let subject = Subject::new("part", &reading.part);
    let journal = change.journal("part.shaped", subject, content).await?;
    let views = serde_json::to_string(&reading.views).map_err(AppError::internal)?;
    let small = serde_json::to_string(&Small::of(&reading.views)).map_err(AppError::internal)?;
    let figures = serde_json::to_string(&reading.figures).map_err(AppError::internal)?;
    let (hash, unit, now) = (reading.hash.as_slice(), reading.unit.as_str(), change.now());
    sqlx::query!(
        "insert into shape (hash, views, small, stl) values (?, ?, ?, ?)
         on conflict (hash) do nothing",
        hash,
        views,
        small,
        reading.stl,
    )
    .execute(change.connection())
    .await?;
    let kept = sqlx::query!(
        "insert into part_shape
           (journal_sequence, part_id, hash, file_name, unit, figures, given_ms, given_by)
         select ?, id, ?, ?, ?, ?, ?, ? from part where code = ?",
        journal,
        hash,
        reading.file_name,
        unit,
        figures,
        now,
        by,
        reading.part,
    )
    .execute(change.connection())
    .await?;
    if kept.rows_affected() == 0 {
        return Err(sqlx::Error::RowNotFound.into());
    }
    Ok(journal)
}

/// That the shape given last was taken off.
#[derive(Debug, Clone)]
pub struct Off {
    pub file_name: String,
    pub reason: String,
    pub off_ms: i64,
    pub off_by: String,
}

/// How a part came to have no shape any more; none if it has one, or never had.
pub async fn taken_off(
    executor: impl SqliteExecutor<'_>,
    part: &str,
) -> Result<Option<Off>, sqlx::Error> {
    sqlx::query_as!(
        Off,
        "select g.file_name, f.reason, f.off_ms, f.off_by
         from part_shape_off f
         join part_shape g on g.journal_sequence = f.given
         join part p on p.id = g.part_id
         where p.code = ?
           and f.given = (select max(journal_sequence) from part_shape where part_id = p.id)",
        part
    )
    .fetch_optional(executor)
    .await
}

/// Journals that a part has this shape no more; the journal's number.
pub async fn take_off(
    change: &mut Change,
    part: &str,
    kept: &Kept,
    (reason, by): (&str, &str),
) -> Result<i64, AppError> {
    let content = json!({
        "given": kept.given,
        "file_name": kept.file_name,
        "figures": kept.figures,
        "reason": reason,
    });
    let subject = Subject::new("part", part);
    let journal = change
        .journal("part.shape-taken-off", subject, content)
        .await?;
    let now = change.now();
    sqlx::query!(
        "insert into part_shape_off (journal_sequence, given, reason, off_ms, off_by)
         values (?, ?, ?, ?, ?)",
        journal,
        kept.given,
        reason,
        now,
        by,
    )
    .execute(change.connection())
    .await?;
    Ok(journal)
}
