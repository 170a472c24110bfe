//! Trips as rows: what was said of them last, beside the delivery of the same code.

use mendpost_core::code::{DeliveryCode, ItemCode};
use mendpost_core::resupply::Trip;
use sqlx::SqliteConnection;
use std::collections::BTreeMap;
use uuid::Uuid;

use crate::db::decoded;
use crate::situation::moment;

/// A delivery, with what was said of its vehicle.
pub struct Listed {
    pub id: Uuid,
    pub code: DeliveryCode,
    pub name: String,
    pub expected_ms: i64,
    /// 'expected', 'arrived' or 'cancelled'.
    pub state: String,
    /// None: nobody said what its vehicle may carry.
    pub said: Option<Said>,
}

/// What was said of a trip last.
pub struct Said {
    pub version: i64,
    pub trip: Trip,
    pub by: String,
    pub ms: i64,
}

impl Listed {
    /// Of the newest saying; 0 before the first.
    pub fn version(&self) -> i64 {
        self.said.as_ref().map_or(0, |said| said.version)
    }

    pub fn is_expected(&self) -> bool {
        self.state == "expected"
    }
}

/// Trips that are expected, by their usual arrival.
pub async fn all(connection: &mut SqliteConnection) -> Result<Vec<Trip>, sqlx::Error> {
    let mut listed = listed(connection).await?;
    listed.retain(Listed::is_expected);
    let said = listed.into_iter().filter_map(|it| it.said);
    Ok(said.map(|said| said.trip).collect())
}

/// One trip, whether it is still expected or not.
pub async fn one(
    connection: &mut SqliteConnection,
    code: &DeliveryCode,
) -> Result<Option<Trip>, sqlx::Error> {
    let listed = listed(connection).await?;
    let found = listed.into_iter().find(|it| it.code == *code);
    Ok(found.and_then(|it| it.said).map(|said| said.trip))
}

/// All deliveries, those expected first, by their usual arrival.
pub async fn listed(connection: &mut SqliteConnection) -> Result<Vec<Listed>, sqlx::Error> {
    let mut must_go = must_go(connection).await?;
    let rows = sqlx::query!(
        r#"select d.id as "id!: Uuid", d.code, d.name, d.expected_ms, d.latest_ms, d.state,
             s.version as "version?: i64", s.mode as "mode?: String", s.payload_g as "payload_g?: i64",
             s.reserve_permille as "reserve?: i64", s.volume_ml as "volume?: i64", s.longest_mm as "longest?: i64",
             s.heaviest_g as "heaviest?: i64", s.dangerous as "dangerous?: bool", s.earliest_ms as "earliest?: i64",
             s.closes_ms as "closes?: i64", s.takes_back as "takes_back?: String", s.said_by as "said_by?: String",
             s.said_ms as "said_ms?: i64"
           from delivery d
           left join trip_said s on s.delivery_id = d.id
             and s.version = (select max(version) from trip_said where delivery_id = d.id)
           order by d.state = 'expected' desc,
             case when d.state = 'expected' then d.expected_ms else -d.expected_ms end, d.code"#
    )
    .fetch_all(connection)
    .await?;
    let mut all = Vec::new();
    for row in rows {
        let code: DeliveryCode = decoded(row.code.parse())?;
        let said = match (row.version, row.mode) {
            (Some(version), Some(mode)) => Some(Said {
                version,
                trip: Trip {
                    code: code.clone(),
                    name: row.name.clone(),
                    mode: decoded(mode.parse())?,
                    payload_g: row.payload_g.unwrap_or(0),
                    reserve_permille: row.reserve.unwrap_or(0),
                    volume_ml: row.volume.unwrap_or(0),
                    longest_mm: row.longest.unwrap_or(0),
                    heaviest_g: row.heaviest.unwrap_or(0),
                    dangerous: row.dangerous.unwrap_or(false),
                    earliest: decoded(moment(row.earliest.unwrap_or(0)))?,
                    usual: decoded(moment(row.expected_ms))?,
                    latest: decoded(moment(row.latest_ms.unwrap_or(row.expected_ms)))?,
                    closes: decoded(moment(row.closes.unwrap_or(0)))?,
                    takes_back: row.takes_back.unwrap_or_default(),
                    must_go: must_go.remove(&row.id).unwrap_or_default(),
                },
                by: row.said_by.unwrap_or_default(),
                ms: row.said_ms.unwrap_or(0),
            }),
            _ => None,
        };
        all.push(Listed {
            id: row.id,
            code,
            name: row.name,
            expected_ms: row.expected_ms,
            state: row.state,
            said,
        });
    }
    Ok(all)
}

type MustGo = BTreeMap<Uuid, Vec<(ItemCode, i64)>>;

async fn must_go(connection: &mut SqliteConnection) -> Result<MustGo, sqlx::Error> {
    let rows = sqlx::query!(
        r#"select m.delivery_id as "delivery!: Uuid", i.code, m.units
           from trip_must_go m
           join item i on i.id = m.item_id
           where m.version = (select max(version) from trip_said where delivery_id = m.delivery_id)
           order by m.delivery_id, m.position"#
    )
    .fetch_all(connection)
    .await?;
    let mut all = MustGo::new();
    for row in rows {
        let line = (decoded(row.code.parse())?, row.units);
        all.entry(row.delivery).or_default().push(line);
    }
    Ok(all)
}

/// A delivery that nothing is known of yet but what its trip says.
pub async fn announce(connection: &mut SqliteConnection, trip: &Trip) -> Result<Uuid, sqlx::Error> {
    let (id, code) = (Uuid::now_v7(), trip.code.as_str());
    let (usual, latest) = (ms(trip.usual), ms(trip.latest));
    let payload_kg = payload_kg(trip);
    sqlx::query!(
        "insert into delivery (id, code, name, expected_ms, latest_ms, payload_kg, state)
         values (?, ?, ?, ?, ?, ?, 'expected')",
        id,
        code,
        trip.name,
        usual,
        latest,
        payload_kg,
    )
    .execute(connection)
    .await?;
    Ok(id)
}

const fn payload_kg(trip: &Trip) -> i64 {
    trip.payload_g / 1000
}

fn ms(at: chrono::DateTime<chrono::Utc>) -> i64 {
    at.timestamp_millis()
}

/// Adds what is said of a trip, and sets its delivery by it.
pub async fn say(
    connection: &mut SqliteConnection,
    (delivery, version): (Uuid, i64),
    trip: &Trip,
    (by, now): (&str, i64),
) -> Result<(), sqlx::Error> {
    let mode = trip.mode.as_str();
    let (earliest, usual) = (ms(trip.earliest), ms(trip.usual));
    let (latest, closes) = (ms(trip.latest), ms(trip.closes));
    sqlx::query!(
        "insert into trip_said (delivery_id, version, name, mode, payload_g, reserve_permille, volume_ml, longest_mm,
           heaviest_g, dangerous, earliest_ms, usual_ms, latest_ms, closes_ms, takes_back, said_by, said_ms)
         values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        delivery,
        version,
        trip.name,
        mode,
        trip.payload_g,
        trip.reserve_permille,
        trip.volume_ml,
        trip.longest_mm,
        trip.heaviest_g,
        trip.dangerous,
        earliest,
        usual,
        latest,
        closes,
        trip.takes_back,
        by,
        now,
    )
    .execute(&mut *connection)
    .await?;
    for (position, (item, units)) in (1_i64..).zip(&trip.must_go) {
        let item = item.as_str();
        sqlx::query!(
            "insert into trip_must_go (delivery_id, version, position, item_id, units)
             values (?, ?, ?, (select id from item where code = ?), ?)",
            delivery,
            version,
            position,
            item,
            units,
        )
        .execute(&mut *connection)
        .await?;
    }
    let payload_kg = payload_kg(trip);
    sqlx::query!(
        "update delivery set name = ?, expected_ms = ?, latest_ms = ?, payload_kg = ? where id = ?",
        trip.name,
        usual,
        latest,
        payload_kg,
        delivery,
    )
    .execute(connection)
    .await?;
    Ok(())
}
