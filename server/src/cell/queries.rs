use sqlx::{SqliteConnection, SqlitePool};
use uuid::Uuid;

/// What can be read, and what the readings on record say.
pub struct Gauges {
    pub banks: Vec<BankGauge>,
    pub fuel: Option<Latest>,
    /// The most that was ever read in the tank, in millilitres.
    pub fullest_ml: i64,
    pub bore: Option<Latest>,
    /// Throat as machined, in micrometres.
    pub machined_um: i64,
}

/// A bank, read or not.
pub struct BankGauge {
    pub id: Uuid,
    pub code: String,
    pub gas: String,
    /// The highest pressure ever read, in millibar.
    pub fullest_mbar: i64,
    pub pressure_at: Option<i64>,
    pub temperature_at: Option<i64>,
}

/// When the latest reading of a kind was taken, and by whom.
pub struct Latest {
    pub at_ms: i64,
    pub by: String,
}

pub async fn gauges(read: &SqlitePool) -> Result<Gauges, sqlx::Error> {
    let banks = sqlx::query_as!(
        BankGauge,
        r#"select id as "id: Uuid", code, gas,
             coalesce((select max(value) from reading where what = 'bank-pressure' and bank_id = bank.id), 0)
               as "fullest_mbar!: i64",
             (select max(read_at) from reading where what = 'bank-pressure' and bank_id = bank.id)
               as "pressure_at: i64",
             (select max(read_at) from reading where what = 'bank-temperature' and bank_id = bank.id)
               as "temperature_at: i64"
           from bank
           order by code"#
    )
    .fetch_all(read)
    .await?;
    let tank = sqlx::query_scalar!(
        r#"select coalesce(max(value), 0) as "fullest!: i64" from reading where what = 'fuel'"#
    );
    let machined = sqlx::query_scalar!("select throat_um from cell");
    Ok(Gauges {
        banks,
        fuel: latest(read, "fuel").await?,
        fullest_ml: tank.fetch_one(read).await?,
        bore: latest(read, "nozzle-bore").await?,
        machined_um: machined.fetch_one(read).await?,
    })
}

async fn latest(read: &SqlitePool, what: &str) -> Result<Option<Latest>, sqlx::Error> {
    sqlx::query_as!(
        Latest,
        "select read_at as at_ms, read_by as by from reading
         where what = ? order by read_at desc, id desc limit 1",
        what
    )
    .fetch_optional(read)
    .await
}

/// One reading to be kept.
pub struct NewReading<'a> {
    pub id: Uuid,
    pub what: &'static str,
    pub bank: Option<Uuid>,
    pub value: i64,
    pub at_ms: i64,
    pub by: &'a str,
}

pub async fn insert(
    connection: &mut SqliteConnection,
    new: &NewReading<'_>,
) -> Result<(), sqlx::Error> {
    sqlx::query!(
        "insert into reading (id, what, bank_id, value, read_at, read_by) values (?, ?, ?, ?, ?, ?)",
        new.id,
        new.what,
        new.bank,
        new.value,
        new.at_ms,
        new.by,
    )
    .execute(connection)
    .await?;
    Ok(())
}
