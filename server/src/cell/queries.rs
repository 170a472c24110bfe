use std::str::FromStr;

use sqlx::{SqliteConnection, SqlitePool};
use uuid::Uuid;

use super::gauge::Gauge;

/// What can be read, and what the readings on record say.
pub struct Gauges {
    pub banks: Vec<BankGauge>,
    /// Stations that a heat treatment of the catalogue names.
    pub furnaces: Vec<Furnace>,
    /// Whether there is a compressor.
    pub compressor: bool,
    /// The latest reading of each kind, bank and furnace.
    pub latest: Vec<Latest>,
    /// The most that was ever read in the tank, in millilitres.
    pub fullest_ml: i64,
    /// The longest that the compressor ever had to its service, in minutes.
    pub longest_service_min: i64,
    /// Throat as machined, in micrometres.
    pub machined_um: i64,
}

/// A bank, read or not.
pub struct BankGauge {
    pub id: Uuid,
    pub code: String,
    pub gas: String,
}

/// A furnace, read or not.
pub struct Furnace {
    pub id: Uuid,
    pub code: String,
    pub name: String,
}

/// The latest reading of a kind.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Latest {
    pub gauge: Gauge,
    /// The bank or furnace, of those that there may be several of.
    pub of: Option<Uuid>,
    pub value: i64,
    pub at_ms: i64,
    pub by: String,
}

impl Gauges {
    /// The latest reading of a kind there is one of.
    pub fn only(&self, gauge: Gauge) -> Option<&Latest> {
        self.latest(gauge, None)
    }

    pub fn latest(&self, gauge: Gauge, of: Option<Uuid>) -> Option<&Latest> {
        let mut latest = self.latest.iter();
        latest.find(|read| read.gauge == gauge && read.of == of)
    }
}

pub async fn gauges(read: &SqlitePool) -> Result<Gauges, sqlx::Error> {
    let banks = sqlx::query_as!(
        BankGauge,
        r#"select id as "id: Uuid", code, gas from bank order by code"#
    )
    .fetch_all(read)
    .await?;
    let furnaces = sqlx::query_as!(
        Furnace,
        r#"select id as "id: Uuid", code, name from station
           where id in (select station_id from recipe_operation where kind = 'heat-treat')
           order by rowid"#
    )
    .fetch_all(read)
    .await?;
    let cell = sqlx::query!(
        r#"select throat_um,
             coalesce((select max(value) from reading where what = 'fuel'), 0) as "fullest_ml!: i64",
             exists (select 1 from compressor) as "compressor!: bool",
             max(coalesce((select service_in_min from compressor), 0),
               coalesce((select max(value) from reading where what = 'compressor-service'), 0))
               as "longest_service_min!: i64"
           from cell"#
    )
    .fetch_one(read)
    .await?;
    Ok(Gauges {
        banks,
        furnaces,
        compressor: cell.compressor,
        latest: latest(read).await?,
        fullest_ml: cell.fullest_ml,
        longest_service_min: cell.longest_service_min,
        machined_um: cell.throat_um,
    })
}

async fn latest(read: &SqlitePool) -> Result<Vec<Latest>, sqlx::Error> {
    let rows = sqlx::query!(
        r#"select what as "what!: String", coalesce(bank_id, station_id) as "of: Uuid", value as "value!: i64",
             read_at as "at_ms!: i64", read_by as "by!: String"
           from reading_newest"#
    )
    .fetch_all(read)
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(Latest {
                gauge: Gauge::from_str(&row.what).map_err(|e| sqlx::Error::Decode(e.into()))?,
                of: row.of,
                value: row.value,
                at_ms: row.at_ms,
                by: row.by,
            })
        })
        .collect()
}

/// One reading to be kept.
pub struct NewReading<'a> {
    pub id: Uuid,
    pub what: &'static str,
    pub bank: Option<Uuid>,
    pub station: Option<Uuid>,
    pub value: i64,
    pub at_ms: i64,
    pub by: &'a str,
}

pub async fn insert(
    connection: &mut SqliteConnection,
    new: &NewReading<'_>,
) -> Result<(), sqlx::Error> {
    sqlx::query!(
        "insert into reading (id, what, bank_id, station_id, value, read_at, read_by)
         values (?, ?, ?, ?, ?, ?, ?)",
        new.id,
        new.what,
        new.bank,
        new.station,
        new.value,
        new.at_ms,
        new.by,
    )
    .execute(connection)
    .await?;
    Ok(())
}
