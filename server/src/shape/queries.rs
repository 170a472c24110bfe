use std::collections::BTreeMap;

use mendpost_core::journal::Subject;
use mendpost_core::shape::{Figures, Unit, Views};
use serde::Serialize;
use sqlx::SqliteExecutor;

use super::picture::Small;
use super::reading::Reading;
use crate::change::Change;
use crate::db::decoded;
use crate::error::AppError;

/// The shape that a part has.
#[derive(Debug, Clone)]
pub struct Kept {
    pub figures: Figures,
    pub views: Views,
    pub file_name: String,
    pub unit: Unit,
    pub given_ms: i64,
    pub given_by: String,
}

/// The shape that a part was given last.
pub async fn of_part(
    executor: impl SqliteExecutor<'_>,
    part: &str,
) -> Result<Option<Kept>, sqlx::Error> {
    sqlx::query!(
        "select g.figures, s.views, g.file_name, g.unit, g.given_ms, g.given_by
         from part_shape g
         join shape s on s.hash = g.hash
         join part p on p.id = g.part_id
         where p.code = ?
         order by g.journal_sequence desc
         limit 1",
        part
    )
    .try_map(|row| {
        Ok(Kept {
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

/// The file of the shape that a part was given last.
pub async fn file_of(
    executor: impl SqliteExecutor<'_>,
    part: &str,
) -> Result<Option<Vec<u8>>, sqlx::Error> {
    sqlx::query_scalar!(
        "select s.stl
         from part_shape g
         join shape s on s.hash = g.hash
         join part p on p.id = g.part_id
         where p.code = ?
         order by g.journal_sequence desc
         limit 1",
        part
    )
    .fetch_optional(executor)
    .await
}

/// Small pictures of parts that requests ask for, by the request's code.
pub async fn small_of_requests(
    executor: impl SqliteExecutor<'_>,
) -> Result<BTreeMap<String, Small>, sqlx::Error> {
    let pairs = sqlx::query!(
        r#"select r.number as "number!: i64", s.small as "small!: String"
           from request r
           join part_shape g on g.journal_sequence =
             (select max(journal_sequence) from part_shape where part_id = r.part_id)
           join shape s on s.hash = g.hash"#
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
           join part_shape g on g.journal_sequence =
             (select max(journal_sequence) from part_shape where part_id = r.part_id)
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
           join part_shape g on g.journal_sequence =
             (select max(journal_sequence) from part_shape where part_id = p.id)
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
