//! Keep-backs as rows.

use std::collections::{BTreeMap, BTreeSet};

use mendpost_core::code::AssetCode;
use mendpost_core::lineup::Seen;
use mendpost_core::quantity::Milligrams;
use mendpost_core::situation::{Held, KeepBack};
use sqlx::{SqliteConnection, SqliteExecutor};
use uuid::Uuid;

use crate::db::decoded;
use crate::situation::moment;

/// Keep-backs that hold something still, by number.
pub async fn live(connection: &mut SqliteConnection) -> Result<Vec<KeepBack>, sqlx::Error> {
    let mut live = all(connection).await?;
    live.retain(|it| it.grams > 0);
    Ok(live)
}

/// All keep-backs with what each holds still, by number.
pub async fn all(connection: &mut SqliteConnection) -> Result<Vec<KeepBack>, sqlx::Error> {
    let mut assets = assets(connection).await?;
    let rows = sqlx::query!(
        r#"select k.id as "id!: Uuid", k.number, p.code as "powder?: String", b.code as "bank?: String", k.reason,
             k.said_by, k.said_ms,
             k.milligrams - coalesce((select sum(g.milligrams) from keep_back_given_up g where g.keep_back_id = k.id), 0)
               as "milligrams!: i64"
           from keep_back k
           left join powder p on p.id = k.powder_id
           left join bank b on b.id = k.bank_id
           order by k.number"#
    )
    .fetch_all(connection)
    .await?;
    let mut all = Vec::new();
    for row in rows {
        let grams = Milligrams(row.milligrams).grams_on_hand();
        let held = match (&row.powder, &row.bank) {
            (Some(powder), _) => Held::Powder(decoded(powder.parse())?),
            (None, Some(bank)) => Held::Gas(decoded(bank.parse())?),
            (None, None) => return Err(sqlx::Error::RowNotFound),
        };
        all.push(KeepBack {
            number: row.number,
            held,
            grams,
            assets: assets.remove(&row.id).unwrap_or_default(),
            reason: row.reason,
            since: decoded(moment(row.said_ms))?,
            said_by: row.said_by,
        });
    }
    Ok(all)
}

async fn assets(
    connection: &mut SqliteConnection,
) -> Result<BTreeMap<Uuid, BTreeSet<AssetCode>>, sqlx::Error> {
    let rows = sqlx::query!(
        r#"select k.keep_back_id as "id!: Uuid", a.code
           from keep_back_asset k
           join asset a on a.id = k.asset_id"#
    )
    .fetch_all(connection)
    .await?;
    let mut assets: BTreeMap<Uuid, BTreeSet<AssetCode>> = BTreeMap::new();
    for row in rows {
        let code = decoded(row.code.parse())?;
        assets.entry(row.id).or_default().insert(code);
    }
    Ok(assets)
}

/// The number of the next keep-back.
pub async fn next_number(executor: impl SqliteExecutor<'_>) -> Result<i64, sqlx::Error> {
    sqlx::query_scalar!(r#"select coalesce(max(number), 0) + 1 as "number!: i64" from keep_back"#)
        .fetch_one(executor)
        .await
}

/// Adds a keep-back of powder, gas and machines that are there.
pub async fn insert(
    connection: &mut SqliteConnection,
    keep_back: &KeepBack,
    sequence: i64,
) -> Result<(), sqlx::Error> {
    let id = Uuid::now_v7();
    let (powder, bank) = match &keep_back.held {
        Held::Powder(powder) => (Some(powder.as_str()), None),
        Held::Gas(bank) => (None, Some(bank.as_str())),
    };
    let milligrams = Milligrams::from_grams(keep_back.grams).0;
    let since = keep_back.since.timestamp_millis();
    sqlx::query!(
        "insert into keep_back
           (id, number, powder_id, bank_id, milligrams, reason, said_by, said_ms, journal_sequence)
         values (?, ?, (select id from powder where code = ?), (select id from bank where code = ?), ?, ?, ?, ?, ?)",
        id,
        keep_back.number,
        powder,
        bank,
        milligrams,
        keep_back.reason,
        keep_back.said_by,
        since,
        sequence,
    )
    .execute(&mut *connection)
    .await?;
    for asset in &keep_back.assets {
        let code = asset.as_str();
        sqlx::query!(
            "insert into keep_back_asset (keep_back_id, asset_id)
             values (?, (select id from asset where code = ?))",
            id,
            code,
        )
        .execute(&mut *connection)
        .await?;
    }
    Ok(())
}

/// What somebody gave up of a keep-back.
pub struct GivenUp<'a> {
    pub number: i64,
    pub grams: i64,
    pub reason: &'a str,
    pub by: &'a str,
    pub at_ms: i64,
}

pub async fn give_up(
    connection: &mut SqliteConnection,
    given: &GivenUp<'_>,
    sequence: i64,
) -> Result<(), sqlx::Error> {
    let milligrams = Milligrams::from_grams(given.grams).0;
    sqlx::query!(
        "insert into keep_back_given_up
           (journal_sequence, keep_back_id, milligrams, reason, given_up_by, given_up_ms)
         values (?, (select id from keep_back where number = ?), ?, ?, ?, ?)",
        sequence,
        given.number,
        milligrams,
        given.reason,
        given.by,
        given.at_ms,
    )
    .execute(connection)
    .await?;
    Ok(())
}

/// What was given up, the newest first.
pub struct Past {
    pub number: i64,
    pub grams: i64,
    pub reason: String,
    pub by: String,
    pub at_ms: i64,
}

pub async fn past(executor: impl SqliteExecutor<'_>) -> Result<Vec<Past>, sqlx::Error> {
    sqlx::query!(
        "select k.number, g.milligrams, g.reason, g.given_up_by, g.given_up_ms
         from keep_back_given_up g
         join keep_back k on k.id = g.keep_back_id
         order by g.journal_sequence desc
         limit 20"
    )
    .map(|row| Past {
        number: row.number,
        grams: Milligrams(row.milligrams).grams_on_hand(),
        reason: row.reason,
        by: row.given_up_by,
        at_ms: row.given_up_ms,
    })
    .fetch_all(executor)
    .await
}

/// Reports of parts of these machines that failed or were worn, since the first report of anything here.
pub async fn seen(
    connection: &mut SqliteConnection,
    assets: &BTreeSet<AssetCode>,
    now_ms: i64,
) -> Result<Seen, sqlx::Error> {
    let rows = sqlx::query!(
        r#"select a.code, count(*) as "failures!: i64"
           from request r
           join asset a on a.id = r.asset_id
           where r.damage in ('damaged', 'worn')
           group by a.code"#
    )
    .fetch_all(&mut *connection)
    .await?;
    let named = rows.iter();
    let named = named.filter(|row| assets.iter().any(|it| it.as_str() == row.code));
    let first = sqlx::query_scalar!(r#"select min(reported_ms) as "first: i64" from request"#)
        .fetch_one(connection)
        .await?;
    Ok(Seen {
        failures: named.map(|row| row.failures).sum(),
        minutes: first.map_or(0, |first| (now_ms - first).max(0) / 60_000),
    })
}
