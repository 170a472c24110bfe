//! Bottles, compressor, set and fuel with what was read off their gauges, and deliveries.

use super::{Ids, id_of};
use crate::change::Change;
use crate::error::AppError;
use crate::seed::SiteData;
use chrono::{DateTime, Utc};
use mendpost_core::journal::Subject;
use mendpost_core::situation::{Bank, Brings, Compressor, Delivery, Fuel};
use serde_json::json;
use uuid::Uuid;

pub(super) async fn supply(
    change: &mut Change,
    data: &SiteData,
    ids: &mut Ids,
) -> Result<(), AppError> {
    for bank in &data.banks {
        let id = insert_bank(change, bank).await?;
        ids.banks.insert(bank.code.clone(), id);
    }
    if let Some(compressor) = &data.compressor {
        insert_compressor(change, compressor).await?;
    }
    insert_fuel(change, &data.fuel).await?;
    if let Some(bore) = &data.nozzle {
        let read = Read {
            what: "nozzle-bore",
            value: bore.value,
            at: bore.read_at,
            by: &bore.read_by,
        };
        reading(change, None, read).await?;
    }
    Ok(())
}

async fn insert_bank(change: &mut Change, bank: &Bank) -> Result<Uuid, AppError> {
    let id = Uuid::now_v7();
    let (code, gas) = (bank.code.as_str(), bank.gas.as_str());
    sqlx::query!(
        "insert into bank (id, code, gas, bottles, bottle_ml, drop_mbar, steady_g_per_day)
         values (?, ?, ?, ?, ?, ?, ?)",
        id,
        code,
        gas,
        bank.bottles,
        bank.bottle_ml,
        bank.drop_mbar,
        bank.steady_g_per_day,
    )
    .execute(change.connection())
    .await?;
    let content = json!({ "gas": gas, "bottles": bank.bottles, "bottle_ml": bank.bottle_ml });
    change
        .journal("bank.listed", Subject::new("bank", code), content)
        .await?;
    for (what, value) in [
        ("bank-pressure", bank.pressure_mbar),
        ("bank-temperature", bank.temperature_mc),
    ] {
        let read = Read {
            what,
            value,
            at: bank.read_at,
            by: &bank.read_by,
        };
        reading(change, Some((id, code)), read).await?;
    }
    Ok(id)
}

async fn insert_compressor(change: &mut Change, it: &Compressor) -> Result<(), AppError> {
    let receiver_ml = it.receiver.map(|r| r.volume_ml);
    let receiver_low_mbar = it.receiver.map(|r| r.low_mbar);
    sqlx::query!(
        "insert into compressor (one, free_air_l_per_min, max_mbar, inlet_c, power_w, service_in_min, receiver_ml,
            receiver_low_mbar)
         values (1, ?, ?, ?, ?, ?, ?, ?)",
        it.free_air_l_per_min,
        it.max_mbar,
        it.inlet_c,
        it.power_w,
        it.service_in_min,
        receiver_ml,
        receiver_low_mbar,
    )
    .execute(change.connection())
    .await?;
    let content = json!({ "free_air_l_per_min": it.free_air_l_per_min, "max_mbar": it.max_mbar });
    change
        .journal("compressor.listed", Subject::new("compressor", 1), content)
        .await?;
    Ok(())
}

async fn insert_fuel(change: &mut Change, fuel: &Fuel) -> Result<(), AppError> {
    sqlx::query!(
        "insert into fuel_set (one, rated_w, ml_per_kwh, idle_ml_per_h_kw, camp_w)
         values (1, ?, ?, ?, ?)",
        fuel.rated_w,
        fuel.ml_per_kwh,
        fuel.idle_ml_per_h_kw,
        fuel.camp_w,
    )
    .execute(change.connection())
    .await?;
    let content = json!({ "rated_w": fuel.rated_w, "camp_w": fuel.camp_w });
    change
        .journal("fuel-set.listed", Subject::new("fuel-set", 1), content)
        .await?;
    let read = Read {
        what: "fuel",
        value: fuel.on_hand_ml,
        at: fuel.read_at,
        by: &fuel.read_by,
    };
    reading(change, None, read).await
}

struct Read<'a> {
    what: &'static str,
    value: i64,
    at: DateTime<Utc>,
    by: &'a str,
}

async fn reading(
    change: &mut Change,
    bank: Option<(Uuid, &str)>,
    read: Read<'_>,
) -> Result<(), AppError> {
    let id = Uuid::now_v7();
    let bank_id = bank.map(|(id, _)| id);
    let at = read.at.timestamp_millis();
    sqlx::query!(
        "insert into reading (id, what, bank_id, value, read_at, read_by) values (?, ?, ?, ?, ?, ?)",
        id,
        read.what,
        bank_id,
        read.value,
        at,
        read.by,
    )
    .execute(change.connection())
    .await?;
    let content = json!({
        "what": read.what,
        "bank": bank.map(|(_, code)| code),
        "value": read.value,
        "read_at": at,
        "read_by": read.by,
    });
    change
        .journal("gauge.read", Subject::new("reading", id), content)
        .await?;
    Ok(())
}

pub(super) async fn deliveries(
    change: &mut Change,
    data: &SiteData,
    ids: &mut Ids,
) -> Result<(), AppError> {
    for delivery in &data.deliveries {
        let id = insert_delivery(change, delivery).await?;
        for (position, brings) in (1_i64..).zip(&delivery.brings) {
            line(change, ids, id, position, brings).await?;
        }
        let content = json!({
            "name": delivery.name,
            "expected": delivery.expected.timestamp_millis(),
            "latest": delivery.latest.map(|t| t.timestamp_millis()),
            "payload_kg": delivery.payload_kg,
            "lines": delivery.brings.len(),
        });
        let subject = Subject::new("delivery", &delivery.code);
        change
            .journal("delivery.announced", subject, content)
            .await?;
        ids.deliveries.insert(delivery.code.clone(), id);
    }
    Ok(())
}

async fn insert_delivery(change: &mut Change, delivery: &Delivery) -> Result<Uuid, AppError> {
    let id = Uuid::now_v7();
    let code = delivery.code.as_str();
    let expected = delivery.expected.timestamp_millis();
    let latest = delivery.latest.map(|t| t.timestamp_millis());
    sqlx::query!(
        "insert into delivery (id, code, name, expected_ms, latest_ms, payload_kg, state)
         values (?, ?, ?, ?, ?, ?, 'expected')",
        id,
        code,
        delivery.name,
        expected,
        latest,
        delivery.payload_kg,
    )
    .execute(change.connection())
    .await?;
    Ok(id)
}

/// The columns of `delivery_line` that depend on what it brings.
#[derive(Default)]
struct Line<'a> {
    kind: &'static str,
    powder: Option<Uuid>,
    bank: Option<Uuid>,
    amount: i64,
    pressure_mbar: Option<i64>,
    use_by: Option<i64>,
    what: &'a str,
}

async fn line(
    change: &mut Change,
    ids: &Ids,
    delivery: Uuid,
    position: i64,
    brings: &Brings,
) -> Result<(), AppError> {
    let id = Uuid::now_v7();
    let line = columns(ids, brings)?;
    sqlx::query!(
        "insert into delivery_line
           (id, delivery_id, position, kind, powder_id, bank_id, amount, pressure_mbar, use_by_ms, what)
         values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        id,
        delivery,
        position,
        line.kind,
        line.powder,
        line.bank,
        line.amount,
        line.pressure_mbar,
        line.use_by,
        line.what,
    )
    .execute(change.connection())
    .await?;
    Ok(())
}

fn columns<'a>(ids: &Ids, brings: &'a Brings) -> Result<Line<'a>, AppError> {
    Ok(match brings {
        Brings::Powder {
            powder,
            grams,
            use_by,
        } => Line {
            kind: "powder",
            powder: Some(id_of(&ids.powders, powder)?),
            amount: *grams,
            use_by: use_by.map(|t| t.timestamp_millis()),
            ..Line::default()
        },
        Brings::Gas {
            bank,
            bottles,
            pressure_mbar,
        } => Line {
            kind: "gas",
            bank: Some(id_of(&ids.banks, bank)?),
            amount: *bottles,
            pressure_mbar: Some(*pressure_mbar),
            ..Line::default()
        },
        Brings::Fuel { ml } => Line {
            kind: "fuel",
            amount: *ml,
            ..Line::default()
        },
        Brings::Other { what } => Line {
            kind: "other",
            what,
            ..Line::default()
        },
    })
}
