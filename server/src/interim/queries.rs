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
    /// Its machine's code, and its name.
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

    /// When it must come off, in milliseconds since 1970, UTC.
    pub fn end_ms(&self, now: DateTime<Utc>) -> i64 {
        self.left(now).off_by.timestamp_millis()
    }

    /// The last time at which its meter was read, and what it showed.
    pub fn last_meter(&self) -> Option<(DateTime<Utc>, i64)> {
        let read = self.meter.last().map(|meter| (meter.at, meter.meter_min));
        read.or(self.meter_min.map(|meter| (self.since, meter)))
    }
}

/// The interim parts that are out there, the first to come off first.
pub async fn open(
    executor: impl SqliteExecutor<'_>,
    now: DateTime<Utc>,
) -> Result<Vec<Interim>, sqlx::Error> {
    let only = Only {
        out: true,
        ..Only::default()
    };
    Ok(by_end(load(executor, only).await?, now))
}

/// Those that are fitted on a machine, by its code, the first to come off first.
pub async fn on_machine(
    executor: impl SqliteExecutor<'_>,
    asset: &str,
    now: DateTime<Utc>,
) -> Result<Vec<Interim>, sqlx::Error> {
    let only = Only {
        out: true,
        asset: Some(asset),
        ..Only::default()
    };
    Ok(by_end(load(executor, only).await?, now))
}

fn by_end(mut parts: Vec<Interim>, now: DateTime<Utc>) -> Vec<Interim> {
    parts.sort_by_key(|interim| (interim.left(now).off_by, interim.number));
    parts
}

/// One, by its number.
pub async fn one(
    executor: impl SqliteExecutor<'_>,
    number: i64,
) -> Result<Option<Interim>, sqlx::Error> {
    let only = Only {
        number: Some(number),
        ..Only::default()
    };
    Ok(load(executor, only).await?.pop())
}

/// The one that a request is to replace.
pub async fn replaced_by(
    executor: impl SqliteExecutor<'_>,
    request: i64,
) -> Result<Option<Interim>, sqlx::Error> {
    let only = Only {
        follow_on: Some(request),
        ..Only::default()
    };
    Ok(load(executor, only).await?.pop())
}

/// Every interim part that ever went out, by number.
pub async fn all(executor: impl SqliteExecutor<'_>) -> Result<Vec<Interim>, sqlx::Error> {
    load(executor, Only::default()).await
}

/// Which interim parts are asked for; all of them where nothing is said.
#[derive(Default)]
struct Only<'a> {
    number: Option<i64>,
    follow_on: Option<i64>,
    /// The machine's code.
    asset: Option<&'a str>,
    /// Not off yet.
    out: bool,
}

async fn load(
    executor: impl SqliteExecutor<'_>,
    only: Only<'_>,
) -> Result<Vec<Interim>, sqlx::Error> {
    sqlx::query!(
        r#"select i.id as "id!: Uuid", i.number, request.number as "request?", asset.code as asset_code,
             asset.name as asset, i.part_name, i.place, i.since_ms, i.off_by_ms, i.most_min, i.a_day_min,
             i.meter_min, i.owner, i.removal_plan, i.released_by, i.entered_by, i.entered_ms,
             follow_on.number as follow_on,
             (select json_group_array(json_array(read_ms, meter_min, entered_by)) from (
                select * from interim_reading where interim_id = i.id order by sequence)) as "meter!: String",
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
           where (?1 is null or i.number = ?1)
             and (?2 is null or follow_on.number = ?2)
             and (?3 is null or asset.code = ?3)
             and (not ?4 or interim_off.off_ms is null)
           order by i.number"#,
        only.number,
        only.follow_on,
        only.asset,
        only.out,
    )
    .try_map(|row| {
        let returned = (row.returned_ms, row.fate, row.wear, row.return_note, row.return_by);
        Ok(Interim {
            meter: meter(&row.meter)?,
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
            returned: match returned {
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
    .fetch_all(executor)
    .await
}

/// Readings in order, from rows of when, how much and by whom.
fn meter(rows: &str) -> Result<Vec<Meter>, sqlx::Error> {
    let rows: Vec<(i64, i64, String)> = decoded(serde_json::from_str(rows))?;
    rows.into_iter()
        .map(|(read_ms, meter_min, by)| {
            Ok(Meter {
                at: at(read_ms)?,
                meter_min,
                by,
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

/// Ids and codes of what an interim part refers to: its machine, the request that it was built for, and
/// its part where that is listed.
pub(super) struct Of {
    pub asset: Uuid,
    pub request: Option<Uuid>,
    pub part: Option<Uuid>,
    pub part_code: Option<String>,
}

/// Finds them by the machine's code, and the request's number or the part's code. With a request, the
/// part is that request's; none if there is no such machine or request.
pub(super) async fn of(
    executor: impl SqliteExecutor<'_>,
    asset: &str,
    request: Option<i64>,
    part: Option<&str>,
) -> Result<Option<Of>, sqlx::Error> {
    sqlx::query_as!(
        Of,
        r#"select asset.id as "asset!: Uuid", request.id as "request?: Uuid", part.id as "part?: Uuid",
             part.code as "part_code?"
           from asset
           left join request on request.number = ?2
           left join part on part.id = request.part_id or (?2 is null and part.code = ?3)
           where asset.code = ?1 and (?2 is null or request.id is not null)"#,
        asset,
        request,
        part,
    )
    .fetch_optional(executor)
    .await
}
