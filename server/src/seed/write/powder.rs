//! Powders, and lots with their containers and the movements that say what is on hand.

use super::{Ids, id_of};
use crate::book::{self, Line};
use crate::change::Change;
use crate::error::AppError;
use crate::seed::{SeedContainer, SeedFeeder, SeedLot, SiteData};
use chrono::{DateTime, Utc};
use mendpost_core::journal::Subject;
use mendpost_core::powder::Reason;
use mendpost_core::powder::book::Place;
use serde_json::json;
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
        ids.powders.insert(powder.code.clone(), id);
    }
    Ok(())
}

pub(super) async fn lots(change: &mut Change, data: &SiteData, ids: &Ids) -> Result<(), AppError> {
    for lot in &data.lots {
        let powder = id_of(&ids.powders, &lot.lot.powder)?;
        enter(change, lot, data.feeder.as_ref(), powder).await?;
    }
    Ok(())
}

/// Writes a lot with its containers, and what came and went of it as movements; of what was used, the feeder may
/// hold some.
pub(crate) async fn enter(
    change: &mut Change,
    seed: &SeedLot,
    feeder: Option<&SeedFeeder>,
    powder: Uuid,
) -> Result<(), AppError> {
    let containers: Vec<_> = seed
        .containers
        .iter()
        .map(|c| json!({ "code": c.code, "received_mg": c.received.0, "used_mg": c.used.0 }))
        .collect();
    let lot = &seed.lot;
    let content = json!({
        "powder": lot.powder,
        "state": lot.state,
        "note": lot.state_note,
        "maker_lot": seed.maker_lot,
        "received": seed.received_at.timestamp_millis(),
        "use_by": lot.use_by.map(|t| t.timestamp_millis()),
        "containers": containers,
    });
    let id = insert_lot(change, seed, powder).await?;
    for container in &seed.containers {
        insert_container(change, id, container).await?;
    }
    let subject = Subject::new("lot", &lot.code);
    book::record(
        change,
        "lot.received",
        subject,
        content,
        &lines(seed, feeder),
    )
    .await?;
    Ok(())
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

async fn insert_lot(change: &mut Change, seed: &SeedLot, powder: Uuid) -> Result<Uuid, AppError> {
    let id = Uuid::now_v7();
    let lot = &seed.lot;
    let (code, state) = (lot.code.as_str(), lot.state.as_str());
    let received = seed.received_at.timestamp_millis();
    let use_by = lot.use_by.map(|t| t.timestamp_millis());
    sqlx::query!(
        "insert into lot (id, code, powder_id, state, state_note, maker_lot, received_ms, use_by_ms)
         values (?, ?, ?, ?, ?, ?, ?, ?)",
        id,
        code,
        powder,
        state,
        lot.state_note,
        seed.maker_lot,
        received,
        use_by,
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
    sqlx::query!(
        "insert into container (id, lot_id, code, opened_ms) values (?, ?, ?, ?)",
        id,
        lot,
        code,
        opened,
    )
    .execute(change.connection())
    .await?;
    Ok(())
}
