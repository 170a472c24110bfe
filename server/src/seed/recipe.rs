//! The catalogue: parts, and recipes with their operations and what each stage sprays.

use super::fault::Faults;
use super::files::SeedFiles;
use super::part::{PARTS, part};
use super::row::{Row, codes};
use super::sheet::Sheet;
use mendpost_core::catalogue::{
    Metal, Operation, OperationKind, Part, Recipe, RecipeFault, RecipeState, Spray,
};
use mendpost_core::code::{MetalCode, PartCode, PowderCode, RecipeCode, StationCode};
use mendpost_core::deposit::deposited_grams;
use mendpost_core::powder::Powder;
use std::collections::{BTreeMap, BTreeSet};

const METALS: Sheet = Sheet {
    file: "metals.csv",
    columns: &["code", "name"],
    optional: &[],
    may_be_missing: true,
};

pub(crate) const RECIPES: Sheet = Sheet {
    file: "recipes.csv",
    columns: &["code", "revision", "part", "state", "approved_by"],
    optional: &["written_by", "base_metals"],
    may_be_missing: false,
};

pub(crate) const OPERATIONS: Sheet = Sheet {
    file: "operations.csv",
    columns: &[
        "recipe",
        "revision",
        "position",
        "kind",
        "name",
        "station",
        "minutes",
        "crew",
        "after_min",
    ],
    optional: &[],
    may_be_missing: false,
};

pub(crate) const SPRAYS: Sheet = Sheet {
    file: "sprays.csv",
    columns: &[
        "recipe",
        "revision",
        "position",
        "powder",
        "deposited_g",
        "one_lot",
        "gas",
        "pressure_bar",
        "temperature_c",
        "feed_g_per_min",
        "efficiency_permille",
        "efficiency_sd_permille",
        "start_stop_loss_g",
        "coupon_g",
        "handling_min",
        "gas_only_min",
    ],
    optional: &["approval_builds", "volume_cm3", "porosity_permille"],
    may_be_missing: false,
};

/// Code and revision of a recipe.
pub(super) type Key = (RecipeCode, i64);

const REVISIONS: std::ops::RangeInclusive<i64> = 1..=10_000;
/// Coupons or builds that an approval rests on where nothing is told.
const APPROVAL_BUILDS: i64 = 4;
const POSITIONS: std::ops::RangeInclusive<i64> = 1..=1000;

pub(crate) struct Sheets {
    metals: Vec<Row>,
    metal_codes: BTreeSet<MetalCode>,
    parts: Vec<Row>,
    recipes: Vec<Row>,
    operations: Vec<Row>,
    sprays: Vec<Row>,
    part_codes: BTreeSet<PartCode>,
}

impl Sheets {
    pub(super) fn new(files: &SeedFiles, faults: &Faults) -> Self {
        let metals = METALS.rows(files, faults);
        let parts = PARTS.rows(files, faults);
        Self {
            metal_codes: codes(&metals, "code", faults),
            metals,
            part_codes: codes(&parts, "code", faults),
            parts,
            recipes: RECIPES.rows(files, faults),
            operations: OPERATIONS.rows(files, faults),
            sprays: SPRAYS.rows(files, faults),
        }
    }

    /// Sheets of recipes only, for parts and metals that are known already.
    pub(crate) fn of_recipes(
        [recipes, operations, sprays]: [Vec<Row>; 3],
        part_codes: BTreeSet<PartCode>,
        metal_codes: BTreeSet<MetalCode>,
    ) -> Self {
        Self {
            metals: Vec::new(),
            metal_codes,
            parts: Vec::new(),
            recipes,
            operations,
            sprays,
            part_codes,
        }
    }

    pub(super) fn metal_codes(&self) -> BTreeSet<MetalCode> {
        self.metal_codes.clone()
    }

    pub(super) fn metals(&self, faults: &Faults) -> Vec<Metal> {
        let metal = |row: &Row| {
            let code = row.parse(faults, "code");
            let name = row.text(faults, "name", 80);
            Some(Metal {
                code: code?,
                name: name?,
            })
        };
        self.metals.iter().filter_map(metal).collect()
    }

    pub(super) fn part_codes(&self) -> BTreeSet<PartCode> {
        self.part_codes.clone()
    }

    /// The part that each recipe makes; faulty rows are told elsewhere.
    pub(super) fn recipe_parts(&self) -> BTreeMap<RecipeCode, Option<PartCode>> {
        let part = |row: &Row| {
            let code = row.given("code")?.parse().ok()?;
            Some((code, row.given("part").and_then(|p| p.parse().ok())))
        };
        self.recipes.iter().filter_map(part).collect()
    }

    /// What each stage sprays, by recipe, revision and position; faulty rows are told elsewhere.
    pub(super) fn stages(&self) -> BTreeMap<(Key, i64), Option<PowderCode>> {
        let stage = |row: &Row| {
            let key = (
                row.given("recipe")?.parse().ok()?,
                row.given("revision")?.parse().ok()?,
            );
            let position = row.given("position")?.parse().ok()?;
            let powder = row.given("powder").and_then(|p| p.parse().ok());
            Some(((key, position), powder))
        };
        self.sprays.iter().filter_map(stage).collect()
    }

    pub(super) fn parts(&self, faults: &Faults) -> Vec<Part> {
        self.parts
            .iter()
            .filter_map(|row| part(row, faults))
            .collect()
    }

    pub(crate) fn recipes(
        &self,
        (known, powders): (&BTreeSet<PowderCode>, &[Powder]),
        stations: &BTreeSet<StationCode>,
        faults: &Faults,
    ) -> Vec<Recipe> {
        let keys = self.keys(faults);
        let sprays = self.sprays(&keys, (known, powders), faults);
        let mut operations = self.operations(&keys, stations, sprays, faults);
        let mut recipes: Vec<Recipe> = Vec::new();
        for row in &self.recipes {
            let Some(recipe) = self.recipe(row, &mut operations, faults) else {
                continue;
            };
            check_revision(row, &recipe, &recipes, faults);
            recipes.push(recipe);
        }
        recipes
    }

    fn keys(&self, faults: &Faults) -> BTreeSet<Key> {
        let mut keys = BTreeSet::new();
        for row in &self.recipes {
            let code = row.given("code").and_then(|c| c.parse().ok());
            let revision = row.given("revision").and_then(|r| r.parse().ok());
            if let (Some(code), Some(revision)) = (code, revision)
                && !keys.insert((code, revision))
            {
                row.fault(
                    faults,
                    "revision",
                    format!("revision {revision} is listed twice"),
                );
            }
        }
        keys
    }

    /// What each stage sprays, by recipe and position, with the row that says so.
    fn sprays(
        &self,
        keys: &BTreeSet<Key>,
        (known, powders): (&BTreeSet<PowderCode>, &[Powder]),
        faults: &Faults,
    ) -> BTreeMap<(Key, i64), (Spray, Row)> {
        let mut sprays = BTreeMap::new();
        for row in &self.sprays {
            let key = key(row, keys, faults);
            let position = row.number(faults, "position", 0, POSITIONS);
            let spray = spray(row, known, powders, faults);
            let (Some(key), Some(position), Some(spray)) = (key, position, spray) else {
                continue;
            };
            let place = (key, position);
            if sprays.insert(place, (spray, row.clone())).is_some() {
                row.fault(faults, "position", "this stage is listed twice");
            }
        }
        sprays
    }

    fn operations(
        &self,
        keys: &BTreeSet<Key>,
        stations: &BTreeSet<StationCode>,
        mut sprays: BTreeMap<(Key, i64), (Spray, Row)>,
        faults: &Faults,
    ) -> BTreeMap<Key, Vec<Operation>> {
        let mut operations: BTreeMap<Key, Vec<Operation>> = BTreeMap::new();
        let mut next: BTreeMap<Key, i64> = BTreeMap::new();
        for row in &self.operations {
            let key = key(row, keys, faults);
            let position = row.number(faults, "position", 0, POSITIONS);
            let operation = operation(row, stations, faults);
            let (Some(key), Some(position)) = (key, position) else {
                continue;
            };
            let expected = next.entry(key.clone()).or_insert(1);
            if position != *expected {
                let what = format!(
                    "{position} stands where {expected} is due; number the operations of a revision 1, 2, 3 in order"
                );
                row.fault(faults, "position", what);
            }
            *expected = position + 1;
            let spray = sprays.remove(&(key.clone(), position));
            if let Some(mut operation) = operation {
                operation.spray = spray.map(|(spray, _)| spray);
                operations.entry(key).or_default().push(operation);
            }
        }
        for (_, row) in sprays.into_values() {
            row.fault(faults, "position", "operations.csv has no such operation");
        }
        operations
    }

    fn recipe(
        &self,
        row: &Row,
        operations: &mut BTreeMap<Key, Vec<Operation>>,
        faults: &Faults,
    ) -> Option<Recipe> {
        let code = row.parse(faults, "code");
        let revision = row.number(faults, "revision", 0, REVISIONS);
        let part = row.one_of(faults, "part", &self.part_codes);
        let state = row.parse(faults, "state");
        let written_by = row.text_or_empty(faults, "written_by", 80);
        let approved_by = row.text_or_empty(faults, "approved_by", 80);
        let base_metals = self.base_metals(row, faults);
        let (code, revision): (RecipeCode, i64) = (code?, revision?);
        let key = (code.clone(), revision);
        let recipe = Recipe {
            operations: operations.remove(&key).unwrap_or_default(),
            code,
            part: part?,
            revision,
            state: state?,
            written_by: written_by?,
            approved_by: approved_by?,
            base_metals: base_metals?,
        };
        for fault in recipe.faults() {
            // Minutes are told where they are read.
            if !matches!(fault, RecipeFault::Minutes { .. }) {
                row.fault_of_row(faults, fault);
            }
        }
        Some(recipe)
    }

    fn base_metals(&self, row: &Row, faults: &Faults) -> Option<BTreeSet<MetalCode>> {
        let metals = row.list::<MetalCode>(faults, "base_metals")?;
        metals
            .into_iter()
            .map(|metal| row.known(faults, "base_metals", &self.metal_codes, metal))
            .collect()
    }
}

/// Revisions of one recipe make one part; one at most is approved, and by somebody.
fn check_revision(row: &Row, recipe: &Recipe, before: &[Recipe], faults: &Faults) {
    let approved = recipe.state == RecipeState::Approved;
    if approved && recipe.approved_by.is_empty() {
        row.fault(
            faults,
            "approved_by",
            "nothing is given; say who approved it",
        );
    }
    for other in before.iter().filter(|r| r.code == recipe.code) {
        if other.part != recipe.part {
            let what = format!(
                "revision {} makes {}; a recipe keeps its part",
                other.revision, other.part
            );
            row.fault(faults, "part", what);
        }
        if approved && other.state == RecipeState::Approved {
            let what = format!(
                "revision {} is approved too; the earlier one is superseded",
                other.revision
            );
            row.fault(faults, "state", what);
        }
    }
}

fn key(row: &Row, keys: &BTreeSet<Key>, faults: &Faults) -> Option<Key> {
    let code = row.parse(faults, "recipe");
    let revision = row.number(faults, "revision", 0, REVISIONS);
    let key = (code?, revision?);
    if keys.contains(&key) {
        return Some(key);
    }
    let what = format!("recipes.csv has no {} revision {}", key.0, key.1);
    row.fault(faults, "recipe", what);
    None
}

fn operation(row: &Row, stations: &BTreeSet<StationCode>, faults: &Faults) -> Option<Operation> {
    let kind = row.parse::<OperationKind>(faults, "kind");
    let name = row.text(faults, "name", 80);
    let station = row.one_of_optional(faults, "station", stations);
    let crew = row.number(faults, "crew", 0, 0..=20);
    let after_min = row.number_optional(faults, "after_min", 0, 0..=20_160);
    let minutes = if kind == Some(OperationKind::Spray) {
        for column in ["station", "minutes"] {
            if row.given(column).is_some() {
                let what = "not for 'spray': it is in the cell, for as long as sprays.csv makes it";
                row.fault(faults, column, what);
            }
        }
        Some(0)
    } else {
        row.number(faults, "minutes", 0, 1..=20_160)
    };
    Some(Operation {
        kind: kind?,
        name: name?,
        station: station?,
        minutes: minutes?,
        crew: crew?,
        after_min: after_min?.unwrap_or(0),
        spray: None,
    })
}

/// What must stick: as told, or the volume told, less its pores, of the powder's metal.
fn deposited_g(
    row: &Row,
    powder: Option<&PowderCode>,
    powders: &[Powder],
    faults: &Faults,
) -> Option<i64> {
    let volume = row.number_optional(faults, "volume_cm3", 3, 1..=1_000_000_000);
    let porosity = row.number_optional(faults, "porosity_permille", 0, 0..=500);
    let Some(volume) = volume? else {
        return row.number(faults, "deposited_g", 0, 1..=1_000_000);
    };
    if row.given("deposited_g").is_some() {
        let what = "given beside 'volume_cm3'; give the one or the other";
        row.fault(faults, "deposited_g", what);
        return None;
    }
    let solid = powders.iter().find(|p| Some(&p.code) == powder)?.solid;
    let Some(solid) = solid else {
        let what =
            "powders.csv does not tell the density of this powder; tell it, or give 'deposited_g'";
        row.fault(faults, "volume_cm3", what);
        return None;
    };
    #[expect(clippy::cast_precision_loss, reason = "checked to be small")]
    let [volume, density, porosity] =
        [volume, solid.density_kg_m3, porosity?.unwrap_or(0)].map(|figure| figure as f64);
    deposited_grams(volume / 1000.0, density, porosity / 1000.0)
        .map_err(|error| row.fault(faults, "volume_cm3", error))
        .ok()
}

fn spray(
    row: &Row,
    known: &BTreeSet<PowderCode>,
    powders: &[Powder],
    faults: &Faults,
) -> Option<Spray> {
    let number = |column, allowed| row.number(faults, column, 0, allowed);
    let powder = row.one_of(faults, "powder", known);
    let deposited_g = deposited_g(row, powder.as_ref(), powders, faults);
    let one_lot = row.yes_or_no(faults, "one_lot");
    let gas = row.parse(faults, "gas");
    let pressure_mbar = row.number(faults, "pressure_bar", 3, 1000..=100_000);
    let temperature_c = number("temperature_c", 20..=1200);
    let feed_g_per_min = number("feed_g_per_min", 1..=1000);
    let efficiency_permille = number("efficiency_permille", 10..=1000);
    let efficiency_sd_permille = number("efficiency_sd_permille", 0..=500);
    let approval_builds = row.number_optional(faults, "approval_builds", 0, 1..=1000);
    let start_stop_loss_g = number("start_stop_loss_g", 0..=1_000_000);
    let coupon_g = number("coupon_g", 0..=1_000_000);
    let handling_min = number("handling_min", 0..=1440);
    let gas_only_min = number("gas_only_min", 0..=1440);
    if handling_min.zip(gas_only_min).is_some_and(|(h, g)| g > h) {
        row.fault(
            faults,
            "gas_only_min",
            "more than handling_min, of which it is a part",
        );
    }
    Some(Spray {
        powder: powder?,
        deposited_g: deposited_g?,
        one_lot: one_lot?,
        gas: gas?,
        pressure_mbar: pressure_mbar?,
        temperature_c: temperature_c?,
        feed_g_per_min: feed_g_per_min?,
        efficiency_permille: efficiency_permille?,
        efficiency_sd_permille: efficiency_sd_permille?,
        approval_builds: approval_builds?.unwrap_or(APPROVAL_BUILDS),
        start_stop_loss_g: start_stop_loss_g?,
        coupon_g: coupon_g?,
        handling_min: handling_min?,
        gas_only_min: gas_only_min?,
        weighed: Vec::new(),
    })
}
