use std::collections::BTreeMap;

use mendpost_core::code::BankCode;
use mendpost_core::powder::{Lot, Powder, Solid};
use mendpost_core::quantity::Milligrams;
use mendpost_core::situation::{Bank, Brings, Cell, Compressor, Delivery, Fuel, Receiver};
use sqlx::SqliteConnection;
use uuid::Uuid;

use super::{Codes, at, at_if, code, word};
use crate::book::queries::{InFeeder, total};
use crate::db::decoded;

pub(crate) async fn powders(connection: &mut SqliteConnection) -> Result<Vec<Powder>, sqlx::Error> {
    sqlx::query!(
        "select code, name, density_kg_m3, strength_mpa, melting_c, cp_j_kg_k, size_um
         from powder order by rowid"
    )
    .fetch_all(connection)
    .await?
    .into_iter()
    .map(|row| {
        Ok(Powder {
            code: word(&row.code)?,
            name: row.name,
            solid: (|| {
                Some(Solid {
                    density_kg_m3: row.density_kg_m3?,
                    strength_mpa: row.strength_mpa?,
                    melting_c: row.melting_c?,
                    cp_j_kg_k: row.cp_j_kg_k?,
                    size_um: row.size_um?,
                })
            })(),
        })
    })
    .collect()
}

/// Lots of which anything is in a container or in the feeder, with what can be sprayed of them.
pub(super) async fn lots(
    connection: &mut SqliteConnection,
    codes: &Codes,
    cell: &Cell,
    fed: &[InFeeder],
) -> Result<Vec<Lot>, sqlx::Error> {
    let in_all = total(fed);
    let in_feeder = |lot: &str| {
        let held = fed.iter().find(|fed| fed.lot.as_str() == lot);
        held.map_or(Milligrams(0), |held| cell.beyond_heel(held.mass, in_all))
    };
    let lots: Vec<&str> = fed.iter().map(|it| it.lot.as_str()).collect();
    let fed_lots = decoded(serde_json::to_string(&lots))?;
    let rows = sqlx::query!(
        r#"select l.code as "code!: String", l.powder_id as "powder_id!: Uuid", l.state as "state!: String",
             l.state_note as "state_note!: String", l.use_by_ms as "use_by_ms: i64",
             coalesce((select sum(n.milligrams) from container k join container_now n on n.container_id = k.id
               where k.lot_id = l.id and k.holds = 1), 0) as "in_containers!: i64",
             exists (select 1 from container k where k.lot_id = l.id and k.opened_ms is not null) as "opened!: bool"
           from lot l
           where l.state <> 'empty' and l.id in (
             select lot_id from container where holds = 1
             union select id from lot where code in (select value from json_each(?))
           )
           order by l.code"#,
        fed_lots
    )
    .fetch_all(connection)
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(Lot {
                code: word(&row.code)?,
                powder: code(&codes.powders, row.powder_id)?,
                state: word(&row.state)?,
                state_note: row.state_note,
                on_hand: Milligrams(row.in_containers + in_feeder(&row.code).0),
                use_by: at_if(row.use_by_ms)?,
                opened: row.opened,
            })
        })
        .collect()
}

/// Banks whose pressure and temperature somebody has read.
pub(super) async fn banks(connection: &mut SqliteConnection) -> Result<Vec<Bank>, sqlx::Error> {
    let mut pressures = latest(connection, "bank-pressure").await?;
    let mut temperatures = latest(connection, "bank-temperature").await?;
    let rows = sqlx::query!(
        r#"select id as "id: Uuid", code, gas, bottles, bottle_ml, drop_mbar, steady_g_per_day from bank order by code"#
    )
    .fetch_all(connection)
    .await?;
    let mut banks = Vec::new();
    for row in rows {
        let Some(pressure) = pressures.remove(&Some(row.id)) else {
            continue;
        };
        let Some(temperature) = temperatures.remove(&Some(row.id)) else {
            continue;
        };
        banks.push(Bank {
            code: word::<BankCode>(&row.code)?,
            gas: word(&row.gas)?,
            bottles: row.bottles,
            bottle_ml: row.bottle_ml,
            pressure_mbar: pressure.value,
            temperature_mc: temperature.value,
            read_at: at(pressure.read_at)?,
            read_by: pressure.read_by,
            drop_mbar: row.drop_mbar,
            steady_g_per_day: row.steady_g_per_day,
        });
    }
    Ok(banks)
}

pub(super) async fn compressor(
    connection: &mut SqliteConnection,
) -> Result<Option<Compressor>, sqlx::Error> {
    let row = sqlx::query!(
        r#"select free_air_l_per_min, max_mbar, inlet_c, power_w, receiver_ml, receiver_low_mbar,
             coalesce((select value from reading_newest where what = 'compressor-service'),
               service_in_min) as "service_in_min: i64"
           from compressor"#
    )
    .fetch_optional(connection)
    .await?;
    Ok(row.map(|row| Compressor {
        free_air_l_per_min: row.free_air_l_per_min,
        max_mbar: row.max_mbar,
        inlet_c: row.inlet_c,
        power_w: row.power_w,
        service_in_min: row.service_in_min,
        receiver: row
            .receiver_ml
            .zip(row.receiver_low_mbar)
            .map(|(volume_ml, low_mbar)| Receiver {
                volume_ml,
                low_mbar,
            }),
    }))
}

/// The set; a tank that nobody has read counts as empty.
pub(super) async fn fuel(connection: &mut SqliteConnection) -> Result<Fuel, sqlx::Error> {
    let read = latest(connection, "fuel").await?.remove(&None);
    let row = sqlx::query!("select rated_w, ml_per_kwh, idle_ml_per_h_kw, camp_w from fuel_set")
        .fetch_one(connection)
        .await?;
    let (on_hand_ml, read_at, read_by) =
        read.map_or((0, 0, String::new()), |r| (r.value, r.read_at, r.read_by));
    Ok(Fuel {
        on_hand_ml,
        read_at: at(read_at)?,
        read_by,
        rated_w: row.rated_w,
        ml_per_kwh: row.ml_per_kwh,
        idle_ml_per_h_kw: row.idle_ml_per_h_kw,
        camp_w: row.camp_w,
    })
}

struct Reading {
    value: i64,
    read_at: i64,
    read_by: String,
}

/// The newest reading of one kind, by bank.
async fn latest(
    connection: &mut SqliteConnection,
    what: &str,
) -> Result<BTreeMap<Option<Uuid>, Reading>, sqlx::Error> {
    let rows = sqlx::query!(
        r#"select bank_id as "bank_id: Uuid", value as "value!: i64", read_at as "read_at!: i64", read_by as "read_by!: String"
           from reading_newest where what = ?"#,
        what
    )
    .fetch_all(connection)
    .await?;
    Ok(rows
        .into_iter()
        .map(|row| {
            (
                row.bank_id,
                Reading {
                    value: row.value,
                    read_at: row.read_at,
                    read_by: row.read_by,
                },
            )
        })
        .collect())
}

/// Deliveries still expected, with what they bring.
pub(super) async fn deliveries(
    connection: &mut SqliteConnection,
    codes: &Codes,
) -> Result<Vec<Delivery>, sqlx::Error> {
    let mut brings: BTreeMap<Uuid, Vec<Brings>> = BTreeMap::new();
    let lines = sqlx::query!(
        r#"select delivery_id as "delivery_id: Uuid", kind, powder_id as "powder_id: Uuid", bank_id as "bank_id: Uuid",
             amount, pressure_mbar, use_by_ms, what
           from delivery_line
           where delivery_id in (select id from delivery where state = 'expected')
           order by delivery_id, position"#
    )
    .fetch_all(&mut *connection)
    .await?;
    for line in lines {
        let brought = match (
            line.kind.as_str(),
            line.powder_id,
            line.bank_id,
            line.pressure_mbar,
        ) {
            ("powder", Some(id), _, _) => Brings::Powder {
                powder: code(&codes.powders, id)?,
                grams: line.amount,
                use_by: at_if(line.use_by_ms)?,
            },
            ("gas", _, Some(id), Some(pressure_mbar)) => Brings::Gas {
                bank: code(&codes.banks, id)?,
                bottles: line.amount,
                pressure_mbar,
            },
            ("fuel", ..) => Brings::Fuel { ml: line.amount },
            _ => Brings::Other { what: line.what },
        };
        brings.entry(line.delivery_id).or_default().push(brought);
    }
    sqlx::query!(
        r#"select id as "id: Uuid", code, name, expected_ms, latest_ms, payload_kg
           from delivery where state = 'expected' order by expected_ms"#
    )
    .fetch_all(connection)
    .await?
    .into_iter()
    .map(|row| {
        Ok(Delivery {
            code: word(&row.code)?,
            name: row.name,
            expected: at(row.expected_ms)?,
            latest: at_if(row.latest_ms)?,
            payload_kg: row.payload_kg,
            brings: brings.remove(&row.id).unwrap_or_default(),
        })
    })
    .collect()
}
