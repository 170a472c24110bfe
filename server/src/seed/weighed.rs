//! Builds that were weighed before this book began.

use super::data::{SeedLot, SeedWeighed};
use super::fault::Faults;
use super::files::SeedFiles;
use super::row::Row;
use super::sheet::Sheet;
use super::time::Calendar;
use mendpost_core::catalogue::{Recipe, Spray};
use mendpost_core::code::{LotCode, PowderCode, RecipeCode};
use mendpost_core::quantity::Milligrams;
use std::collections::BTreeMap;

const WEIGHED: Sheet = Sheet {
    file: "weighed_builds.csv",
    columns: &[
        "recipe",
        "revision",
        "position",
        "fed_g",
        "deposited_g",
        "lot",
        "built",
        "weighed_by",
    ],
    optional: &["throat_mm", "note"],
    may_be_missing: true,
};

pub(super) fn weighed(
    files: &SeedFiles,
    recipes: &[Recipe],
    lots: &[SeedLot],
    calendar: &Calendar,
    faults: &Faults,
) -> Vec<SeedWeighed> {
    let lots = lots.iter().map(|l| (&l.lot.code, &l.lot.powder)).collect();
    let rows = WEIGHED.rows(files, faults);
    rows.iter()
        .filter_map(|row| build(row, recipes, &lots, calendar, faults))
        .collect()
}

fn build(
    row: &Row,
    recipes: &[Recipe],
    lots: &BTreeMap<&LotCode, &PowderCode>,
    calendar: &Calendar,
    faults: &Faults,
) -> Option<SeedWeighed> {
    let recipe: Option<RecipeCode> = row.parse(faults, "recipe");
    let revision = row.number(faults, "revision", 0, 1..=10_000);
    let position = row.number(faults, "position", 0, 1..=1000);
    let fed = row.number(faults, "fed_g", 3, 1000..=MOST_MG);
    let deposited = row.number(faults, "deposited_g", 3, 1..=MOST_MG);
    let lot: Option<Option<LotCode>> = row.parse_optional(faults, "lot");
    let throat_um = row.number_optional(faults, "throat_mm", 3, 500..=10_000);
    let built_at = row.past(faults, "built", calendar);
    let weighed_by = row.text(faults, "weighed_by", 80);
    let note = row.text_or_empty(faults, "note", 200);
    let (recipe, revision, position) = (recipe?, revision?, position?);
    let spray = stage(recipes, &recipe, revision, position);
    if spray.is_none() {
        let what = format!("sprays.csv has no {recipe} revision {revision} position {position}");
        row.fault(faults, "position", what);
    }
    let (fed, deposited, lot) = (fed?, deposited?, lot?);
    if deposited > fed || deposited * 50 < fed {
        let what = "more than was fed, or less than 2 % of it; weigh again, or leave the row out";
        row.fault(faults, "deposited_g", what);
    }
    if let (Some(lot), Some(spray)) = (&lot, spray) {
        match lots.get(lot) {
            None => row.fault(faults, "lot", format!("lots.csv has no '{lot}'")),
            Some(powder) if **powder != spray.powder => {
                let what = format!(
                    "'{lot}' is {powder}, and this stage sprays {}",
                    spray.powder
                );
                row.fault(faults, "lot", what);
            }
            Some(_) => (),
        }
    }
    Some(SeedWeighed {
        recipe,
        revision,
        position,
        fed: Milligrams(fed),
        deposited: Milligrams(deposited),
        lot,
        throat_um: throat_um?,
        built_at: built_at?,
        weighed_by: weighed_by?,
        note: note?,
    })
}

fn stage<'a>(
    recipes: &'a [Recipe],
    code: &RecipeCode,
    revision: i64,
    position: i64,
) -> Option<&'a Spray> {
    let recipe = recipes
        .iter()
        .find(|r| r.code == *code && r.revision == revision)?;
    let index = usize::try_from(position - 1).ok()?;
    recipe.operations.get(index)?.spray.as_ref()
}

/// No stage of a part that a person lifts takes more, in milligrams: a ton.
const MOST_MG: i64 = 1_000_000_000;
