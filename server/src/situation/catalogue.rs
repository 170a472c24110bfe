use std::collections::{BTreeMap, BTreeSet};

use mendpost_core::catalogue::{
    Flag, Metal, Operation, Part, Recipe, RecipeState, Spray, WeighedBuild,
};
use mendpost_core::code::{MetalCode, PowderCode, RecipeCode};
use mendpost_core::quantity::Milligrams;
use sqlx::SqliteConnection;
use uuid::Uuid;

use super::{Codes, code, word};

/// Parts, and of each recipe the newest revision, with the approved one where that is older.
pub(super) async fn load(
    connection: &mut SqliteConnection,
    codes: &Codes,
) -> Result<(Vec<Part>, Vec<Recipe>), sqlx::Error> {
    let recipes = recipes(connection, codes, Revisions::InUse).await?;
    Ok((parts(connection).await?, recipes))
}

/// The metals known, by code.
pub(super) async fn metals(connection: &mut SqliteConnection) -> Result<Vec<Metal>, sqlx::Error> {
    sqlx::query!("select code, name from metal order by code")
        .fetch_all(connection)
        .await?
        .into_iter()
        .map(|row| {
            Ok(Metal {
                code: word(&row.code)?,
                name: row.name,
            })
        })
        .collect()
}

pub(crate) async fn parts(connection: &mut SqliteConnection) -> Result<Vec<Part>, sqlx::Error> {
    let mut flags: BTreeMap<Uuid, BTreeSet<Flag>> = BTreeMap::new();
    let rows = sqlx::query!(r#"select part_id as "part_id: Uuid", flag from part_flag"#)
        .fetch_all(&mut *connection)
        .await?;
    for row in rows {
        flags
            .entry(row.part_id)
            .or_default()
            .insert(word(&row.flag)?);
    }
    sqlx::query!(
        r#"select id as "id: Uuid", code, name, x_mm, y_mm, z_mm, mass_g from part order by code"#
    )
    .fetch_all(connection)
    .await?
    .into_iter()
    .map(|row| {
        Ok(Part {
            code: word(&row.code)?,
            name: row.name,
            envelope_mm: [row.x_mm, row.y_mm, row.z_mm],
            mass_g: row.mass_g,
            flags: flags.remove(&row.id).unwrap_or_default(),
        })
    })
    .collect()
}

/// Which revisions of a recipe are read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Revisions {
    /// The newest, with the approved one where that is older.
    InUse,
    Every,
}

pub(super) async fn recipes(
    connection: &mut SqliteConnection,
    codes: &Codes,
    revisions: Revisions,
) -> Result<Vec<Recipe>, sqlx::Error> {
    let every = revisions == Revisions::Every;
    let mut operations = operations(connection, codes).await?;
    let weighed = weighed(connection, codes).await?;
    let mut base_metals = base_metals(connection, codes).await?;
    let rows = sqlx::query!(
        r#"select id as "id: Uuid", code, part_id as "part_id: Uuid", revision, state, written_by, approved_by
           from recipe r
           where ? or state = 'approved'
             or revision = (select max(revision) from recipe where code = r.code)
             or exists (select 1 from work_done w join request q on q.id = w.request_id
                where w.recipe_id = r.id and q.state = 'open')
           order by code, revision"#,
        every
    )
    .fetch_all(connection)
    .await?;
    rows.into_iter()
        .map(|row| {
            let mut recipe = Recipe {
                code: word(&row.code)?,
                part: code(&codes.parts, row.part_id)?,
                revision: row.revision,
                state: word::<RecipeState>(&row.state)?,
                written_by: row.written_by,
                approved_by: row.approved_by,
                base_metals: base_metals.remove(&row.id).unwrap_or_default(),
                operations: operations.remove(&row.id).unwrap_or_default(),
            };
            add_weighed(&mut recipe, &weighed);
            Ok(recipe)
        })
        .collect()
}

async fn base_metals(
    connection: &mut SqliteConnection,
    codes: &Codes,
) -> Result<BTreeMap<Uuid, BTreeSet<MetalCode>>, sqlx::Error> {
    let rows = sqlx::query!(
        r#"select recipe_id as "recipe_id: Uuid", metal_id as "metal_id: Uuid" from recipe_base_metal"#
    )
    .fetch_all(connection)
    .await?;
    let mut metals: BTreeMap<Uuid, BTreeSet<MetalCode>> = BTreeMap::new();
    for row in rows {
        let metal = code(&codes.metals, row.metal_id)?;
        metals.entry(row.recipe_id).or_default().insert(metal);
    }
    Ok(metals)
}

/// A stage of a recipe whatever its revision: its place among the stages, from 1, and what it sprays.
type Stage = (RecipeCode, i64, PowderCode);

fn add_weighed(recipe: &mut Recipe, weighed: &BTreeMap<Stage, Vec<WeighedBuild>>) {
    let sprays = recipe
        .operations
        .iter_mut()
        .filter_map(|o| o.spray.as_mut());
    for (number, spray) in (1..).zip(sprays) {
        let stage = (recipe.code.clone(), number, spray.powder.clone());
        spray.weighed = weighed.get(&stage).cloned().unwrap_or_default();
    }
}

/// Weighed builds that are not struck out, in the order in which they were entered. Those of earlier
/// revisions count with the same stage of the present one, if it sprays the same powder.
async fn weighed(
    connection: &mut SqliteConnection,
    codes: &Codes,
) -> Result<BTreeMap<Stage, Vec<WeighedBuild>>, sqlx::Error> {
    let rows = sqlx::query!(
        r#"select r.code as "code!: String", s.powder_id as "powder_id!: Uuid", l.code as "lot?: String",
             w.fed_mg as "fed_mg!: i64", w.deposited_mg as "deposited_mg!: i64", w.gas as "gas!: String",
             w.pressure_mbar as "pressure_mbar!: i64", w.temperature_c as "temperature_c!: i64",
             w.throat_um as "throat_um!: i64",
             (select count(*) from recipe_spray before
              where before.recipe_id = w.recipe_id and before.position <= w.position) as "number!: i64"
           from weighed_build w
           join recipe r on r.id = w.recipe_id
           join recipe_spray s on s.recipe_id = w.recipe_id and s.position = w.position
           left join lot l on l.id = w.lot_id
           where not exists (select 1 from struck_out where build_id = w.id)
           order by w.number"#
    )
    .fetch_all(connection)
    .await?;
    let mut weighed: BTreeMap<Stage, Vec<WeighedBuild>> = BTreeMap::new();
    for row in rows {
        let stage = (
            word(&row.code)?,
            row.number,
            code(&codes.powders, row.powder_id)?,
        );
        weighed.entry(stage).or_default().push(WeighedBuild {
            fed: Milligrams(row.fed_mg),
            deposited: Milligrams(row.deposited_mg),
            lot: row.lot.as_deref().map(word).transpose()?,
            gas: word(&row.gas)?,
            pressure_mbar: row.pressure_mbar,
            temperature_c: row.temperature_c,
            throat_um: row.throat_um,
        });
    }
    Ok(weighed)
}

async fn operations(
    connection: &mut SqliteConnection,
    codes: &Codes,
) -> Result<BTreeMap<Uuid, Vec<Operation>>, sqlx::Error> {
    let mut sprays = sprays(connection, codes).await?;
    let rows = sqlx::query!(
        r#"select recipe_id as "recipe_id: Uuid", position, kind, name, station_id as "station_id: Uuid", minutes, crew, after_min
           from recipe_operation order by recipe_id, position"#
    )
    .fetch_all(connection)
    .await?;
    let mut operations: BTreeMap<Uuid, Vec<Operation>> = BTreeMap::new();
    for row in rows {
        operations
            .entry(row.recipe_id)
            .or_default()
            .push(Operation {
                kind: word(&row.kind)?,
                name: row.name,
                station: row
                    .station_id
                    .map(|id| code(&codes.stations, id))
                    .transpose()?,
                minutes: row.minutes,
                crew: row.crew,
                after_min: row.after_min,
                spray: sprays.remove(&(row.recipe_id, row.position)),
            });
    }
    Ok(operations)
}

async fn sprays(
    connection: &mut SqliteConnection,
    codes: &Codes,
) -> Result<BTreeMap<(Uuid, i64), Spray>, sqlx::Error> {
    let rows = sqlx::query!(
        r#"select recipe_id as "recipe_id: Uuid", position, powder_id as "powder_id: Uuid", deposited_g,
             one_lot as "one_lot: bool", gas, pressure_mbar, temperature_c, feed_g_per_min, efficiency_permille,
             efficiency_sd_permille, approval_builds, start_stop_loss_g, coupon_g, handling_min, gas_only_min
           from recipe_spray"#
    )
    .fetch_all(connection)
    .await?;
    rows.into_iter()
        .map(|row| {
            let spray = Spray {
                powder: code(&codes.powders, row.powder_id)?,
                deposited_g: row.deposited_g,
                one_lot: row.one_lot,
                gas: word(&row.gas)?,
                pressure_mbar: row.pressure_mbar,
                temperature_c: row.temperature_c,
                feed_g_per_min: row.feed_g_per_min,
                efficiency_permille: row.efficiency_permille,
                efficiency_sd_permille: row.efficiency_sd_permille,
                approval_builds: row.approval_builds,
                start_stop_loss_g: row.start_stop_loss_g,
                coupon_g: row.coupon_g,
                handling_min: row.handling_min,
                gas_only_min: row.gas_only_min,
                weighed: Vec::new(),
            };
            Ok(((row.recipe_id, row.position), spray))
        })
        .collect()
}
