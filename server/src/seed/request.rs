//! Requests, the ways in which each may be served, and the yeses given.

use super::data::{SeedRequest, SeedYes};
use super::fault::Faults;
use super::files::SeedFiles;
use super::row::{Row, codes};
use super::sheet::Sheet;
use super::time::Calendar;
use chrono::{DateTime, Utc};
use mendpost_core::catalogue::Yes;
use mendpost_core::code::{AssetCode, DeliveryCode, MetalCode, PartCode, RecipeCode};
use mendpost_core::situation::{BaseMetal, Request, Way};
use std::collections::{BTreeMap, BTreeSet};

const REQUESTS: Sheet = Sheet {
    file: "requests.csv",
    columns: &[
        "number",
        "asset",
        "part",
        "part_name",
        "damage",
        "reported",
        "reported_by",
        "asked_by",
        "needed_by",
        "danger",
        "at_cell",
        "description",
    ],
    optional: &["base_metal", "base_metal_known"],
    may_be_missing: true,
};

const WAYS: Sheet = Sheet {
    file: "ways.csv",
    columns: &[
        "request", "recipe", "delivery", "expected", "fit_min", "crew",
    ],
    optional: &[],
    may_be_missing: true,
};

const YESES: Sheet = Sheet {
    file: "yeses.csv",
    columns: &["request", "who", "name", "words", "given", "until"],
    optional: &[],
    may_be_missing: true,
};

/// What a request may name.
pub(super) struct Known {
    pub(super) assets: BTreeSet<AssetCode>,
    pub(super) parts: BTreeSet<PartCode>,
    pub(super) metals: BTreeSet<MetalCode>,
    /// With the part that each makes.
    pub(super) recipes: BTreeMap<RecipeCode, Option<PartCode>>,
    /// With the time at which each is expected.
    pub(super) deliveries: BTreeMap<DeliveryCode, DateTime<Utc>>,
}

const NUMBERS: std::ops::RangeInclusive<i64> = 1..=1_000_000;

pub(super) fn requests(
    files: &SeedFiles,
    known: &Known,
    calendar: &Calendar,
    faults: &Faults,
) -> Vec<SeedRequest> {
    let rows = REQUESTS.rows(files, faults);
    let numbers: BTreeSet<i64> = codes(&rows, "number", faults);
    let parts: BTreeMap<i64, PartCode> = rows
        .iter()
        .filter_map(|row| {
            let number = row.given("number")?.parse().ok()?;
            Some((number, row.given("part")?.parse().ok()?))
        })
        .collect();
    let mut ways: BTreeMap<i64, Vec<Way>> = BTreeMap::new();
    for row in WAYS.rows(files, faults) {
        let number = row.one_of(faults, "request", &numbers);
        let part = number.and_then(|n| parts.get(&n));
        let way = way(&row, part, known, calendar, faults);
        if let (Some(number), Some(way)) = (number, way) {
            ways.entry(number).or_default().push(way);
        }
    }
    let mut yeses: BTreeMap<i64, Vec<SeedYes>> = BTreeMap::new();
    for row in YESES.rows(files, faults) {
        let number = row.one_of(faults, "request", &numbers);
        let yes = yes(&row, calendar, faults);
        if let (Some(number), Some(yes)) = (number, yes) {
            yeses.entry(number).or_default().push(yes);
        }
    }
    rows.iter()
        .filter_map(|row| request(row, known, &mut ways, &mut yeses, calendar, faults))
        .collect()
}

fn request(
    row: &Row,
    known: &Known,
    ways: &mut BTreeMap<i64, Vec<Way>>,
    yeses: &mut BTreeMap<i64, Vec<SeedYes>>,
    calendar: &Calendar,
    faults: &Faults,
) -> Option<SeedRequest> {
    let number = row.number(faults, "number", 0, NUMBERS);
    let asset = row.one_of(faults, "asset", &known.assets);
    let part = row.one_of_optional(faults, "part", &known.parts);
    let part_name = row.text(faults, "part_name", 80);
    let damage = row.parse(faults, "damage");
    let description = row.text_or_empty(faults, "description", 2000);
    let reported_at = row.past(faults, "reported", calendar);
    let reported_by = row.text(faults, "reported_by", 80);
    let asked_by = row.text(faults, "asked_by", 80);
    let needed_by = row.moment_optional(faults, "needed_by", calendar);
    let danger = row.yes_or_no(faults, "danger");
    let at_cell_from = row.moment_optional(faults, "at_cell", calendar);
    let base_metal = base_metal(row, known, faults);
    let number = number?;
    let yeses = yeses.remove(&number).unwrap_or_default();
    let request = Request {
        code: format!("R{number}").parse().ok()?,
        asset: asset?,
        part: part?,
        part_name: part_name?,
        damage: damage?,
        description: description?,
        reported_at: reported_at?,
        asked_by: asked_by?,
        needed_by: needed_by?,
        danger: danger?,
        base_metal: base_metal?,
        at_cell_from: at_cell_from?,
        ways: ways.remove(&number).unwrap_or_default(),
        yeses: yeses.iter().map(|y| y.yes.clone()).collect(),
    };
    Some(SeedRequest {
        number,
        request,
        reported_by: reported_by?,
        yeses,
    })
}

/// None within if nothing is said of it.
fn base_metal(row: &Row, known: &Known, faults: &Faults) -> Option<Option<BaseMetal>> {
    let metal = row.one_of_optional(faults, "base_metal", &known.metals);
    if row.given("base_metal").is_none() {
        if row.given("base_metal_known").is_some() {
            row.fault(faults, "base_metal", "nothing is given; say which metal");
        }
        return Some(None);
    }
    let known = row.yes_or_no(faults, "base_metal_known");
    Some(Some(BaseMetal {
        metal: metal??,
        known: known?,
    }))
}

/// A recipe, or the true part: by a delivery, or by a time alone.
fn way(
    row: &Row,
    part: Option<&PartCode>,
    known: &Known,
    calendar: &Calendar,
    faults: &Faults,
) -> Option<Way> {
    if row.given("recipe").is_some() {
        return by_recipe(row, part, known, faults);
    }
    let deliveries = known.deliveries.keys().cloned().collect();
    let delivery = row.one_of_optional(faults, "delivery", &deliveries);
    let expected = row.moment_optional(faults, "expected", calendar);
    let fit_min = row.number(faults, "fit_min", 0, 1..=20_160);
    let crew = row.number(faults, "crew", 0, 0..=20);
    let (delivery, expected) = (delivery?, expected?);
    let arrival = delivery.as_ref().and_then(|d| known.deliveries.get(d));
    let Some(expected) = expected.or(arrival.copied()) else {
        let what =
            "give a recipe, or for the true part a delivery or the time at which it is expected";
        row.fault_of_row(faults, what);
        return None;
    };
    Some(Way::TruePart {
        delivery,
        expected,
        fit_min: fit_min?,
        crew: crew?,
    })
}

fn by_recipe(row: &Row, part: Option<&PartCode>, known: &Known, faults: &Faults) -> Option<Way> {
    for column in ["delivery", "expected", "fit_min", "crew"] {
        if row.given(column).is_some() {
            row.fault(faults, column, "not for a recipe; leave it empty");
        }
    }
    let recipes = known.recipes.keys().cloned().collect();
    let recipe = row.one_of(faults, "recipe", &recipes)?;
    let makes = known.recipes.get(&recipe)?.as_ref();
    if makes.is_some() && makes != part {
        let makes = makes.map_or("nothing", PartCode::as_str);
        let needs = part.map_or("a part that is not listed", PartCode::as_str);
        let what = format!("'{recipe}' makes {makes}; the request is for {needs}");
        row.fault(faults, "recipe", what);
    }
    Some(Way::Recipe(recipe))
}

fn yes(row: &Row, calendar: &Calendar, faults: &Faults) -> Option<SeedYes> {
    let who = row.parse(faults, "who");
    let name = row.text(faults, "name", 80);
    let words = row.text(faults, "words", 2000);
    let given_at = row.past(faults, "given", calendar);
    let until = row.moment_optional(faults, "until", calendar);
    Some(SeedYes {
        yes: Yes {
            who: who?,
            name: name?,
            words: words?,
            until: until?,
        },
        given_at: given_at?,
    })
}
