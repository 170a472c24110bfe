//! An interim part goes out: it is recorded with its end, and what replaces it is asked for.

use chrono::{DateTime, Utc};
use mendpost_core::interim::left;
use mendpost_core::journal::Subject;
use serde_json::json;
use uuid::Uuid;

use super::end::End;
use super::inserts::{self, Entered, Row};
use super::queries;
use crate::change::Change;
use crate::error::AppError;
use crate::requests::filing::{GoneOut, follow_on};

/// A part that was let go with an end.
#[derive(Debug, Clone)]
pub struct Released<'a> {
    /// The request that it was built for; none for one that went out before it was recorded here.
    pub request: Option<i64>,
    /// Its machine's code.
    pub asset: &'a str,
    /// Code of the part of the catalogue; with a request it is that request's.
    pub part: Option<&'a str>,
    pub part_name: &'a str,
    /// Where on its machine; may be empty.
    pub place: &'a str,
    /// When it was fitted.
    pub since: DateTime<Utc>,
    pub end: End,
    /// Who answers for it.
    pub owner: &'a str,
    /// How and by whom it comes off.
    pub plan: &'a str,
    /// Who let it go.
    pub released_by: &'a str,
}

/// What was recorded: the interim part's number, that of the request for its successor, and the journal
/// entry.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Recorded {
    pub number: i64,
    pub follow_on: i64,
    pub journal: i64,
}

/// Records a part that was released with an end, and asks for what replaces it by then, in one change.
/// `by` is who enters it.
///
/// # Errors
/// When its request or its asset is not there.
pub async fn record(
    change: &mut Change,
    released: &Released<'_>,
    by: &str,
) -> Result<Recorded, AppError> {
    let Released {
        asset,
        request,
        part,
        end,
        ..
    } = *released;
    let of = queries::of(change.connection(), asset, request, part).await?;
    let of = of.ok_or_else(|| {
        AppError::Conflict("the machine or the request is no longer there".to_owned())
    })?;
    let number = queries::next_number(change.connection()).await?;
    let off_by = left(end.limit, released.since, &[], released.since).off_by;
    let out = GoneOut {
        asset,
        part: of.part_code,
        part_name: released.part_name,
        take_off_ms: off_by.timestamp_millis(),
        owner: released.owner,
        description: format!("Replaces interim part I{number}. {}", released.plan),
        request: released.request,
    };
    let follow_on = follow_on(change, out, by).await?;
    let content = json!({
        "request": released.request,
        "asset": asset,
        "part_name": released.part_name,
        "place": released.place,
        "since_ms": released.since.timestamp_millis(),
        "limit": end.limit,
        "off_by_ms": off_by.timestamp_millis(),
        "meter_min": end.meter_min,
        "owner": released.owner,
        "removal_plan": released.plan,
        "released_by": released.released_by,
        "follow_on": follow_on,
    });
    let subject = Subject::new("interim", format!("I{number}"));
    let journal = change.journal("interim.released", subject, content).await?;
    let row = Row {
        id: Uuid::now_v7(),
        number,
        request: of.request,
        asset: of.asset,
        part: of.part,
        part_name: released.part_name,
        place: released.place,
        since_ms: released.since.timestamp_millis(),
        limit: end.limit,
        meter_min: end.meter_min,
        owner: released.owner,
        removal_plan: released.plan,
        released_by: released.released_by,
        follow_on,
    };
    let at_ms = change.now();
    let entered = Entered { by, at_ms, journal };
    inserts::insert(change.connection(), &row, entered).await?;
    Ok(Recorded {
        number,
        follow_on,
        journal,
    })
}
