//! The site as it stands: every table that the line-up is worked out from, read at one moment.

pub mod authors;
mod catalogue;
mod cell;
mod need;
mod outcomes;
mod requests;
pub mod rules;
mod supply;
mod under_way;

use std::collections::BTreeMap;

use chrono::{DateTime, TimeDelta, Timelike, Utc};
use mendpost_core::catalogue::{Answer, Part, Recipe};
use mendpost_core::situation::{
    Capability, MOST_PLAN_DAYS, Site, Situation, days_ahead, duty_shifts,
};
use sqlx::SqliteConnection;
use uuid::Uuid;

use crate::AppState;
use crate::book::queries::{feeder, total};
use crate::db::decoded;
use crate::error::AppError;
use crate::{build, keep_back, kit, site};

pub(crate) use need::assets;
pub(crate) use rules::load as rules;
pub(crate) use supply::powders;

/// What the site needs, as said last.
pub(crate) async fn capabilities(
    connection: &mut SqliteConnection,
) -> Result<Vec<Capability>, sqlx::Error> {
    let codes = Codes::load(connection).await?;
    need::capabilities(connection, &codes).await
}

/// What was answered about one request, open or not, in order.
pub(crate) async fn answers(
    connection: &mut SqliteConnection,
    request: Uuid,
) -> Result<Vec<Answer>, sqlx::Error> {
    let mut answers = requests::answers(connection, Some(request)).await?;
    Ok(answers.remove(&request).unwrap_or_default())
}

/// The parts of the catalogue.
pub(crate) async fn parts(connection: &mut SqliteConnection) -> Result<Vec<Part>, sqlx::Error> {
    let codes = Codes::load(connection).await?;
    catalogue::parts(connection, &codes).await
}

/// Every revision of every recipe.
pub(crate) async fn recipes(connection: &mut SqliteConnection) -> Result<Vec<Recipe>, sqlx::Error> {
    let codes = Codes::load(connection).await?;
    catalogue::recipes(connection, &codes, catalogue::Revisions::Every).await
}

/// The site as it stands now.
pub async fn now(state: &AppState) -> Result<Situation, AppError> {
    let now = decoded(moment(state.clock.now()))?;
    let mut reading = state.db.read.begin().await?;
    Ok(load(&mut reading, now).await?)
}

/// The site as it stands, seen from a moment, which is cut to the minute.
///
/// Read it in one transaction, so that all of it is of one moment.
pub async fn load(
    connection: &mut SqliteConnection,
    now: DateTime<Utc>,
) -> Result<Situation, sqlx::Error> {
    load_ahead(connection, now, 0).await
}

/// The same, planned for at least so many days ahead, as far as that goes.
pub async fn load_ahead(
    connection: &mut SqliteConnection,
    now: DateTime<Utc>,
    days: i64,
) -> Result<Situation, sqlx::Error> {
    let now = now
        .with_second(0)
        .and_then(|t| t.with_nanosecond(0))
        .unwrap_or(now);
    let codes = Codes::load(connection).await?;
    let (mut site, cell_name) = planned_site(connection).await?;
    let deliveries = supply::deliveries(connection, &codes).await?;
    site.plan_days = days_ahead(site.plan_days, now, &deliveries, site.receiving_min);
    site.plan_days = site.plan_days.max(days.min(MOST_PLAN_DAYS));
    let until = now + TimeDelta::days(site.plan_days);
    let hours = cell::duty_hours(connection).await?;
    let (parts, recipes) = catalogue::load(connection, &codes).await?;
    let fed = feeder(&mut *connection).await?;
    let build = build::queries::under_way(&mut *connection).await?;
    let cell = cell::cell(connection, &codes, cell_name, &fed).await?;
    // What the feeder holds belongs to the build under way, if there is one.
    let free = if build.is_none() { fed.as_slice() } else { &[] };
    let mut situation = Situation {
        now,
        shifts: decoded(duty_shifts(&hours, site.zone, now, until))?,
        stations: cell::stations(connection).await?,
        kit: kit::queries::all(&mut *connection).await?,
        powders: supply::powders(connection).await?,
        lots: supply::lots(connection, &codes, &cell, free).await?,
        cell,
        banks: supply::banks(connection).await?,
        compressor: supply::compressor(connection).await?,
        fuel: supply::fuel(connection).await?,
        deliveries,
        keep_backs: keep_back::queries::live(connection).await?,
        capabilities: need::capabilities(connection, &codes).await?,
        assets: need::assets(connection).await?,
        outcomes: outcomes::load(connection).await?,
        requests: requests::load(connection, &codes).await?,
        rules: rules::load(connection).await?,
        metals: catalogue::metals(connection).await?,
        parts,
        recipes,
        site,
    };
    if let Some(build) = build {
        under_way::keep(connection, &mut situation, &build, total(&fed)).await?;
    }
    Ok(situation)
}

/// Every revision of one recipe, the first one first.
pub async fn revisions(
    connection: &mut SqliteConnection,
    recipe: &str,
) -> Result<Vec<Recipe>, sqlx::Error> {
    let codes = Codes::load(connection).await?;
    catalogue::recipes(connection, &codes, catalogue::Revisions::Of(recipe)).await
}

async fn planned_site(connection: &mut SqliteConnection) -> Result<(Site, String), sqlx::Error> {
    let site = site::queries::site(&mut *connection)
        .await?
        .ok_or(sqlx::Error::RowNotFound)?;
    let planning =
        sqlx::query!("select loss_word, plan_days, need_permille, receiving_min from planning")
            .fetch_one(&mut *connection)
            .await?;
    let planned = Site {
        name: site.name,
        zone: site.zone,
        altitude_m: site.altitude_m,
        loss_word: planning.loss_word,
        plan_days: planning.plan_days,
        need_permille: planning.need_permille,
        receiving_min: planning.receiving_min,
        chances: site::chances::chances(connection).await?,
    };
    Ok((planned, site.cell_name))
}

/// The codes by which the computation knows what the rows know by id.
pub(crate) struct Codes {
    powders: BTreeMap<Uuid, String>,
    stations: BTreeMap<Uuid, String>,
    banks: BTreeMap<Uuid, String>,
    assets: BTreeMap<Uuid, String>,
    parts: BTreeMap<Uuid, String>,
    deliveries: BTreeMap<Uuid, String>,
    metals: BTreeMap<Uuid, String>,
    kit: BTreeMap<Uuid, String>,
}

impl Codes {
    async fn load(connection: &mut SqliteConnection) -> Result<Self, sqlx::Error> {
        let rows = sqlx::query!(
            r#"select 'powder' as "kind!: String", id as "id!: Uuid", code as "code!: String" from powder
               union all select 'station', id, code from station
               union all select 'bank', id, code from bank
               union all select 'asset', id, code from asset
               union all select 'part', id, code from part
               union all select 'metal', id, code from metal
               union all select 'kit', id, code from kit
               union all select 'delivery', id, code from delivery"#
        )
        .fetch_all(connection)
        .await?;
        let of = |kind: &str| {
            rows.iter()
                .filter(|r| r.kind == kind)
                .map(|r| (r.id, r.code.clone()))
                .collect()
        };
        Ok(Codes {
            powders: of("powder"),
            stations: of("station"),
            banks: of("bank"),
            assets: of("asset"),
            parts: of("part"),
            deliveries: of("delivery"),
            metals: of("metal"),
            kit: of("kit"),
        })
    }
}

/// The code of a row; a reference without one is a fault of the database.
fn code<T>(codes: &BTreeMap<Uuid, String>, id: Uuid) -> Result<T, sqlx::Error>
where
    T: std::str::FromStr,
    T::Err: std::error::Error + Send + Sync + 'static,
{
    let text = codes.get(&id).ok_or(sqlx::Error::RowNotFound)?;
    word(text)
}

/// A stored word or code.
fn word<T>(text: &str) -> Result<T, sqlx::Error>
where
    T: std::str::FromStr,
    T::Err: std::error::Error + Send + Sync + 'static,
{
    decoded(text.parse())
}

/// A stored time outside of what calendars hold.
#[derive(Debug, thiserror::Error)]
#[error("{unix_ms} ms since 1970 is no time that a calendar holds")]
pub struct NoMoment {
    unix_ms: i64,
}

/// A stored time as a moment.
///
/// # Errors
/// [`NoMoment`] outside of what calendars hold.
pub fn moment(unix_ms: i64) -> Result<DateTime<Utc>, NoMoment> {
    DateTime::from_timestamp_millis(unix_ms).ok_or(NoMoment { unix_ms })
}

fn at(unix_ms: i64) -> Result<DateTime<Utc>, sqlx::Error> {
    decoded(moment(unix_ms))
}

fn at_if(unix_ms: Option<i64>) -> Result<Option<DateTime<Utc>>, sqlx::Error> {
    unix_ms.map(at).transpose()
}
