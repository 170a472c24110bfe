//! Powders, and lots with their containers and the movements that say what is on hand.

use super::{Ids, id_of};
use crate::book::{self, Line};
use crate::certificate::{limits, store as certificate};
use crate::change::Change;
use crate::error::AppError;
use crate::seed::{SeedContainer, SeedFeeder, SeedLot, SiteData};
use chrono::{DateTime, Utc};
use mendpost_core::journal::Subject;
use mendpost_core::powder::book::Place;
use mendpost_core::powder::certificate::{Limits, Within};
use mendpost_core::powder::{Reason, Seal};
use serde_json::{Value, json};
use uuid::Uuid;

pub(super) async fn powders(
    change: &mut Change,
    data: &SiteData,
    ids: &mut Ids,
) -> Result<(), AppError> {
    for powder in &data.powders {
        let id = Uuid::now_v7();
        let code = powder.code.as_str();
        let solid = powder.solid;
        let density = solid.map(|s| s.density_kg_m3);
        let strength = solid.map(|s| s.strength_mpa);
        let melting = solid.map(|s| s.melting_c);
        let cp = solid.map(|s| s.cp_j_kg_k);
        let size = solid.map(|s| s.size_um);
        sqlx::query!(
            "insert into powder
               (id, code, name, density_kg_m3, strength_mpa, melting_c, cp_j_kg_k, size_um)
             values (?, ?, ?, ?, ?, ?, ?, ?)",
            id,
            code,
            powder.name,
            density,
            strength,
            melting,
            cp,
            size,
        )
        .execute(change.connection())
        .await?;
        let content = json!({
            "name": powder.name,
            "density_kg_m3": density,
            "strength_mpa": strength,
            "melting_c": melting,
            "cp_j_kg_k": cp,
            "size_um": size,
        });
        change
            .journal("powder.listed", Subject::new("powder", code), content)
            .await?;
        if let Some((limits, reason)) = data.limits.get(&powder.code) {
            let (none, by) = (Limits::default(), "the site's files");
            limits::say(change, (id, code), (limits, &none), (by, reason)).await?;
        }
        ids.powders.insert(powder.code.clone(), id);
    }
    Ok(())
}

pub(super) async fn lots(change: &mut Change, data: &SiteData, ids: &Ids) -> Result<(), AppError> {
    for lot in &data.lots {
        let powder = id_of(&ids.powders, &lot.lot.powder)?;
        let feeder = data.feeder.as_ref();
        enter(change, lot, feeder, powder, Whence::default()).await?;
    }
    Ok(())
}

/// By whom a lot is entered, and with which receipt it came.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Whence<'a> {
    pub(crate) by: &'a str,
    pub(crate) receipt: Option<(Uuid, i64)>,
}

/// Writes a lot with its containers and certificate, and what came and went of it as movements; of what was used,
/// the feeder may hold some.
pub(crate) async fn enter(
    change: &mut Change,
    seed: &SeedLot,
    feeder: Option<&SeedFeeder>,
    powder: Uuid,
    whence: Whence<'_>,
) -> Result<i64, AppError> {
    let id = insert(change, seed, powder, whence).await?;
    let subject = Subject::new("lot", &seed.lot.code);
    let content = content(seed, whence);
    let lines = lines(seed, feeder);
    let entry = book::record(change, "lot.received", subject, content, &lines).await?;
    if let Some(certificate) = &seed.certificate {
        let by = match whence.by {
            "" => "the site's files",
            by => by,
        };
        certificate::insert(change, id, certificate, by, entry).await?;
    }
    Ok(entry)
}

/// Writes a lot and its containers, and nothing in them.
pub(crate) async fn insert(
    change: &mut Change,
    seed: &SeedLot,
    powder: Uuid,
    whence: Whence<'_>,
) -> Result<Uuid, AppError> {
    let id = insert_lot(change, seed, powder, whence).await?;
    for container in &seed.containers {
        insert_container(change, id, container).await?;
    }
    Ok(id)
}

fn content(seed: &SeedLot, whence: Whence<'_>) -> Value {
    let containers: Vec<_> = seed.containers.iter().map(container_content).collect();
    let (lot, keeping) = (&seed.lot, &seed.keeping);
    json!({
        "powder": lot.powder,
        "state": lot.state,
        "note": lot.state_note,
        "maker_lot": seed.maker_lot,
        "received": seed.received_at.timestamp_millis(),
        "use_by": lot.use_by.map(|t| t.timestamp_millis()),
        "date_kind": keeping.date_kind,
        "made_on": keeping.made_on,
        "storage": keeping.storage,
        "humidity": keeping.humidity,
        "receipt": whence.receipt.map(|(_, number)| number),
        "certificate": seed.certificate.as_ref().map(certificate::content),
        "containers": containers,
    })
}

fn container_content(container: &SeedContainer) -> Value {
    let it = &container.as_it_came;
    json!({
        "code": container.code,
        "received_mg": container.received.0,
        "used_mg": container.used.0,
        "seal": it.seal,
        "seal_state": it.seal_state,
        "gross_mg": it.gross.map(|mass| mass.0),
        "tare_mg": it.tare.map(|mass| mass.0),
        "damage": it.damage,
    })
}

/// What came into the containers of a lot, and what was used of it before; of that, the feeder may hold some.
fn lines<'a>(seed: &SeedLot, feeder: Option<&SeedFeeder>) -> Vec<Line<'a>> {
    let mut lines = Vec::new();
    for container in &seed.containers {
        let held = || Place::Container(container.code.clone());
        let mut line = |from, to, mass: i64, reason, note, at: DateTime<Utc>| {
            if mass > 0 {
                let movement = book::movement(&seed.lot.code, from, to, mass, reason);
                let at_ms = at.timestamp_millis();
                lines.push(Line {
                    movement,
                    note,
                    at_ms,
                });
            }
        };
        let (came, used) = (container.received.0, container.used.0);
        line(
            Place::Depot,
            held(),
            came,
            Reason::Receipt,
            "",
            seed.received_at,
        );
        let Some(opened) = container.opened_at else {
            continue;
        };
        let fed = feeder.filter(|fed| fed.container == container.code);
        let fed = fed.map_or(0, |fed| fed.mass.0);
        line(
            held(),
            Place::Before,
            used - fed,
            Reason::Before,
            "",
            opened,
        );
        let note = "in the feeder when the book began";
        line(held(), Place::Feeder, fed, Reason::Draw, note, opened);
    }
    lines
}

async fn insert_lot(
    change: &mut Change,
    seed: &SeedLot,
    powder: Uuid,
    whence: Whence<'_>,
) -> Result<Uuid, AppError> {
    let id = Uuid::now_v7();
    let (lot, keeping) = (&seed.lot, &seed.keeping);
    let (code, state) = (lot.code.as_str(), lot.state.as_str());
    let received = seed.received_at.timestamp_millis();
    let use_by = lot.use_by.map(|t| t.timestamp_millis());
    let receipt = whence.receipt.map(|(id, _)| id);
    let made_on = keeping.made_on.map(|day| day.to_string());
    let date_kind = keeping.date_kind.as_str();
    let Within { min, max } = keeping.humidity;
    sqlx::query!(
        "insert into lot (id, code, powder_id, state, state_note, maker_lot, received_ms, use_by_ms, receipt_id,
           made_on, date_kind, storage, humidity_min, humidity_max)
         values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        id,
        code,
        powder,
        state,
        lot.state_note,
        seed.maker_lot,
        received,
        use_by,
        receipt,
        made_on,
        date_kind,
        keeping.storage,
        min,
        max,
    )
    .execute(change.connection())
    .await?;
    Ok(id)
}

async fn insert_container(
    change: &mut Change,
    lot: Uuid,
    container: &SeedContainer,
) -> Result<(), AppError> {
    let id = Uuid::now_v7();
    let opened = container.opened_at.map(|t| t.timestamp_millis());
    let code = container.code.as_str();
    let it = &container.as_it_came;
    let seal_state = it.seal_state.map(Seal::as_str);
    let (gross, tare) = (it.gross.map(|mass| mass.0), it.tare.map(|mass| mass.0));
    sqlx::query!(
        "insert into container (id, lot_id, code, opened_ms, tare_mg, seal, seal_state, gross_mg, damage)
         values (?, ?, ?, ?, ?, ?, ?, ?, ?)",
        id,
        lot,
        code,
        opened,
        tare,
        it.seal,
        seal_state,
        gross,
        it.damage,
    )
    .execute(change.connection())
    .await?;
    Ok(())
}
