//! Weighed builds as they are kept.

use mendpost_core::journal::Subject;
use serde::Serialize;
use serde_json::json;
use sqlx::SqliteExecutor;
use uuid::Uuid;

use crate::change::Change;
use crate::error::AppError;

/// A weighed build to be kept, by the stage it sprayed.
#[derive(Debug, Serialize)]
pub struct NewWeighed<'a> {
    pub recipe: &'a str,
    pub revision: i64,
    /// The operation that sprayed.
    pub position: i64,
    pub fed_mg: i64,
    pub deposited_mg: i64,
    pub lot: Option<&'a str>,
    pub throat_um: i64,
    pub request: Option<i64>,
    pub built_ms: i64,
    pub by: &'a str,
    pub note: &'a str,
}

/// Journals and keeps a weighed build, with its stage's setting; its number and the journal's.
///
/// # Errors
/// [`sqlx::Error::RowNotFound`] if there is no such stage.
pub async fn enter(change: &mut Change, new: &NewWeighed<'_>) -> Result<(i64, i64), AppError> {
    let number = sqlx::query_scalar!(
        r#"select coalesce(max(number), 0) + 1 as "number!: i64" from weighed_build"#
    )
    .fetch_one(change.connection())
    .await?;
    let journal = change
        .journal("build.weighed", Subject::new("weighed-build", number), new)
        .await?;
    let (id, now) = (Uuid::now_v7(), change.now());
    let kept = sqlx::query!(
        "insert into weighed_build
           (id, number, recipe_id, position, fed_mg, deposited_mg, lot_id, gas, pressure_mbar,
            temperature_c, throat_um, request_id, built_ms, entered_ms, entered_by, note,
            journal_sequence)
         select ?, ?, s.recipe_id, s.position, ?, ?, (select id from lot where code = ?), s.gas,
           s.pressure_mbar, s.temperature_c, ?, (select id from request where number = ?), ?, ?, ?, ?, ?
         from recipe_spray s
         join recipe r on r.id = s.recipe_id
         where r.code = ? and r.revision = ? and s.position = ?",
        id,
        number,
        new.fed_mg,
        new.deposited_mg,
        new.lot,
        new.throat_um,
        new.request,
        new.built_ms,
        now,
        new.by,
        new.note,
        journal,
        new.recipe,
        new.revision,
        new.position,
    )
    .execute(change.connection())
    .await?;
    if kept.rows_affected() == 0 {
        return Err(sqlx::Error::RowNotFound.into());
    }
    Ok((number, journal))
}

/// The throat of the nozzle at a time, in micrometres: as gauged last before it, else as machined.
pub async fn throat_um(executor: impl SqliteExecutor<'_>, at_ms: i64) -> Result<i64, sqlx::Error> {
    sqlx::query_scalar!(
        r#"select coalesce(
             (select value from reading where what = 'nozzle-bore' and bank_id is null and station_id is null and read_at <= ?
              order by read_at desc, id desc limit 1),
             (select throat_um from cell)) as "throat_um!: i64""#,
        at_ms
    )
    .fetch_one(executor)
    .await
}

/// A weighed build as it is shown.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WeighedRow {
    pub number: i64,
    pub recipe: String,
    pub revision: i64,
    pub position: i64,
    pub fed_mg: i64,
    pub deposited_mg: i64,
    pub lot: Option<String>,
    pub throat_um: i64,
    pub request: Option<i64>,
    pub built_ms: i64,
    pub entered_by: String,
    pub note: String,
    /// Why, and by whom, if it is struck out.
    pub struck: Option<(String, String)>,
}

/// Which weighed builds of a part.
#[derive(Debug, Clone, Copy)]
pub enum Which {
    /// The one of a number.
    Only(i64),
    /// The latest first, so many after so many are left out.
    Page { from: u32, most: u32 },
}

/// Weighed builds of a part, the latest first.
pub async fn weighed_of(
    executor: impl SqliteExecutor<'_>,
    part: &str,
    which: Which,
) -> Result<Vec<WeighedRow>, sqlx::Error> {
    let (only, from, most) = match which {
        Which::Only(number) => (Some(number), 0, 1),
        Which::Page { from, most } => (None, from, most),
    };
    let rows = sqlx::query!(
        r#"select w.number as "number!: i64", r.code as "recipe!: String", r.revision as "revision!: i64",
             w.position as "position!: i64", w.fed_mg as "fed_mg!: i64",
             w.deposited_mg as "deposited_mg!: i64", l.code as "lot?: String",
             w.throat_um as "throat_um!: i64", q.number as "request?: i64", w.built_ms as "built_ms!: i64",
             w.entered_by as "entered_by!: String", w.note as "note!: String",
             s.reason as "reason?: String", s.struck_by as "struck_by?: String"
           from weighed_build w
           join recipe r on r.id = w.recipe_id
           join part p on p.id = r.part_id
           left join lot l on l.id = w.lot_id
           left join request q on q.id = w.request_id
           left join struck_out s on s.build_id = w.id
           where p.code = ? and (?2 is null or w.number = ?2)
           order by w.built_ms desc, w.number desc
           limit ?3 offset ?4"#,
        part,
        only,
        most,
        from
    )
    .fetch_all(executor)
    .await?;
    Ok(rows
        .into_iter()
        .map(|row| WeighedRow {
            number: row.number,
            recipe: row.recipe,
            revision: row.revision,
            position: row.position,
            fed_mg: row.fed_mg,
            deposited_mg: row.deposited_mg,
            lot: row.lot,
            throat_um: row.throat_um,
            request: row.request,
            built_ms: row.built_ms,
            entered_by: row.entered_by,
            note: row.note,
            struck: row.reason.zip(row.struck_by),
        })
        .collect())
}

/// Journals and keeps that a weighed build counts no more; the journal's number.
///
/// # Errors
/// [`AppError::Conflict`] if it was struck out before.
pub async fn strike_out(
    change: &mut Change,
    number: i64,
    reason: &str,
    by: &str,
) -> Result<i64, AppError> {
    let content = json!({ "reason": reason, "by": by });
    let journal = change
        .journal(
            "build.struck-out",
            Subject::new("weighed-build", number),
            content,
        )
        .await?;
    let now = change.now();
    let kept = sqlx::query!(
        "insert into struck_out (build_id, reason, struck_ms, struck_by, journal_sequence)
         select id, ?, ?, ?, ? from weighed_build where number = ?
         on conflict (build_id) do nothing",
        reason,
        now,
        by,
        journal,
        number,
    )
    .execute(change.connection())
    .await?;
    if kept.rows_affected() == 0 {
        return Err(AppError::Conflict(format!(
            "weighed build {number} was struck out by somebody else meanwhile; look at it again"
        )));
    }
    Ok(journal)
}

/// Every lot of a powder, newest first: code and state.
pub async fn lots_of(
    executor: impl SqliteExecutor<'_>,
    powder: &str,
) -> Result<Vec<(String, String)>, sqlx::Error> {
    let rows = sqlx::query!(
        "select l.code, l.state
         from lot l
         join powder p on p.id = l.powder_id
         where p.code = ?
         order by l.received_ms desc, l.code",
        powder
    )
    .fetch_all(executor)
    .await?;
    Ok(rows.into_iter().map(|row| (row.code, row.state)).collect())
}
