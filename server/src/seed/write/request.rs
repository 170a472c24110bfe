//! Requests, the ways in which each may be served, and the yeses given.

use super::{Ids, id_of, optional_id};
use crate::change::Change;
use crate::error::AppError;
use crate::seed::{SeedRequest, SeedYes, SiteData};
use mendpost_core::code::RequestCode;
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
        for yes in &seed.yeses {
            insert_yes(change, id, &request.code, yes).await?;
        }
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

/// The columns of `request_way` that depend on the way.
#[derive(Default)]
struct Columns<'a> {
    kind: &'static str,
    recipe: Option<&'a str>,
    delivery: Option<Uuid>,
    expected: Option<i64>,
    fit_min: Option<i64>,
    crew: Option<i64>,
}

async fn insert_way(
    change: &mut Change,
    request: Uuid,
    position: i64,
    way: &Way,
    ids: &Ids,
) -> Result<(), AppError> {
    let columns = match way {
        Way::Recipe(recipe) => Columns {
            kind: "recipe",
            recipe: Some(recipe.as_str()),
            ..Columns::default()
        },
        Way::TruePart {
            delivery,
            expected,
            fit_min,
            crew,
        } => Columns {
            kind: "true-part",
            recipe: None,
            delivery: optional_id(&ids.deliveries, delivery.as_ref())?,
            expected: Some(expected.timestamp_millis()),
            fit_min: Some(*fit_min),
            crew: Some(*crew),
        },
    };
    sqlx::query!(
        "insert into request_way
           (request_id, position, kind, recipe_code, delivery_id, expected_ms, fit_min, crew)
         values (?, ?, ?, ?, ?, ?, ?, ?)",
        request,
        position,
        columns.kind,
        columns.recipe,
        columns.delivery,
        columns.expected,
        columns.fit_min,
        columns.crew,
    )
    .execute(change.connection())
    .await?;
    Ok(())
}

async fn insert_yes(
    change: &mut Change,
    request_id: Uuid,
    request: &RequestCode,
    seed: &SeedYes,
) -> Result<(), AppError> {
    let id = Uuid::now_v7();
    let yes = &seed.yes;
    let who = yes.who.as_str();
    let until = yes.until.map(|t| t.timestamp_millis());
    let given = seed.given_at.timestamp_millis();
    sqlx::query!(
        "insert into yes (id, request_id, who, name, words, until_ms, given_ms)
         values (?, ?, ?, ?, ?, ?, ?)",
        id,
        request_id,
        who,
        yes.name,
        yes.words,
        until,
        given,
    )
    .execute(change.connection())
    .await?;
    let content = json!({
        "request": request,
        "who": who,
        "name": yes.name,
        "words": yes.words,
        "until": until,
        "given": given,
    });
    change
        .journal("yes.recorded", Subject::new("yes", id), content)
        .await?;
    Ok(())
}
