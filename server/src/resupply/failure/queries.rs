//! How often parts fail: what was said, and what the requests tell.

use mendpost_core::resupply::FailureRecord;
use sqlx::SqliteConnection;

use crate::db::decoded;

const DAY_MS: i64 = 24 * 60 * 60_000;

/// A part of the catalogue with all that is known of its failures.
pub struct Row {
    pub name: String,
    pub record: FailureRecord,
    /// None: nobody said anything.
    pub said: Option<Said>,
}

/// By whom and why something was said.
pub struct Said {
    pub version: i64,
    pub why: String,
    pub by: String,
    pub ms: i64,
}

/// Every part in use, by its number. What was seen are the requests for it that somebody reported broken or
/// worn, since the site's first record or first report.
pub async fn failures(
    connection: &mut SqliteConnection,
    now_ms: i64,
) -> Result<Vec<FailureRecord>, sqlx::Error> {
    let rows = rows(connection, now_ms).await?;
    Ok(rows.into_iter().map(|row| row.record).collect())
}

pub async fn rows(connection: &mut SqliteConnection, now_ms: i64) -> Result<Vec<Row>, sqlx::Error> {
    let first = sqlx::query_scalar!(
        r#"select min(coalesce((select min(reported_ms) from request), 9223372036854775807),
             coalesce((select min(time) from journal), 9223372036854775807)) as "first!: i64""#
    )
    .fetch_one(&mut *connection)
    .await?;
    // A day at the least: less says nothing of a rate.
    let seen_days = (now_ms.saturating_sub(first) / DAY_MS).max(1);
    sqlx::query!(
        r#"select p.code, p.name, s.version as "version?: i64", s.failures_milli as "milli?: i64",
             s.days as "days?: i64", s.why as "why?: String", s.said_by as "said_by?: String",
             s.said_ms as "said_ms?: i64",
             (select count(*) from request r where r.part_id = p.id and r.damage in ('damaged', 'worn')
                and r.reported_ms <= ?1) as "seen!: i64"
           from part p
           left join failure_said s on s.part_id = p.id
             and s.version = (select max(version) from failure_said where part_id = p.id)
           where p.retired_reason is null
           order by p.code"#,
        now_ms
    )
    .try_map(|row| {
        Ok(Row {
            name: row.name,
            record: FailureRecord {
                part: decoded(row.code.parse())?,
                prior_milli: row.milli.unwrap_or(0),
                prior_days: row.days.unwrap_or(0),
                seen: row.seen,
                seen_days,
            },
            said: row.version.map(|version| Said {
                version,
                why: row.why.unwrap_or_default(),
                by: row.said_by.unwrap_or_default(),
                ms: row.said_ms.unwrap_or(0),
            }),
        })
    })
    .fetch_all(connection)
    .await
}

/// Adds what is expected of a part.
pub async fn say(
    connection: &mut SqliteConnection,
    (part, version): (&str, i64),
    rate: &super::Rate,
    (by, ms): (&str, i64),
) -> Result<(), sqlx::Error> {
    sqlx::query!(
        "insert into failure_said (part_id, version, failures_milli, days, why, said_by, said_ms)
         values ((select id from part where code = ?), ?, ?, ?, ?, ?, ?)",
        part,
        version,
        rate.milli,
        rate.days,
        rate.why,
        by,
        ms,
    )
    .execute(connection)
    .await?;
    Ok(())
}
