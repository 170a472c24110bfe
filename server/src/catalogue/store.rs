//! Parts and recipes as rows: written whole, by the codes of what they name.

use mendpost_core::catalogue::{Operation, Part, Recipe, Spray};
use serde_json::{Value, json};
use uuid::Uuid;

use crate::change::Change;
use crate::error::AppError;

/// What is said of a part, as the journal has it.
pub fn said(part: &Part, version: i64) -> Value {
    json!({
        "version": version,
        "name": part.name,
        "envelope_mm": part.envelope_mm,
        "mass_g": part.mass_g,
        "flags": part.flags,
        "assets": part.assets,
        "allowance_um": part.allowance_um,
    })
}

/// Writes a part that is not listed yet; its id.
pub async fn insert_part(change: &mut Change, part: &Part) -> Result<Uuid, AppError> {
    let id = Uuid::now_v7();
    insert_parts(change, &[(id, part)]).await?;
    Ok(id)
}

/// Writes what is said of a part now; its code stays.
pub async fn update_part(change: &mut Change, id: Uuid, part: &Part) -> Result<(), AppError> {
    update_parts(change, &[(id, part)]).await
}

/// Writes parts that are not listed yet. However many they are, each table is written by one statement.
pub async fn insert_parts(change: &mut Change, parts: &[(Uuid, &Part)]) -> Result<(), AppError> {
    let rows = rows(parts);
    sqlx::query!(
        "insert into part (id, code, name, x_mm, y_mm, z_mm, mass_g, allowance_um)
         select unhex(value ->> 'id', '-'), value ->> 'code', value ->> 'name', value ->> '$.envelope_mm[0]',
           value ->> '$.envelope_mm[1]', value ->> '$.envelope_mm[2]', value ->> 'mass_g',
           value ->> 'allowance_um'
         from json_each(?)",
        rows
    )
    .execute(change.connection())
    .await?;
    insert_part_lists(change, &rows).await
}

/// Writes what is said of parts now, as [`insert_parts`].
pub async fn update_parts(change: &mut Change, parts: &[(Uuid, &Part)]) -> Result<(), AppError> {
    let rows = rows(parts);
    sqlx::query!(
        "update part
         set name = value ->> 'name', x_mm = value ->> '$.envelope_mm[0]', y_mm = value ->> '$.envelope_mm[1]',
           z_mm = value ->> '$.envelope_mm[2]', mass_g = value ->> 'mass_g',
           allowance_um = value ->> 'allowance_um', version = version + 1
         from json_each(?)
         where part.id = unhex(value ->> 'id', '-')",
        rows
    )
    .execute(change.connection())
    .await?;
    sqlx::query!(
        "delete from part_flag where part_id in (select unhex(value ->> 'id', '-') from json_each(?))",
        rows
    )
    .execute(change.connection())
    .await?;
    sqlx::query!(
        "delete from part_asset where part_id in (select unhex(value ->> 'id', '-') from json_each(?))",
        rows
    )
    .execute(change.connection())
    .await?;
    insert_part_lists(change, &rows).await
}

fn rows(parts: &[(Uuid, &Part)]) -> String {
    let row = |(id, part): &(Uuid, &Part)| {
        json!({
            "id": id,
            "code": part.code,
            "name": part.name,
            "envelope_mm": part.envelope_mm,
            "mass_g": part.mass_g,
            "allowance_um": part.allowance_um,
            "flags": part.flags,
            "assets": part.assets,
        })
    };
    Value::from_iter(parts.iter().map(row)).to_string()
}

async fn insert_part_lists(change: &mut Change, rows: &str) -> Result<(), AppError> {
    sqlx::query!(
        "insert into part_flag (part_id, flag)
         select unhex(part.value ->> 'id', '-'), flag.value
         from json_each(?) as part, json_each(part.value, '$.flags') as flag",
        rows
    )
    .execute(change.connection())
    .await?;
    sqlx::query!(
        "insert into part_asset (part_id, asset_id)
         select unhex(part.value ->> 'id', '-'), (select id from asset where code = fits.value)
         from json_each(?) as part, json_each(part.value, '$.assets') as fits",
        rows
    )
    .execute(change.connection())
    .await?;
    Ok(())
}

/// Writes a revision that is not there yet.
pub async fn insert_recipe(change: &mut Change, recipe: &Recipe) -> Result<Uuid, AppError> {
    let id = Uuid::now_v7();
    let (code, state) = (recipe.code.as_str(), recipe.state.as_str());
    let part = recipe.part.as_str();
    let text = &recipe.text;
    sqlx::query!(
        "insert into recipe
           (id, code, part_id, revision, state, written_by, approved_by, coupons, inspection, notes,
            expected, basis)
         values (?, ?, (select id from part where code = ?), ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        id,
        code,
        part,
        recipe.revision,
        state,
        recipe.written_by,
        recipe.approved_by,
        text.coupons,
        text.inspection,
        text.notes,
        text.expected,
        text.basis,
    )
    .execute(change.connection())
    .await?;
    insert_recipe_lists(change, id, recipe).await?;
    Ok(id)
}

/// Writes all that a draft says now; its version goes up by one.
pub async fn rewrite(change: &mut Change, id: Uuid, recipe: &Recipe) -> Result<(), AppError> {
    let text = &recipe.text;
    sqlx::query!(
        "update recipe set coupons = ?, inspection = ?, notes = ?, version = version + 1 where id = ?",
        text.coupons,
        text.inspection,
        text.notes,
        id,
    )
    .execute(change.connection())
    .await?;
    sqlx::query!("delete from recipe_base_metal where recipe_id = ?", id)
        .execute(change.connection())
        .await?;
    sqlx::query!("delete from recipe_flag where recipe_id = ?", id)
        .execute(change.connection())
        .await?;
    sqlx::query!("delete from recipe_size where recipe_id = ?", id)
        .execute(change.connection())
        .await?;
    sqlx::query!("delete from recipe_coupon where recipe_id = ?", id)
        .execute(change.connection())
        .await?;
    sqlx::query!("delete from recipe_spray where recipe_id = ?", id)
        .execute(change.connection())
        .await?;
    sqlx::query!("delete from recipe_operation where recipe_id = ?", id)
        .execute(change.connection())
        .await?;
    insert_recipe_lists(change, id, recipe).await
}

async fn insert_recipe_lists(
    change: &mut Change,
    id: Uuid,
    recipe: &Recipe,
) -> Result<(), AppError> {
    for metal in &recipe.base_metals {
        let metal = metal.as_str();
        sqlx::query!(
            "insert into recipe_base_metal (recipe_id, metal_id)
             values (?, (select id from metal where code = ?))",
            id,
            metal
        )
        .execute(change.connection())
        .await?;
    }
    for flag in &recipe.flags {
        let flag = flag.as_str();
        sqlx::query!(
            "insert into recipe_flag (recipe_id, flag) values (?, ?)",
            id,
            flag
        )
        .execute(change.connection())
        .await?;
    }
    insert_limits(change, id, recipe).await?;
    for (position, operation) in (1_i64..).zip(&recipe.operations) {
        insert_operation(change, id, position, operation).await?;
        if let Some(spray) = &operation.spray {
            insert_spray(change, id, position, spray).await?;
        }
    }
    Ok(())
}

/// What is measured of its part, and what is expected of its coupons.
async fn insert_limits(change: &mut Change, id: Uuid, recipe: &Recipe) -> Result<(), AppError> {
    for (position, size) in (1_i64..).zip(&recipe.sizes) {
        let unit = size.unit.as_str();
        sqlx::query!(
            "insert into recipe_size (recipe_id, position, name, nominal_nm, lower_nm, upper_nm, unit)
             values (?, ?, ?, ?, ?, ?, ?)",
            id,
            position,
            size.name,
            size.nominal.0,
            size.lower.0,
            size.upper.0,
            unit,
        )
        .execute(change.connection())
        .await?;
    }
    for (position, expected) in (1_i64..).zip(&recipe.coupons) {
        let (property, condition) = (expected.property.as_str(), expected.condition.as_str());
        sqlx::query!(
            "insert into recipe_coupon (recipe_id, position, property, condition, least, most, load_gf)
             values (?, ?, ?, ?, ?, ?, ?)",
            id,
            position,
            property,
            condition,
            expected.least,
            expected.most,
            expected.load_gf,
        )
        .execute(change.connection())
        .await?;
    }
    Ok(())
}

async fn insert_operation(
    change: &mut Change,
    recipe: Uuid,
    position: i64,
    operation: &Operation,
) -> Result<(), AppError> {
    let kind = operation.kind.as_str();
    let station = operation.station.as_ref().map(|code| code.as_str());
    let plate = operation.plate.as_ref().map(|code| code.as_str());
    let held = operation.fixture.as_ref();
    let fixture = held.map(|held| held.fixture.as_str());
    let through = held.map(|held| i64::try_from(held.through));
    let through = through.transpose().map_err(AppError::internal)?;
    let minutes = operation.away_days.map_or(operation.minutes, |_| 1);
    sqlx::query!(
        "insert into recipe_operation
           (recipe_id, position, kind, name, station_id, minutes, crew, after_min, within_min, plate_id, fixture_id,
            held_through, away_days, cycle)
         values (?, ?, ?, ?, (select id from station where code = ?), ?, ?, ?, ?,
           (select id from kit where code = ?), (select id from kit where code = ?), ?, ?, ?)",
        recipe,
        position,
        kind,
        operation.name,
        station,
        minutes,
        operation.crew,
        operation.after_min,
        operation.within_min,
        plate,
        fixture,
        through,
        operation.away_days,
        operation.cycle,
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
) -> Result<(), AppError> {
    let (powder, gas) = (spray.powder.as_str(), spray.gas.as_str());
    let volume_mm3 = spray.volume.map(|v| v.mm3);
    let porosity = spray.volume.map(|v| v.porosity_permille);
    let motion = &spray.motion;
    sqlx::query!(
        "insert into recipe_spray
           (recipe_id, position, powder_id, deposited_g, volume_mm3, porosity_permille, one_lot, gas,
            pressure_mbar, temperature_c, feed_g_per_min, efficiency_permille, efficiency_sd_permille,
            approval_builds, start_stop_loss_g, coupon_g, handling_min, gas_only_min, nozzle, standoff_um,
            traverse_mm_s, spacing_um, preheat_c, passes)
         values (?, ?, (select id from powder where code = ?), ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?,
           ?, ?, ?, ?, ?)",
        recipe,
        position,
        powder,
        spray.deposited_g,
        volume_mm3,
        porosity,
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
        motion.nozzle,
        motion.standoff_um,
        motion.traverse_mm_s,
        motion.spacing_um,
        motion.preheat_c,
        motion.passes,
    )
    .execute(change.connection())
    .await?;
    Ok(())
}
