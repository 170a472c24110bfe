//! Parts with their flags, and every revision of every recipe.

use super::{Ids, id_of, optional_id};
use crate::catalogue::queries::{NewWeighed, enter, throat_um};
use crate::change::Change;
use crate::error::AppError;
use crate::seed::SiteData;
use mendpost_core::catalogue::{Operation, Part, Recipe, Spray};
use mendpost_core::journal::Subject;
use serde_json::json;
use uuid::Uuid;

pub(super) async fn metals(
    change: &mut Change,
    data: &SiteData,
    ids: &mut Ids,
) -> Result<(), AppError> {
    for metal in &data.metals {
        let (id, code) = (Uuid::now_v7(), metal.code.as_str());
        sqlx::query!(
            "insert into metal (id, code, name) values (?, ?, ?)",
            id,
            code,
            metal.name
        )
        .execute(change.connection())
        .await?;
        let content = json!({ "name": metal.name });
        let subject = Subject::new("metal", code);
        change.journal("metal.listed", subject, content).await?;
        ids.metals.insert(metal.code.clone(), id);
    }
    Ok(())
}

pub(super) async fn parts(
    change: &mut Change,
    data: &SiteData,
    ids: &mut Ids,
) -> Result<(), AppError> {
    for part in &data.parts {
        let id = insert_part(change, part).await?;
        let content = json!({
            "name": part.name,
            "envelope_mm": part.envelope_mm,
            "mass_g": part.mass_g,
            "flags": part.flags,
        });
        let subject = Subject::new("part", &part.code);
        change.journal("part.listed", subject, content).await?;
        ids.parts.insert(part.code.clone(), id);
    }
    Ok(())
}

pub(crate) async fn insert_part(change: &mut Change, part: &Part) -> Result<Uuid, AppError> {
    let id = Uuid::now_v7();
    let code = part.code.as_str();
    let [x, y, z] = part.envelope_mm;
    sqlx::query!(
        "insert into part (id, code, name, x_mm, y_mm, z_mm, mass_g) values (?, ?, ?, ?, ?, ?, ?)",
        id,
        code,
        part.name,
        x,
        y,
        z,
        part.mass_g,
    )
    .execute(change.connection())
    .await?;
    insert_flags(change, id, part).await?;
    Ok(id)
}

pub(crate) async fn insert_flags(
    change: &mut Change,
    id: Uuid,
    part: &Part,
) -> Result<(), AppError> {
    for flag in &part.flags {
        let flag = flag.as_str();
        sqlx::query!(
            "insert into part_flag (part_id, flag) values (?, ?)",
            id,
            flag
        )
        .execute(change.connection())
        .await?;
    }
    Ok(())
}

pub(super) async fn recipes(
    change: &mut Change,
    data: &SiteData,
    ids: &Ids,
) -> Result<(), AppError> {
    for recipe in &data.recipes {
        enter_recipe(change, recipe, ids).await?;
        let content = json!({
            "part": recipe.part,
            "revision": recipe.revision,
            "state": recipe.state,
            "written_by": recipe.written_by,
            "approved_by": recipe.approved_by,
            "base_metals": recipe.base_metals,
            "operations": recipe.operations.len(),
        });
        let subject = Subject::new("recipe", format!("{}/{}", recipe.code, recipe.revision));
        change.journal("recipe.entered", subject, content).await?;
    }
    Ok(())
}

/// Writes a revision with its operations and what they spray.
pub(crate) async fn enter_recipe(
    change: &mut Change,
    recipe: &Recipe,
    ids: &Ids,
) -> Result<(), AppError> {
    let id = insert_recipe(change, recipe, ids).await?;
    for (position, operation) in (1_i64..).zip(&recipe.operations) {
        insert_operation(change, id, position, operation, ids).await?;
        if let Some(spray) = &operation.spray {
            insert_spray(change, id, position, spray, ids).await?;
        }
    }
    Ok(())
}

async fn insert_recipe(change: &mut Change, recipe: &Recipe, ids: &Ids) -> Result<Uuid, AppError> {
    let id = Uuid::now_v7();
    let (code, state) = (recipe.code.as_str(), recipe.state.as_str());
    let part = id_of(&ids.parts, &recipe.part)?;
    sqlx::query!(
        "insert into recipe (id, code, part_id, revision, state, written_by, approved_by)
         values (?, ?, ?, ?, ?, ?, ?)",
        id,
        code,
        part,
        recipe.revision,
        state,
        recipe.written_by,
        recipe.approved_by,
    )
    .execute(change.connection())
    .await?;
    for metal in &recipe.base_metals {
        let metal = id_of(&ids.metals, metal)?;
        sqlx::query!(
            "insert into recipe_base_metal (recipe_id, metal_id) values (?, ?)",
            id,
            metal
        )
        .execute(change.connection())
        .await?;
    }
    Ok(id)
}

async fn insert_operation(
    change: &mut Change,
    recipe: Uuid,
    position: i64,
    operation: &Operation,
    ids: &Ids,
) -> Result<(), AppError> {
    let kind = operation.kind.as_str();
    let station = optional_id(&ids.stations, operation.station.as_ref())?;
    sqlx::query!(
        "insert into recipe_operation
           (recipe_id, position, kind, name, station_id, minutes, crew, after_min)
         values (?, ?, ?, ?, ?, ?, ?, ?)",
        recipe,
        position,
        kind,
        operation.name,
        station,
        operation.minutes,
        operation.crew,
        operation.after_min,
    )
    .execute(change.connection())
    .await?;
    Ok(())
}

async fn insert_spray(
    change: &mut Change,
    recipe: Uuid,
    position: i64,
    spray: &Spray,
    ids: &Ids,
) -> Result<(), AppError> {
    let powder = id_of(&ids.powders, &spray.powder)?;
    let gas = spray.gas.as_str();
    sqlx::query!(
        "insert into recipe_spray
           (recipe_id, position, powder_id, deposited_g, one_lot, gas, pressure_mbar, temperature_c,
            feed_g_per_min, efficiency_permille, efficiency_sd_permille, approval_builds,
            start_stop_loss_g, coupon_g, handling_min, gas_only_min)
         values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        recipe,
        position,
        powder,
        spray.deposited_g,
        spray.one_lot,
        gas,
        spray.pressure_mbar,
        spray.temperature_c,
        spray.feed_g_per_min,
        spray.efficiency_permille,
        spray.efficiency_sd_permille,
        spray.approval_builds,
        spray.start_stop_loss_g,
        spray.coupon_g,
        spray.handling_min,
        spray.gas_only_min,
    )
    .execute(change.connection())
    .await?;
    Ok(())
}

pub(super) async fn weighed(change: &mut Change, data: &SiteData) -> Result<(), AppError> {
    for build in &data.weighed {
        let built_ms = build.built_at.timestamp_millis();
        let throat_um = match build.throat_um {
            Some(told) => told,
            None => throat_um(change.connection(), built_ms).await?,
        };
        let new = NewWeighed {
            recipe: build.recipe.as_str(),
            revision: build.revision,
            position: build.position,
            fed_mg: build.fed.0,
            deposited_mg: build.deposited.0,
            lot: build.lot.as_ref().map(|lot| lot.as_str()),
            throat_um,
            request: None,
            built_ms,
            by: &build.weighed_by,
            note: &build.note,
        };
        enter(change, &new).await?;
    }
    Ok(())
}
