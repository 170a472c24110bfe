use std::collections::{BTreeMap, BTreeSet};

use mendpost_core::catalogue::{
    Flag, Held, Metal, Motion, Operation, Part, Recipe, RecipeState, RecipeText, Spray, Volume,
    WeighedBuild,
};
use mendpost_core::code::{AssetCode, MetalCode, PowderCode, RecipeCode};
use mendpost_core::finish::{Dimension, Expected, Length};
use mendpost_core::quantity::Milligrams;
use sqlx::SqliteConnection;
use uuid::Uuid;

use super::authors::{Names, authors};
use super::{Codes, code, word};
use crate::pace::Times;

/// Parts, and of each recipe the newest revision, with the approved one where that is older.
pub(super) async fn load(
    connection: &mut SqliteConnection,
    codes: &Codes,
) -> Result<(Vec<Part>, Vec<Recipe>), sqlx::Error> {
    let parts = parts(connection, codes).await?;
    let recipes = recipes(connection, codes, Revisions::InUse).await?;
    Ok((parts, recipes))
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

pub(super) async fn parts(
    connection: &mut SqliteConnection,
    codes: &Codes,
) -> Result<Vec<Part>, sqlx::Error> {
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
    let mut assets: BTreeMap<Uuid, BTreeSet<AssetCode>> = BTreeMap::new();
    let rows = sqlx::query!(
        r#"select part_id as "part_id: Uuid", asset_id as "asset_id: Uuid" from part_asset"#
    )
    .fetch_all(&mut *connection)
    .await?;
    for row in rows {
        let asset = code(&codes.assets, row.asset_id)?;
        assets.entry(row.part_id).or_default().insert(asset);
    }
    sqlx::query!(
        r#"select id as "id: Uuid", code, name, x_mm, y_mm, z_mm, mass_g, allowance_um,
             retired_reason is not null as "retired!: bool"
           from part order by code"#
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
            assets: assets.remove(&row.id).unwrap_or_default(),
            allowance_um: row.allowance_um,
            retired: row.retired,
        })
    })
    .collect()
}

/// Which revisions of which recipes are read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Revisions<'a> {
    /// Of each recipe the newest, with the approved one where that is older.
    InUse,
    /// All of one recipe.
    Of(&'a str),
    Every,
}

/// The first one of each recipe first.
pub(super) async fn recipes(
    connection: &mut SqliteConnection,
    codes: &Codes,
    revisions: Revisions<'_>,
) -> Result<Vec<Recipe>, sqlx::Error> {
    let every = revisions == Revisions::Every;
    let all_of = match revisions {
        Revisions::Of(recipe) => Some(recipe),
        Revisions::InUse | Revisions::Every => None,
    };
    let mut operations = operations(connection, codes).await?;
    let weighed = weighed(connection, codes).await?;
    let times = Times::load(connection).await?;
    let mut base_metals = base_metals(connection, codes).await?;
    let mut flags = recipe_flags(connection).await?;
    let mut names = names_of_authors(connection).await?;
    let mut sizes = sizes(connection).await?;
    let mut coupons = coupons(connection).await?;
    let rows = sqlx::query!(
        r#"select id as "id: Uuid", code, part_id as "part_id: Uuid", revision, state, written_by, approved_by,
             coupons, inspection, notes, expected, basis
           from recipe r
           where ?1 or code = ?2
              or (?2 is null
                and (state = 'approved' or revision = (select max(revision) from recipe where code = r.code)
                  or exists (select 1 from work_done w join request q on q.id = w.request_id
                    where w.recipe_id = r.id and q.state = 'open')))
           order by code, revision"#,
        every,
        all_of
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
                also_written_by: names.remove(&row.id).unwrap_or_default(),
                approved_by: row.approved_by,
                base_metals: base_metals.remove(&row.id).unwrap_or_default(),
                operations: operations.remove(&row.id).unwrap_or_default(),
                flags: flags.remove(&row.id).unwrap_or_default(),
                text: RecipeText {
                    coupons: row.coupons,
                    inspection: row.inspection,
                    notes: row.notes,
                    expected: row.expected,
                    basis: row.basis,
                },
                sizes: sizes.remove(&row.id).unwrap_or_default(),
                coupons: coupons.remove(&row.id).unwrap_or_default(),
            };
            add_weighed(&mut recipe, &weighed);
            times.add_to(&mut recipe);
            Ok(recipe)
        })
        .collect()
}

/// What is measured of the finished part, by recipe, in order.
async fn sizes(
    connection: &mut SqliteConnection,
) -> Result<BTreeMap<Uuid, Vec<Dimension>>, sqlx::Error> {
    let rows = sqlx::query!(
        r#"select recipe_id as "recipe_id: Uuid", name, nominal_nm, lower_nm, upper_nm, unit
           from recipe_size order by recipe_id, position"#
    )
    .fetch_all(connection)
    .await?;
    let mut sizes: BTreeMap<Uuid, Vec<Dimension>> = BTreeMap::new();
    for row in rows {
        sizes.entry(row.recipe_id).or_default().push(Dimension {
            name: row.name,
            nominal: Length(row.nominal_nm),
            lower: Length(row.lower_nm),
            upper: Length(row.upper_nm),
            unit: word(&row.unit)?,
        });
    }
    Ok(sizes)
}

/// What is expected of its coupons, by recipe, in order.
async fn coupons(
    connection: &mut SqliteConnection,
) -> Result<BTreeMap<Uuid, Vec<Expected>>, sqlx::Error> {
    let rows = sqlx::query!(
        r#"select recipe_id as "recipe_id: Uuid", property, condition, least, most, load_gf
           from recipe_coupon order by recipe_id, position"#
    )
    .fetch_all(connection)
    .await?;
    let mut coupons: BTreeMap<Uuid, Vec<Expected>> = BTreeMap::new();
    for row in rows {
        coupons.entry(row.recipe_id).or_default().push(Expected {
            property: word(&row.property)?,
            condition: word(&row.condition)?,
            least: row.least,
            most: row.most,
            load_gf: row.load_gf,
        });
    }
    Ok(coupons)
}

async fn recipe_flags(
    connection: &mut SqliteConnection,
) -> Result<BTreeMap<Uuid, BTreeSet<Flag>>, sqlx::Error> {
    let mut flags: BTreeMap<Uuid, BTreeSet<Flag>> = BTreeMap::new();
    let rows = sqlx::query!(r#"select recipe_id as "recipe_id: Uuid", flag from recipe_flag"#)
        .fetch_all(connection)
        .await?;
    for row in rows {
        let flag = word(&row.flag)?;
        flags.entry(row.recipe_id).or_default().insert(flag);
    }
    Ok(flags)
}

/// Of each recipe the names, now and before, of everybody of the site who wrote a line of it.
async fn names_of_authors(
    connection: &mut SqliteConnection,
) -> Result<BTreeMap<Uuid, BTreeSet<String>>, sqlx::Error> {
    let names = Names::load(&mut *connection).await?;
    let authors = authors(connection, &names).await?.into_iter();
    Ok(authors
        .map(|(recipe, persons)| (recipe, names.of(&persons)))
        .collect())
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
        r#"select recipe_id as "recipe_id: Uuid", position, kind, name, station_id as "station_id: Uuid", minutes, crew, after_min, within_min,
             plate_id as "plate_id: Uuid", fixture_id as "fixture_id: Uuid", held_through, away_days, cycle
           from recipe_operation order by recipe_id, position"#
    )
    .fetch_all(connection)
    .await?;
    let mut operations: BTreeMap<Uuid, Vec<Operation>> = BTreeMap::new();
    for row in rows {
        let held = row.held_through.and_then(|at| usize::try_from(at).ok());
        let fixture = row.fixture_id.map(|id| code(&codes.kit, id));
        let fixture = fixture.transpose()?.zip(held);
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
                minutes: row.away_days.map_or(row.minutes, |days| days * 1440),
                crew: row.crew,
                after_min: row.after_min,
                within_min: row.within_min,
                spray: sprays.remove(&(row.recipe_id, row.position)),
                plate: row.plate_id.map(|id| code(&codes.kit, id)).transpose()?,
                fixture: fixture.map(|(fixture, through)| Held { fixture, through }),
                away_days: row.away_days,
                cycle: row.cycle,
                timed: Vec::new(),
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
             efficiency_sd_permille, approval_builds, start_stop_loss_g, coupon_g, handling_min, gas_only_min,
             volume_mm3, porosity_permille, nozzle, standoff_um, traverse_mm_s, spacing_um, preheat_c, passes
           from recipe_spray"#
    )
    .fetch_all(connection)
    .await?;
    rows.into_iter()
        .map(|row| {
            let volume = row.volume_mm3.zip(row.porosity_permille);
            let spray = Spray {
                powder: code(&codes.powders, row.powder_id)?,
                deposited_g: row.deposited_g,
                volume: volume.map(|(mm3, porosity_permille)| Volume {
                    mm3,
                    porosity_permille,
                }),
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
                motion: Motion {
                    nozzle: row.nozzle,
                    standoff_um: row.standoff_um,
                    traverse_mm_s: row.traverse_mm_s,
                    spacing_um: row.spacing_um,
                    preheat_c: row.preheat_c,
                    passes: row.passes,
                },
                weighed: Vec::new(),
                timed: Vec::new(),
            };
            Ok(((row.recipe_id, row.position), spray))
        })
        .collect()
}
