//! Recipes: a new revision comes in as a draft, and one that is entered is never changed by a sheet.

use std::collections::{BTreeMap, BTreeSet};

use mendpost_core::catalogue::{Operation, Recipe, RecipeState, Spray, may_revise};
use mendpost_core::code::{MetalCode, PartCode, PowderCode, RecipeCode};
use mendpost_core::powder::Powder;
use sqlx::SqliteConnection;

use super::cell::Cell;
use super::comparison::{Entry, Fate, Listed, Reader};
use crate::catalogue::store::insert_recipe;
use crate::change::Change;
use crate::error::AppError;
use crate::people::Who;
use crate::recipe::queries::add_author;
use crate::seed::recipe::{OPERATIONS, Places, RECIPES, Sheets};
use crate::seed::row::Row;
use crate::seed::spray::SHEET as SPRAYS;
use crate::seed::write::Ids;
use crate::situation::authors::Names;
use crate::{kit, situation};

impl Listed for Recipe {
    fn cell(&self, column: &str) -> Cell {
        match column {
            "code" => Cell::text(&self.code),
            "revision" => Cell::whole(self.revision),
            "part" => Cell::text(&self.part),
            "state" => Cell::text(&self.state),
            "approved_by" => Cell::text(&self.approved_by),
            "written_by" => Cell::text(&self.written_by),
            "base_metals" => Cell::set(&self.base_metals),
            "flags" => Cell::set(&self.flags),
            "coupons" => Cell::lines(&self.text.coupons),
            "inspection" => Cell::lines(&self.text.inspection),
            "notes" => Cell::lines(&self.text.notes),
            "expected" => Cell::lines(&self.text.expected),
            "basis" => Cell::lines(&self.text.basis),
            "sizes" => Cell::text(&parted(&self.sizes)),
            "coupon_limits" => Cell::text(&parted(&self.coupons)),
            _ => Cell::text(""),
        }
    }
}

/// Several written out, parted as they are read.
fn parted(list: &[impl ToString]) -> String {
    let written: Vec<String> = list.iter().map(ToString::to_string).collect();
    written.join(" | ")
}

/// An operation with the revision that it is of, and its place there.
#[derive(Clone, Copy)]
pub struct OperationOf<'a> {
    recipe: &'a Recipe,
    position: i64,
    operation: &'a Operation,
}

impl OperationOf<'_> {
    /// Columns that name the operation, in both sheets.
    fn place(&self, column: &str) -> Option<Cell> {
        match column {
            "recipe" => Some(Cell::text(&self.recipe.code)),
            "revision" => Some(Cell::whole(self.recipe.revision)),
            "position" => Some(Cell::whole(self.position)),
            _ => None,
        }
    }
}

impl Listed for OperationOf<'_> {
    fn cell(&self, column: &str) -> Cell {
        let operation = self.operation;
        if let Some(place) = self.place(column) {
            return place;
        }
        match column {
            "kind" => Cell::text(&operation.kind),
            "name" => Cell::text(&operation.name),
            "station" => Cell::set(&operation.station),
            "plate" => Cell::set(&operation.plate),
            "fixture" => Cell::set(operation.fixture.as_ref().map(|held| &held.fixture)),
            "held_through" => Cell::set(operation.fixture.as_ref().map(|held| held.through)),
            "away_days" => Cell::set(operation.away_days),
            "cycle" => Cell::text(&operation.cycle),
            "within_min" => Cell::set(operation.within_min),
            "minutes" if operation.spray.is_none() && operation.away_days.is_none() => {
                Cell::whole(operation.minutes)
            }
            "crew" => Cell::whole(operation.crew),
            "after_min" if operation.after_min > 0 => Cell::whole(operation.after_min),
            _ => Cell::text(""),
        }
    }
}

/// What a stage sprays.
#[derive(Clone, Copy)]
pub struct SprayOf<'a> {
    of: OperationOf<'a>,
    spray: &'a Spray,
}

impl Listed for SprayOf<'_> {
    fn cell(&self, column: &str) -> Cell {
        let spray = self.spray;
        if let Some(place) = self.of.place(column) {
            return place;
        }
        let motion = &spray.motion;
        let millimetres = |um: Option<i64>| match um {
            Some(value) => Cell::Number { value, places: 3 },
            None => Cell::text(""),
        };
        match column {
            "powder" => Cell::text(&spray.powder),
            "deposited_g" if spray.volume.is_none() => Cell::whole(spray.deposited_g),
            "volume_cm3" => millimetres(spray.volume.map(|volume| volume.mm3)),
            "porosity_permille" => Cell::set(spray.volume.map(|v| v.porosity_permille)),
            "nozzle" => Cell::text(&motion.nozzle),
            "standoff_mm" => millimetres(motion.standoff_um),
            "traverse_mm_s" => Cell::set(motion.traverse_mm_s),
            "spacing_mm" => millimetres(motion.spacing_um),
            "preheat_c" => Cell::set(motion.preheat_c),
            "passes" => Cell::set(motion.passes),
            "one_lot" => Cell::text(if spray.one_lot { "yes" } else { "no" }),
            "gas" => Cell::text(&spray.gas),
            "pressure_bar" => Cell::Number {
                value: spray.pressure_mbar,
                places: 3,
            },
            "temperature_c" => Cell::whole(spray.temperature_c),
            "feed_g_per_min" => Cell::whole(spray.feed_g_per_min),
            "efficiency_permille" => Cell::whole(spray.efficiency_permille),
            "efficiency_sd_permille" => Cell::whole(spray.efficiency_sd_permille),
            "start_stop_loss_g" => Cell::whole(spray.start_stop_loss_g),
            "coupon_g" => Cell::whole(spray.coupon_g),
            "handling_min" => Cell::whole(spray.handling_min),
            "gas_only_min" => Cell::whole(spray.gas_only_min),
            "approval_builds" => Cell::whole(spray.approval_builds),
            _ => Cell::text(""),
        }
    }
}

/// Every revision of every recipe.
pub async fn stored(connection: &mut SqliteConnection) -> Result<Vec<Recipe>, sqlx::Error> {
    situation::recipes(connection).await
}

pub fn operations_of<'a>(
    recipes: impl IntoIterator<Item = &'a Recipe>,
) -> impl Iterator<Item = OperationOf<'a>> {
    recipes.into_iter().flat_map(|recipe| {
        let operations = (1..).zip(&recipe.operations);
        operations.map(move |(position, operation)| OperationOf {
            recipe,
            position,
            operation,
        })
    })
}

pub fn sprays_of<'a>(
    recipes: impl IntoIterator<Item = &'a Recipe>,
) -> impl Iterator<Item = SprayOf<'a>> {
    operations_of(recipes).filter_map(|of| {
        let spray = of.operation.spray.as_ref()?;
        Some(SprayOf { of, spray })
    })
}

/// What revisions are held against, and what they may name.
pub struct Book {
    recipes: Vec<Recipe>,
    parts: BTreeSet<PartCode>,
    /// Those of them that are offered no more.
    retired: BTreeSet<PartCode>,
    metals: BTreeSet<MetalCode>,
    powders: Vec<Powder>,
    places: Places,
    names: Names,
}

impl Book {
    pub async fn load(connection: &mut SqliteConnection) -> Result<Book, sqlx::Error> {
        let ids = Ids::stored(connection).await?;
        let kit = kit::queries::all(&mut *connection).await?;
        let parts = situation::parts(&mut *connection).await?;
        let retired = parts.into_iter().filter(|part| part.retired);
        Ok(Book {
            recipes: stored(connection).await?,
            parts: ids.parts.into_keys().collect(),
            retired: retired.map(|part| part.code).collect(),
            metals: ids.metals.into_keys().collect(),
            powders: situation::powders(&mut *connection).await?,
            names: Names::load(connection).await?,
            places: Places {
                stations: ids.stations.into_keys().collect(),
                kit: kit.into_iter().map(|kit| (kit.code, kit.kind)).collect(),
            },
        })
    }

    fn revision(&self, row: &Row, column: &str) -> Option<&Recipe> {
        let code = row.given(column)?;
        let revision: i64 = row.given("revision")?.parse().ok()?;
        let mut recipes = self.recipes.iter();
        recipes.find(|recipe| recipe.code.as_str() == code && recipe.revision == revision)
    }
}

pub fn read(
    reader: &Reader<'_>,
    [recipes, operations, sprays]: [Vec<Row>; 3],
    book: &Book,
) -> (Vec<Entry>, Vec<Recipe>) {
    let mut entries = Vec::new();
    let mut new = Vec::new();
    for row in recipes {
        match book.revision(&row, "code") {
            Some(stands) => {
                reader.unchangeable(&RECIPES, &row, stands, |_| remedy(stands));
                entries.push(entry(row.line, stands, Fate::Same));
            }
            None => new.push(as_draft(reader, row, book)),
        }
    }
    let operations = new_operations(reader, operations, book);
    let sprays = new_sprays(reader, sprays, book);
    let lines: BTreeMap<(String, i64), u64> = new.iter().filter_map(place).collect();
    let sheets = [new, operations, sprays];
    let sheets = Sheets::of_recipes(sheets, book.parts.clone(), book.metals.clone());
    let powders: BTreeSet<PowderCode> = book.powders.iter().map(|p| p.code.clone()).collect();
    let known = (&powders, book.powders.as_slice());
    let writes = sheets.recipes(known, &book.places, reader.faults);
    for recipe in &writes {
        let line = lines.get(&(recipe.code.to_string(), recipe.revision));
        let mut new = entry(line.copied().unwrap_or_default(), recipe, Fate::New);
        new.name.push_str(&unknown_author(recipe, &book.names));
        entries.push(new);
    }
    (entries, writes)
}

fn place(row: &Row) -> Option<((String, i64), u64)> {
    let revision = row.given("revision")?.parse().ok()?;
    Some(((row.given("code")?.to_owned(), revision), row.line))
}

fn entry(line: u64, recipe: &Recipe, fate: Fate) -> Entry {
    Entry {
        line,
        code: format!("{}/{}", recipe.code, recipe.revision),
        name: format!(
            "{} for {}, {} operations",
            recipe.state,
            recipe.part,
            recipe.operations.len()
        ),
        fate,
        caution: String::new(),
    }
}

/// What is said of an author who is nobody of the site; empty of anybody else.
fn unknown_author(recipe: &Recipe, names: &Names) -> String {
    let by = &recipe.written_by;
    match by.is_empty() || !names.called(by).is_empty() {
        true => String::new(),
        false => format!("; written by '{by}', and nobody here is called that"),
    }
}

fn remedy(stands: &Recipe) -> String {
    format!(
        "{} revision {} is entered, and no sheet changes it; give the changed figures as a new revision, with all its operations",
        stands.code, stands.revision
    )
}

/// Columns that say what an approver signed.
const BY_THE_APPROVER: [&str; 3] = ["approved_by", "expected", "basis"];

/// A row of a new revision, as a draft whatever it says; what it says otherwise is told.
fn as_draft(reader: &Reader<'_>, row: Row, book: &Book) -> Row {
    let draft = RecipeState::Draft.as_str();
    let is_state = row
        .given("state")
        .and_then(|state| state.parse::<RecipeState>().ok());
    let is_other = is_state.is_some_and(|state| state != RecipeState::Draft);
    if is_other {
        let given = row.given("state").unwrap_or_default();
        let what = format!(
            "'{given}' is nothing that a sheet makes of a new revision; give {draft}, and somebody approves it by name on its page"
        );
        row.fault(reader.faults, "state", what);
    } else {
        for column in BY_THE_APPROVER
            .into_iter()
            .filter(|c| row.given(c).is_some())
        {
            let what = "a sheet approves nothing; leave this empty, and somebody approves it by name on its page";
            row.fault(reader.faults, column, what);
        }
    }
    follows(reader, &row, book);
    let row = row.with("approved_by", String::new());
    let code = row.given("code");
    let row = match book.recipes.iter().any(|r| Some(r.code.as_str()) == code) {
        true => row.of_what_stands(),
        false => row,
    };
    match is_other {
        true => row.with("state", draft.to_owned()),
        false => row,
    }
}

/// Notes a revision that does not come after those that are entered, or makes another part than they.
fn follows(reader: &Reader<'_>, row: &Row, book: &Book) {
    let code = row
        .given("code")
        .and_then(|code| code.parse::<RecipeCode>().ok());
    let entered = book
        .recipes
        .iter()
        .filter(|recipe| Some(&recipe.code) == code.as_ref());
    let part = row.given("part").and_then(|part| part.parse().ok());
    if let Some(part) = part.filter(|part: &PartCode| book.retired.contains(part)) {
        let what = format!("{part} is retired; bring it back before a recipe is written for it");
        row.fault(reader.faults, "part", what);
    }
    let mut open = entered.clone().filter(|recipe| !may_revise(recipe.state));
    let Some(last) = entered.max_by_key(|recipe| recipe.revision) else {
        return;
    };
    let revision = row
        .given("revision")
        .and_then(|revision| revision.parse::<i64>().ok());
    if revision.is_some_and(|revision| revision < last.revision) {
        let what = format!(
            "revision {} is entered already; give {} or a later one",
            last.revision,
            last.revision + 1
        );
        row.fault(reader.faults, "revision", what);
    } else if let Some(open) = open.next() {
        let what = format!(
            "revision {} is {} already; write on that one",
            open.revision, open.state
        );
        row.fault(reader.faults, "revision", what);
    }
    if row
        .given("part")
        .is_some_and(|part| part != last.part.as_str())
    {
        let what = format!(
            "revision {} makes {}; a recipe keeps its part",
            last.revision, last.part
        );
        row.fault(reader.faults, "part", what);
    }
}

/// The operations of new revisions; those of entered ones are held against them.
fn new_operations(reader: &Reader<'_>, rows: Vec<Row>, book: &Book) -> Vec<Row> {
    let mut new = Vec::new();
    for row in rows {
        let Some(stands) = book.revision(&row, "recipe") else {
            new.push(row);
            continue;
        };
        let mut operations = operations_of([stands]);
        let found = operations.find(|of| is_at(&row, of));
        match found {
            Some(of) => reader.unchangeable(&OPERATIONS, &row, &of, |_| remedy(stands)),
            None => row.fault(reader.faults, "position", no_such(&row, stands)),
        }
    }
    new
}

fn new_sprays(reader: &Reader<'_>, rows: Vec<Row>, book: &Book) -> Vec<Row> {
    let mut new = Vec::new();
    for row in rows {
        let Some(stands) = book.revision(&row, "recipe") else {
            new.push(row);
            continue;
        };
        let mut sprays = sprays_of([stands]);
        let found = sprays.find(|spray| is_at(&row, &spray.of));
        match found {
            Some(spray) => reader.unchangeable(&SPRAYS, &row, &spray, |_| remedy(stands)),
            None => row.fault(reader.faults, "position", no_such(&row, stands)),
        }
    }
    new
}

fn is_at(row: &Row, of: &OperationOf<'_>) -> bool {
    row.given("position") == Some(of.position.to_string().as_str())
}

fn no_such(row: &Row, stands: &Recipe) -> String {
    let position = row.given("position").unwrap_or_default();
    format!(
        "'{position}' is given and nothing stands; {}",
        remedy(stands)
    )
}

/// Enters revisions as drafts. Whoever brings one in is an author of it beside the one whom the sheet
/// names, so that somebody else approves it.
pub async fn write(change: &mut Change, who: &Who, recipes: Vec<Recipe>) -> Result<(), AppError> {
    let names = Names::load(change.connection()).await?;
    for mut recipe in recipes {
        if recipe.written_by.is_empty() {
            who.name.clone_into(&mut recipe.written_by);
        }
        let id = insert_recipe(change, &recipe).await?;
        add_author(change, id, who.id).await?;
        for author in names.called(&recipe.written_by) {
            add_author(change, id, author).await?;
        }
    }
    Ok(())
}
