//! The catalogue: parts, and recipes with their operations and what each stage sprays.

use super::fault::Faults;
use super::files::SeedFiles;
use super::part::{PARTS_WITH_SHAPES, part};
use super::row::{Row, codes};
use super::sheet::Sheet;
use super::spray::{self, spray};
use mendpost_core::catalogue::{
    Flag, Held, Metal, Operation, OperationKind, Part, Recipe, RecipeFault, RecipeState,
    RecipeText, Spray,
};
use mendpost_core::code::{
    AssetCode, KitCode, MetalCode, PartCode, PowderCode, RecipeCode, StationCode,
};
use mendpost_core::finish::{Dimension, Expected};
use mendpost_core::powder::Powder;
use mendpost_core::situation::{Kit, KitKind};
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Display;
use std::str::FromStr;

const METALS: Sheet = Sheet {
    file: "metals.csv",
    columns: &["code", "name"],
    optional: &[],
    may_be_missing: true,
};

const KIT: Sheet = Sheet {
    file: "kit.csv",
    columns: &["code", "name", "kind", "count"],
    optional: &[],
    may_be_missing: true,
};

pub(crate) const RECIPES: Sheet = Sheet {
    file: "recipes.csv",
    columns: &["code", "revision", "part", "state", "approved_by"],
    optional: &[
        "written_by",
        "base_metals",
        "flags",
        "coupons",
        "inspection",
        "notes",
        "expected",
        "basis",
        "sizes",
        "coupon_limits",
    ],
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
    optional: &[
        "plate",
        "fixture",
        "held_through",
        "away_days",
        "cycle",
        "within_min",
    ],
    may_be_missing: false,
};

/// Code and revision of a recipe.
pub(super) type Key = (RecipeCode, i64);

const REVISIONS: std::ops::RangeInclusive<i64> = 1..=10_000;
const POSITIONS: std::ops::RangeInclusive<i64> = 1..=1000;

/// What operations name: stations, plates and fixtures.
pub(crate) struct Places {
    pub(crate) stations: BTreeSet<StationCode>,
    pub(crate) kit: BTreeMap<KitCode, KitKind>,
}

impl Places {
    fn of_kind(&self, kind: KitKind) -> BTreeSet<KitCode> {
        let of_kind = self.kit.iter().filter(|(_, known)| **known == kind);
        of_kind.map(|(code, _)| code.clone()).collect()
    }
}

pub(crate) struct Sheets {
    kit: Vec<Row>,
    metals: Vec<Row>,
    metal_codes: BTreeSet<MetalCode>,
    parts: Vec<Row>,
    recipes: Vec<Row>,
    operations: Vec<Row>,
    sprays: Vec<Row>,
    part_codes: BTreeSet<PartCode>,
}

impl Sheets {
    pub(super) fn part_rows(&self) -> &[Row] {
        &self.parts
    }

    pub(super) fn new(files: &SeedFiles, faults: &Faults) -> Self {
        let metals = METALS.rows(files, faults);
        let parts = PARTS_WITH_SHAPES.rows(files, faults);
        let kit = KIT.rows(files, faults);
        codes::<KitCode>(&kit, "code", faults);
        Self {
            kit,
            metal_codes: codes(&metals, "code", faults),
            metals,
            part_codes: codes(&parts, "code", faults),
            parts,
            recipes: RECIPES.rows(files, faults),
            operations: OPERATIONS.rows(files, faults),
            sprays: spray::SHEET.rows(files, faults),
        }
    }

    /// Sheets of recipes only, for parts and metals that are known already.
    pub(crate) fn of_recipes(
        [recipes, operations, sprays]: [Vec<Row>; 3],
        part_codes: BTreeSet<PartCode>,
        metal_codes: BTreeSet<MetalCode>,
    ) -> Self {
        Self {
            kit: Vec::new(),
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
            let code = row.new_code(faults, "code");
            let name = row.text(faults, "name", 80);
            Some(Metal {
                code: code?,
                name: name?,
            })
        };
        self.metals.iter().filter_map(metal).collect()
    }

    pub(super) fn kit(&self, faults: &Faults) -> Vec<Kit> {
        let kit = |row: &Row| {
            let code = row.new_code(faults, "code");
            let name = row.text(faults, "name", 80);
            let kind = row.parse(faults, "kind");
            let count = row.number(faults, "count", 0, 0..=9999);
            Some(Kit {
                code: code?,
                name: name?,
                kind: kind?,
                count: count?,
            })
        };
        self.kit.iter().filter_map(kit).collect()
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

    pub(super) fn parts(&self, assets: &BTreeSet<AssetCode>, faults: &Faults) -> Vec<Part> {
        self.parts
            .iter()
            .filter_map(|row| part(row, assets, faults))
            .collect()
    }

    pub(crate) fn recipes(
        &self,
        (known, powders): (&BTreeSet<PowderCode>, &[Powder]),
        places: &Places,
        faults: &Faults,
    ) -> Vec<Recipe> {
        let keys = self.keys(faults);
        let sprays = self.sprays(&keys, (known, powders), faults);
        let mut operations = self.operations(&keys, places, sprays, faults);
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
        places: &Places,
        mut sprays: BTreeMap<(Key, i64), (Spray, Row)>,
        faults: &Faults,
    ) -> BTreeMap<Key, Operations> {
        let mut operations: BTreeMap<Key, Operations> = BTreeMap::new();
        let mut next: BTreeMap<Key, i64> = BTreeMap::new();
        for row in &self.operations {
            let key = key(row, keys, faults);
            let position = row.number(faults, "position", 0, POSITIONS);
            let operation = operation(row, places, faults);
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
            let read = operations.entry(key).or_default();
            match operation {
                Some(mut operation) => {
                    operation.spray = spray.map(|(spray, _)| spray);
                    read.operations.push(operation);
                }
                None => read.is_whole = false,
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
        operations: &mut BTreeMap<Key, Operations>,
        faults: &Faults,
    ) -> Option<Recipe> {
        let code = row.new_code(faults, "code");
        let revision = row.number(faults, "revision", 0, REVISIONS);
        let part = row.one_of(faults, "part", &self.part_codes);
        let state = row.parse(faults, "state");
        let written_by = row.text_or_empty(faults, "written_by", 80);
        let approved_by = row.text_or_empty(faults, "approved_by", 80);
        let base_metals = self.base_metals(row, faults);
        let flags = row.list::<Flag>(faults, "flags");
        let text = text(row, faults);
        let sizes = parted::<Dimension>(row, "sizes", faults);
        let coupons = parted::<Expected>(row, "coupon_limits", faults);
        let (code, revision): (RecipeCode, i64) = (code?, revision?);
        let key = (code.clone(), revision);
        let read = operations.remove(&key).unwrap_or_default();
        let recipe = Recipe {
            operations: read.operations,
            code,
            part: part?,
            revision,
            state: state?,
            written_by: written_by?,
            also_written_by: BTreeSet::new(),
            approved_by: approved_by?,
            base_metals: base_metals?,
            flags: flags?.into_iter().collect(),
            text: text?,
            sizes: sizes?,
            coupons: coupons?,
        };
        for fault in recipe.faults() {
            let told = match fault {
                // Told where they are read.
                RecipeFault::Minutes { .. } => true,
                // The one before may be a row that could not be read.
                RecipeFault::WithinAfter { .. } => !read.is_whole,
                _ => false,
            };
            if !told {
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

/// Several that are written out, parted by '|'.
fn parted<T: FromStr<Err: Display>>(row: &Row, column: &str, faults: &Faults) -> Option<Vec<T>> {
    let written = row.given(column).unwrap_or_default().split('|');
    let written = written.map(str::trim).filter(|one| !one.is_empty());
    let read = |one: &str| one.parse().map_err(|e| row.fault(faults, column, e)).ok();
    written.map(read).collect()
}

fn text(row: &Row, faults: &Faults) -> Option<RecipeText> {
    let text = |column| row.lines_or_empty(faults, column, 2000);
    let coupons = text("coupons");
    let inspection = text("inspection");
    let notes = text("notes");
    let expected = text("expected");
    let basis = text("basis");
    Some(RecipeText {
        coupons: coupons?,
        inspection: inspection?,
        notes: notes?,
        expected: expected?,
        basis: basis?,
    })
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

/// The operations of a revision as far as they could be read.
struct Operations {
    operations: Vec<Operation>,
    is_whole: bool,
}

impl Default for Operations {
    fn default() -> Self {
        Self {
            operations: Vec::new(),
            is_whole: true,
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

fn operation(row: &Row, places: &Places, faults: &Faults) -> Option<Operation> {
    let kind = row.parse::<OperationKind>(faults, "kind");
    let name = row.text(faults, "name", 80);
    let station = row.one_of_optional(faults, "station", &places.stations);
    let crew = row.number(faults, "crew", 0, 0..=20);
    let after_min = row.number_optional(faults, "after_min", 0, 0..=20_160);
    let within_min = row.number_optional(faults, "within_min", 0, 1..=20_160);
    let away_days = row.number_optional(faults, "away_days", 0, 1..=365);
    let minutes = if kind == Some(OperationKind::Spray) {
        for column in ["station", "minutes"] {
            if row.given(column).is_some() {
                let what = "not for 'spray': it is in the cell, for as long as sprays.csv makes it";
                row.fault(faults, column, what);
            }
        }
        Some(0)
    } else if let Some(Some(days)) = away_days {
        if row.given("minutes").is_some() {
            row.fault(
                faults,
                "minutes",
                "given beside 'away_days'; give the one or the other",
            );
        }
        Some(days * 1440)
    } else {
        row.number(faults, "minutes", 0, 1..=20_160)
    };
    let plate = row.one_of_optional(faults, "plate", &places.of_kind(KitKind::Plate));
    let fixture = fixture(row, places, faults);
    let cycle = row.text_or_empty(faults, "cycle", 80);
    Some(Operation {
        kind: kind?,
        name: name?,
        station: station?,
        minutes: minutes?,
        crew: crew?,
        after_min: after_min?.unwrap_or(0),
        within_min: within_min?,
        spray: None,
        plate: plate?,
        fixture: fixture?,
        away_days: away_days?,
        cycle: cycle?,
        timed: Vec::new(),
    })
}

/// None within if nothing is held.
fn fixture(row: &Row, places: &Places, faults: &Faults) -> Option<Option<Held>> {
    let fixture = row.one_of_optional(faults, "fixture", &places.of_kind(KitKind::Fixture));
    let through = row.number_optional(faults, "held_through", 0, POSITIONS);
    if row.given("fixture").is_none() {
        if row.given("held_through").is_some() {
            row.fault(faults, "fixture", "nothing is given; say what is held");
        }
        return Some(None);
    }
    let own = row.given("position").and_then(|p| p.parse().ok());
    let through = through?.or(own);
    Some(Some(Held {
        fixture: fixture??,
        through: usize::try_from(through?).ok()?,
    }))
}
