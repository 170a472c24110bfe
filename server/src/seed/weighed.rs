//! Builds that were weighed before this book began.

use super::data::SeedWeighed;
use super::fault::Faults;
use super::files::SeedFiles;
use super::recipe::Key;
use super::row::Row;
use super::sheet::Sheet;
use super::time::Calendar;
use crate::form::MOST_WEIGHED_MG;
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

/// What the other files list.
pub(super) struct Known {
    /// What each stage sprays.
    pub(super) stages: BTreeMap<(Key, i64), Option<PowderCode>>,
    /// The powder of each lot.
    pub(super) lots: BTreeMap<LotCode, Option<PowderCode>>,
}

pub(super) fn weighed(
    files: &SeedFiles,
    known: &Known,
    calendar: &Calendar,
    faults: &Faults,
) -> Vec<SeedWeighed> {
    let rows = WEIGHED.rows(files, faults);
    rows.iter()
        .filter_map(|row| build(row, known, calendar, faults))
        .collect()
}

fn build(row: &Row, known: &Known, calendar: &Calendar, faults: &Faults) -> Option<SeedWeighed> {
    let recipe: Option<RecipeCode> = row.parse(faults, "recipe");
    let revision = row.number(faults, "revision", 0, 1..=10_000);
    let position = row.number(faults, "position", 0, 1..=1000);
    let fed = row.number(faults, "fed_g", 3, 1000..=MOST_WEIGHED_MG);
    let deposited = row.number(faults, "deposited_g", 3, 1..=MOST_WEIGHED_MG);
    let lot: Option<Option<LotCode>> = row.parse_optional(faults, "lot");
    let throat_um = row.number_optional(faults, "throat_mm", 3, 500..=10_000);
    let built_at = row.past(faults, "built", calendar);
    let weighed_by = row.text(faults, "weighed_by", 80);
    let note = row.text_or_empty(faults, "note", 200);
    let (recipe, revision, position) = (recipe?, revision?, position?);
    let sprayed = known.stages.get(&((recipe.clone(), revision), position));
    if sprayed.is_none() {
        let what = format!("sprays.csv has no {recipe} revision {revision} position {position}");
        row.fault(faults, "position", what);
    }
    let (fed, deposited, lot) = (fed?, deposited?, lot?);
    if deposited > fed || deposited * 50 < fed {
        let what = "more than was fed, or less than 2 % of it; weigh again, or leave the row out";
        row.fault(faults, "deposited_g", what);
    }
    if let Some(lot) = &lot {
        match (known.lots.get(lot), sprayed) {
            (None, _) => row.fault(faults, "lot", format!("'{lot}' is not in lots.csv")),
            (Some(Some(powder)), Some(Some(sprayed))) if powder != sprayed => {
                let what = format!("'{lot}' is {powder}, and this stage sprays {sprayed}");
                row.fault(faults, "lot", what);
            }
            _ => (),
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
