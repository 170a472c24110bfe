//! Tools as rows.

use chrono::{DateTime, Utc};
use mendpost_core::finish::{Calibration, Measures, Report, Tool};
use sqlx::SqliteConnection;
use uuid::Uuid;

use crate::change::Change;
use crate::db::decoded;
use crate::error::AppError;
use crate::situation::moment;

/// A tool with its row.
#[derive(Debug, Clone)]
pub struct Listed {
    pub id: Uuid,
    pub tool: Tool,
    /// Who entered each calibration and report, in their order.
    pub calibrated_by: Vec<String>,
    pub reported_by: Vec<String>,
}

/// All tools, by number.
pub async fn all(connection: &mut SqliteConnection) -> Result<Vec<Listed>, sqlx::Error> {
    let rows = sqlx::query!(
        r#"select id as "id: Uuid", code, name, measures, least, most, resolution from tool order by code"#
    )
    .fetch_all(&mut *connection)
    .await?;
    let mut all: Vec<Listed> = Vec::new();
    for row in rows {
        all.push(Listed {
            id: row.id,
            tool: Tool {
                code: row.code,
                name: row.name,
                measures: decoded(row.measures.parse())?,
                range: [row.least, row.most],
                resolution: row.resolution,
                calibrations: Vec::new(),
                reports: Vec::new(),
            },
            calibrated_by: Vec::new(),
            reported_by: Vec::new(),
        });
    }
    add_calibrations(&mut *connection, &mut all).await?;
    add_reports(connection, &mut all).await?;
    Ok(all)
}

/// One tool, by the number on it.
pub async fn one(connection: &mut SqliteConnection, code: &str) -> Result<Listed, AppError> {
    let all = all(connection).await?;
    let found = all.into_iter().find(|listed| listed.tool.code == code);
    found.ok_or_else(|| AppError::NotFound {
        what: format!("tool '{code}'"),
    })
}

async fn add_calibrations(
    connection: &mut SqliteConnection,
    all: &mut [Listed],
) -> Result<(), sqlx::Error> {
    let rows = sqlx::query!(
        r#"select tool_id as "tool_id: Uuid", certificate, calibrated_ms, due_ms, entered_by
           from tool_calibration order by calibrated_ms, journal_sequence"#
    )
    .fetch_all(connection)
    .await?;
    for row in rows {
        if let Some(listed) = all.iter_mut().find(|listed| listed.id == row.tool_id) {
            listed.tool.calibrations.push(Calibration {
                certificate: row.certificate,
                at: decoded(moment(row.calibrated_ms))?,
                due: decoded(moment(row.due_ms))?,
            });
            listed.calibrated_by.push(row.entered_by);
        }
    }
    Ok(())
}

async fn add_reports(
    connection: &mut SqliteConnection,
    all: &mut [Listed],
) -> Result<(), sqlx::Error> {
    let rows = sqlx::query!(
        r#"select tool_id as "tool_id: Uuid", since_ms, reason, reported_ms, reported_by
           from tool_report order by journal_sequence"#
    )
    .fetch_all(connection)
    .await?;
    for row in rows {
        if let Some(listed) = all.iter_mut().find(|listed| listed.id == row.tool_id) {
            listed.tool.reports.push(Report {
                at: decoded(moment(row.reported_ms))?,
                since: decoded(moment(row.since_ms))?,
                reason: row.reason,
            });
            listed.reported_by.push(row.reported_by);
        }
    }
    Ok(())
}

/// Tools that measure this, by number.
pub async fn measuring(
    connection: &mut SqliteConnection,
    measures: Measures,
) -> Result<Vec<Listed>, sqlx::Error> {
    let mut all = all(connection).await?;
    all.retain(|listed| listed.tool.measures == measures);
    Ok(all)
}

/// Lists a tool; calibrations are entered apart.
pub async fn insert(change: &mut Change, tool: &Tool) -> Result<Uuid, AppError> {
    let (id, measures) = (Uuid::now_v7(), tool.measures.as_str());
    let [least, most] = tool.range;
    sqlx::query!(
        "insert into tool (id, code, name, measures, least, most, resolution) values (?, ?, ?, ?, ?, ?, ?)",
        id,
        tool.code,
        tool.name,
        measures,
        least,
        most,
        tool.resolution,
    )
    .execute(change.connection())
    .await?;
    Ok(id)
}

pub async fn insert_calibration(
    change: &mut Change,
    tool: Uuid,
    calibration: &Calibration,
    by: &str,
    sequence: i64,
) -> Result<(), AppError> {
    let (at, due) = (ms(calibration.at), ms(calibration.due));
    let now = change.now();
    sqlx::query!(
        "insert into tool_calibration
           (journal_sequence, tool_id, certificate, calibrated_ms, due_ms, entered_by, entered_ms)
         values (?, ?, ?, ?, ?, ?, ?)",
        sequence,
        tool,
        calibration.certificate,
        at,
        due,
        by,
        now,
    )
    .execute(change.connection())
    .await?;
    Ok(())
}

pub async fn insert_report(
    change: &mut Change,
    tool: Uuid,
    report: &Report,
    by: &str,
    sequence: i64,
) -> Result<(), AppError> {
    let (since, at) = (ms(report.since), ms(report.at));
    sqlx::query!(
        "insert into tool_report (journal_sequence, tool_id, since_ms, reason, reported_by, reported_ms)
         values (?, ?, ?, ?, ?, ?)",
        sequence,
        tool,
        since,
        report.reason,
        by,
        at,
    )
    .execute(change.connection())
    .await?;
    Ok(())
}

fn ms(at: DateTime<Utc>) -> i64 {
    at.timestamp_millis()
}
