use chrono::{DateTime, Utc};
use mendpost_core::interim::{Left, Limit, Reading, left};
use sqlx::{SqliteConnection, SqliteExecutor};
use uuid::Uuid;

use crate::db::decoded;
use crate::situation::moment;

/// An interim part with everything on record of it.
#[derive(Debug, Clone)]
pub struct Interim {
    pub id: Uuid,
    pub number: i64,
    /// The request that it was built for.
    pub request: Option<i64>,
    pub asset_code: String,
    pub asset: String,
    pub part_name: String,
    /// Where on its machine; may be empty.
    pub place: String,
    pub since: DateTime<Utc>,
    pub limit: Limit,
    /// What the hour meter showed as it was fitted.
    pub meter_min: Option<i64>,
    /// Who answers for it.
    pub owner: String,
    pub removal_plan: String,
    pub released_by: String,
    pub entered_by: String,
    pub entered_ms: i64,
    /// The request for what replaces it.
    pub follow_on: i64,
    /// What the hour meter showed since, in order.
    pub meter: Vec<Meter>,
    pub off: Option<Off>,
    pub returned: Option<Returned>,
}

/// A reading of an hour meter.
#[derive(Debug, Clone)]
pub struct Meter {
    pub at: DateTime<Utc>,
    pub meter_min: i64,
    pub by: String,
}

/// How it came off.
#[derive(Debug, Clone)]
pub struct Off {
    pub at: DateTime<Utc>,
    pub meter_min: Option<i64>,
    pub note: String,
    pub by: String,
}

/// What became of it.
#[derive(Debug, Clone)]
pub struct Returned {
    pub at: DateTime<Utc>,
    /// 'kept' or 'scrapped'.
    pub fate: String,
    pub wear: String,
    pub note: String,
    pub by: String,
}

impl Interim {
    /// As people say it.
    pub fn code(&self) -> String {
        format!("I{}", self.number)
    }

    /// Where its own page stands.
    pub fn path(&self) -> String {
        format!("/interim/{}", self.number)
    }

    /// 'feed pump 1 impeller'.
    pub fn name(&self) -> String {
        format!("{} {}", self.asset, self.part_name)
    }

    /// How long it may still stay at a moment.
    pub fn left(&self, now: DateTime<Utc>) -> Left {
        let fitted = self.meter_min.map(|meter_min| Reading {
            at: self.since,
            meter_min,
        });
        let read = self.meter.iter().map(|meter| Reading {
            at: meter.at,
            meter_min: meter.meter_min,
        });
        let readings: Vec<Reading> = fitted.into_iter().chain(read).collect();
        left(self.limit, self.since, &readings, now)
    }

    /// The last time at which its meter was read, and what it showed.
    pub fn last_meter(&self) -> Option<(DateTime<Utc>, i64)> {
        let read = self.meter.last().map(|meter| (meter.at, meter.meter_min));
        read.or(self.meter_min.map(|meter| (self.since, meter)))
    }
}

/// The interim parts that are out there, the first to come off first.
pub async fn open(
    connection: &mut SqliteConnection,
    now: DateTime<Utc>,
) -> Result<Vec<Interim>, sqlx::Error> {
    let mut out = all(connection).await?;
    out.retain(|interim| interim.off.is_none());
    out.sort_by_key(|interim| (interim.left(now).off_by, interim.number));
    Ok(out)
}

/// One, by its number.
pub async fn one(
    connection: &mut SqliteConnection,
    number: i64,
) -> Result<Option<Interim>, sqlx::Error> {
    let all = all(connection).await?;
    Ok(all.into_iter().find(|interim| interim.number == number))
}

/// The one that a request is to replace.
pub async fn replaced_by(
    connection: &mut SqliteConnection,
    request: i64,
) -> Result<Option<Interim>, sqlx::Error> {
    let all = all(connection).await?;
    Ok(all.into_iter().find(|interim| interim.follow_on == request))
}

/// Every interim part that ever went out, by number.
pub async fn all(connection: &mut SqliteConnection) -> Result<Vec<Interim>, sqlx::Error> {
    let mut readings = readings(&mut *connection).await?;
    let rows = sqlx::query!(
        r#"select i.id as "id: Uuid", i.number, request.number as "request?", asset.code as asset_code,
             asset.name as asset, i.part_name, i.place, i.since_ms, i.off_by_ms, i.most_min, i.a_day_min,
             i.meter_min, i.owner, i.removal_plan, i.released_by, i.entered_by, i.entered_ms,
             follow_on.number as follow_on,
             interim_off.off_ms as "off_ms?", interim_off.meter_min as off_meter, interim_off.note as "off_note?",
             interim_off.entered_by as "off_by?",
             interim_return.returned_ms as "returned_ms?", interim_return.fate as "fate?",
             interim_return.wear as "wear?", interim_return.note as "return_note?",
             interim_return.entered_by as "return_by?"
           from interim_part i
           join asset on asset.id = i.asset_id
           join request follow_on on follow_on.id = i.follow_on_id
           left join request on request.id = i.request_id
           left join interim_off on interim_off.interim_id = i.id
           left join interim_return on interim_return.interim_id = i.id
           order by i.number"#
    )
    .fetch_all(connection)
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(Interim {
                meter: take(&mut readings, row.id),
                id: row.id,
                number: row.number,
                request: row.request,
                asset_code: row.asset_code,
                asset: row.asset,
                part_name: row.part_name,
                place: row.place,
                since: at(row.since_ms)?,
                limit: limit(row.off_by_ms, row.most_min, row.a_day_min)?,
                meter_min: row.meter_min,
                owner: row.owner,
                removal_plan: row.removal_plan,
                released_by: row.released_by,
                entered_by: row.entered_by,
                entered_ms: row.entered_ms,
                follow_on: row.follow_on,
                off: match (row.off_ms, row.off_note, row.off_by) {
                    (Some(off_ms), Some(note), Some(by)) => Some(Off {
                        at: at(off_ms)?,
                        meter_min: row.off_meter,
                        note,
                        by,
                    }),
                    _ => None,
                },
                returned: match (
                    row.returned_ms,
                    row.fate,
                    row.wear,
                    row.return_note,
                    row.return_by,
                ) {
                    (Some(returned_ms), Some(fate), Some(wear), Some(note), Some(by)) => {
                        Some(Returned {
                            at: at(returned_ms)?,
                            fate,
                            wear,
                            note,
                            by,
                        })
                    }
                    _ => None,
                },
            })
        })
        .collect()
}

fn limit(
    off_by_ms: Option<i64>,
    most_min: Option<i64>,
    a_day_min: Option<i64>,
) -> Result<Limit, sqlx::Error> {
    match (off_by_ms, most_min, a_day_min) {
        (Some(off_by), ..) => Ok(Limit::Date {
            off_by: at(off_by)?,
        }),
        (None, Some(most_min), Some(a_day_min)) => Ok(Limit::Running {
            most_min,
            a_day_min,
        }),
        _ => Err(sqlx::Error::Decode(
            "an interim part without a limit".into(),
        )),
    }
}

async fn readings(executor: impl SqliteExecutor<'_>) -> Result<Vec<(Uuid, Meter)>, sqlx::Error> {
    sqlx::query!(
        r#"select interim_id as "id: Uuid", read_ms, meter_min, entered_by
           from interim_reading order by interim_id, sequence"#
    )
    .try_map(|row| {
        let meter = Meter {
            at: at(row.read_ms)?,
            meter_min: row.meter_min,
            by: row.entered_by,
        };
        Ok((row.id, meter))
    })
    .fetch_all(executor)
    .await
}

fn take(readings: &mut Vec<(Uuid, Meter)>, id: Uuid) -> Vec<Meter> {
    let own = readings.extract_if(.., |(of, _)| *of == id);
    own.map(|(_, meter)| meter).collect()
}

fn at(unix_ms: i64) -> Result<DateTime<Utc>, sqlx::Error> {
    decoded(moment(unix_ms))
}

pub(super) async fn next_number(connection: &mut SqliteConnection) -> Result<i64, sqlx::Error> {
    sqlx::query_scalar!(
        r#"select coalesce(max(number), 0) + 1 as "number!: i64" from interim_part"#
    )
    .fetch_one(connection)
    .await
}

/// Id and part of a request, by its number.
pub(super) async fn request(
    connection: &mut SqliteConnection,
    number: i64,
) -> Result<Option<(Uuid, Option<Uuid>)>, sqlx::Error> {
    sqlx::query!(
        r#"select id as "id: Uuid", part_id as "part: Uuid" from request where number = ?"#,
        number
    )
    .map(|row| (row.id, row.part))
    .fetch_optional(connection)
    .await
}

pub(super) async fn asset_code(
    connection: &mut SqliteConnection,
    id: Uuid,
) -> Result<Option<String>, sqlx::Error> {
    sqlx::query_scalar!("select code from asset where id = ?", id)
        .fetch_optional(connection)
        .await
}

/// Code and name of a part.
pub(super) async fn part_code(
    connection: &mut SqliteConnection,
    id: Uuid,
) -> Result<Option<(String, String)>, sqlx::Error> {
    sqlx::query!("select code, name from part where id = ?", id)
        .map(|row| (row.code, row.name))
        .fetch_optional(connection)
        .await
}

pub(super) async fn part_id(
    connection: &mut SqliteConnection,
    code: &str,
) -> Result<Option<Uuid>, sqlx::Error> {
    sqlx::query_scalar!(r#"select id as "id: Uuid" from part where code = ?"#, code)
        .fetch_optional(connection)
        .await
}
