//! Requests, the ways in which each may be served, and the answers given.

use super::{Ids, id_of, optional_id};
use crate::change::Change;
use crate::error::AppError;
use crate::interim::{Released, record};
use crate::requests::{self, NewAnswer};
use crate::seed::{SeedAnswer, SeedRequest, SiteData};
use mendpost_core::code::{PartCode, RequestCode};
use mendpost_core::journal::Subject;
use mendpost_core::situation::Way;
use serde_json::json;
use uuid::Uuid;

pub(super) async fn requests(
    change: &mut Change,
    data: &SiteData,
    ids: &Ids,
) -> Result<(), AppError> {
    for seed in &data.requests {
        let id = insert_request(change, seed, ids).await?;
        for (position, way) in (1_i64..).zip(&seed.request.ways) {
            insert_way(change, id, position, way, ids).await?;
        }
        let request = &seed.request;
        let content = json!({
            "asset": request.asset,
            "part": request.part,
            "part_name": request.part_name,
            "damage": request.damage,
            "description": request.description,
            "base_metal": request.base_metal.as_ref().map(|m| &m.metal),
            "base_metal_known": request.base_metal.as_ref().map(|m| m.known),
            "asked_by": request.asked_by,
            "ways": request.ways.len(),
        });
        let subject = Subject::new("request", &request.code);
        change.journal("request.filed", subject, content).await?;
        if let Some((by, reason)) = &seed.sorted {
            insert_sorted(change, id, &request.code, by, reason).await?;
        }
        for answer in &seed.answers {
            insert_answer(change, id, &request.code, answer).await?;
        }
    }
    Ok(())
}

/// Interim parts, each with the request for what replaces it. Who let one go counts as who entered it.
pub(super) async fn interims(change: &mut Change, data: &SiteData) -> Result<(), AppError> {
    for seed in &data.interims {
        let released = Released {
            request: None,
            asset: seed.asset.as_str(),
            part: seed.part.as_ref().map(PartCode::as_str),
            part_name: &seed.part_name,
            place: &seed.place,
            since: seed.since,
            end: seed.end,
            owner: &seed.owner,
            plan: &seed.plan,
            released_by: &seed.released_by,
        };
        record(change, &released, &seed.released_by).await?;
    }
    Ok(())
}

async fn insert_request(
    change: &mut Change,
    seed: &SeedRequest,
    ids: &Ids,
) -> Result<Uuid, AppError> {
    let id = Uuid::now_v7();
    let request = &seed.request;
    let asset = id_of(&ids.assets, &request.asset)?;
    let part = optional_id(&ids.parts, request.part.as_ref())?;
    let damage = request.damage.as_str();
    let reported = request.reported_at.timestamp_millis();
    let needed_by = request.needed_by.map(|t| t.timestamp_millis());
    let metals = request.base_metal.as_ref();
    let base_metal = optional_id(&ids.metals, metals.map(|m| &m.metal))?;
    let metal_known = metals.is_some_and(|m| m.known);
    let at_cell = request.at_cell_from.map(|t| t.timestamp_millis());
    sqlx::query!(
        "insert into request (id, number, asset_id, part_id, part_name, damage, description,
           reported_ms, reported_by, asked_by, needed_by_ms, danger, at_cell_ms,
           base_metal_id, base_metal_known, state)
         values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, 'open')",
        id,
        seed.number,
        asset,
        part,
        request.part_name,
        damage,
        request.description,
        reported,
        seed.reported_by,
        request.asked_by,
        needed_by,
        request.danger,
        at_cell,
        base_metal,
        metal_known,
    )
    .execute(change.connection())
    .await?;
    Ok(id)
}

async fn insert_way(
    change: &mut Change,
    request: Uuid,
    position: i64,
    way: &Way,
    ids: &Ids,
) -> Result<(), AppError> {
    let delivery = match way {
        Way::TruePart { delivery, .. } => optional_id(&ids.deliveries, delivery.as_ref())?,
        Way::Recipe(_) | Way::StandIn(_) => None,
    };
    requests::insert_way(change.connection(), request, position, way, delivery, "").await?;
    Ok(())
}

async fn insert_sorted(
    change: &mut Change,
    id: Uuid,
    request: &RequestCode,
    by: &str,
    reason: &str,
) -> Result<(), AppError> {
    let content = json!({ "reason": reason, "by": by });
    let subject = Subject::new("request", request);
    let journal = change.journal("request.sorted", subject, content).await?;
    let now = change.now();
    sqlx::query!(
        "insert into request_decision (journal_sequence, request_id, decision, reason, decided_by, decided_ms)
         values (?, ?, 'sorted', ?, ?, ?)",
        journal,
        id,
        reason,
        by,
        now,
    )
    .execute(change.connection())
    .await?;
    Ok(())
}

async fn insert_answer(
    change: &mut Change,
    request_id: Uuid,
    request: &RequestCode,
    seed: &SeedAnswer,
) -> Result<(), AppError> {
    let new = NewAnswer {
        answer: seed.answer.clone(),
        next_look: String::new(),
        given_ms: seed.given_at.timestamp_millis(),
        typed_by: String::new(),
        paper: None,
    };
    let id = requests::insert_answer(change.connection(), request_id, &new).await?;
    let mut content = new.content();
    content["request"] = json!(request);
    change
        .journal("answer.recorded", Subject::new("answer", id), content)
        .await?;
    Ok(())
}
