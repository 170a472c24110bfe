//! Powders, and lots with their containers and the movements that say what is on hand.

use super::{Ids, id_of};
use crate::change::Change;
use crate::error::AppError;
use crate::seed::{SeedContainer, SeedLot, SiteData};
use chrono::{DateTime, Utc};
use mendpost_core::journal::Subject;
use mendpost_core::powder::MovementReason;
use mendpost_core::quantity::Milligrams;
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
        let containers: Vec<_> = lot
            .containers
            .iter()
            .map(|c| json!({ "code": c.code, "received_mg": c.received.0, "used_mg": c.used.0 }))
            .collect();
        let content = json!({
            "powder": lot.lot.powder,
            "state": lot.lot.state,
            "note": lot.lot.state_note,
            "maker_lot": lot.maker_lot,
            "received": lot.received_at.timestamp_millis(),
            "use_by": lot.lot.use_by.map(|t| t.timestamp_millis()),
            "containers": containers,
        });
        let subject = Subject::new("lot", &lot.lot.code);
        let sequence = change.journal("lot.received", subject, content).await?;
        enter(change, lot, id_of(&ids.powders, &lot.lot.powder)?, sequence).await?;
    }
    Ok(())
}

/// Writes a lot with its containers, and what came and went as movements of the journal entry that says
/// so.
pub(crate) async fn enter(
    change: &mut Change,
    lot: &SeedLot,
    powder: Uuid,
    sequence: i64,
) -> Result<(), AppError> {
    let id = insert_lot(change, lot, powder).await?;
    for container in &lot.containers {
        insert_container(change, id, lot, container, sequence).await?;
    }
    Ok(())
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
    lot_id: Uuid,
    lot: &SeedLot,
    container: &SeedContainer,
    sequence: i64,
) -> Result<(), AppError> {
    let id = Uuid::now_v7();
    let opened = container.opened_at.map(|t| t.timestamp_millis());
    sqlx::query!(
        "insert into container (id, lot_id, code, opened_ms) values (?, ?, ?, ?)",
        id,
        lot_id,
        container.code,
        opened,
    )
    .execute(change.connection())
    .await?;
    let receipt = Movement {
        mass: container.received,
        reason: MovementReason::Receipt,
        note: "",
        at: lot.received_at,
    };
    movement(change, id, sequence, receipt).await?;
    let Some(at) = container.opened_at.filter(|_| container.used.0 > 0) else {
        return Ok(());
    };
    let use_before = Movement {
        mass: Milligrams(-container.used.0),
        reason: MovementReason::Draw,
        note: "used before this book began",
        at,
    };
    movement(change, id, sequence, use_before).await
}

struct Movement {
    mass: Milligrams,
    reason: MovementReason,
    note: &'static str,
    at: DateTime<Utc>,
}

async fn movement(
    change: &mut Change,
    container: Uuid,
    sequence: i64,
    movement: Movement,
) -> Result<(), AppError> {
    let id = Uuid::now_v7();
    let (mass, reason) = (movement.mass.0, movement.reason.as_str());
    let at = movement.at.timestamp_millis();
    sqlx::query!(
        "insert into movement (id, container_id, milligrams, reason, note, at_ms, journal_sequence)
         values (?, ?, ?, ?, ?, ?, ?)",
        id,
        container,
        mass,
        reason,
        movement.note,
        at,
        sequence,
    )
    .execute(change.connection())
    .await?;
    Ok(())
}
