//! Requests, the ways in which each may be served, and the answers given.

use super::data::{SeedAnswer, SeedRequest};
use super::fault::Faults;
use super::files::SeedFiles;
use super::row::{Row, codes};
use super::sheet::Sheet;
use super::time::Calendar;
use chrono::{DateTime, Utc};
use mendpost_core::catalogue::{About, Answer, Came, Said};
use mendpost_core::code::{AssetCode, DeliveryCode, MetalCode, PartCode, RecipeCode};
use mendpost_core::situation::{BaseMetal, Request, Spare, StandIn, Way};
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
    optional: &["base_metal", "base_metal_known", "sorted_by", "sorted"],
    may_be_missing: true,
};

const WAYS: Sheet = Sheet {
    file: "ways.csv",
    columns: &[
        "request", "recipe", "delivery", "expected", "fit_min", "crew",
    ],
    optional: &["off_by", "swap_min", "second_build"],
    may_be_missing: true,
};

const YESES: Sheet = Sheet {
    file: "yeses.csv",
    columns: &["request", "who", "name", "words", "given", "until"],
    optional: &[
        "about",
        "said",
        "came",
        "limits",
        "expected",
        "only_recipe",
        "only_revision",
    ],
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
    let mut answers: BTreeMap<i64, Vec<SeedAnswer>> = BTreeMap::new();
    for row in YESES.rows(files, faults) {
        let number = row.one_of(faults, "request", &numbers);
        let answer = answer(&row, known, calendar, faults);
        if let (Some(number), Some(answer)) = (number, answer) {
            answers.entry(number).or_default().push(answer);
        }
    }
    rows.iter()
        .filter_map(|row| request(row, known, &mut ways, &mut answers, calendar, faults))
        .collect()
}

fn request(
    row: &Row,
    known: &Known,
    ways: &mut BTreeMap<i64, Vec<Way>>,
    answers: &mut BTreeMap<i64, Vec<SeedAnswer>>,
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
    let sorted = sorted(row, faults);
    let number = number?;
    let answers = answers.remove(&number).unwrap_or_default();
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
        tag: None,
        mass_g: None,
        spare: Spare::NotKnown,
        ways: ways.remove(&number).unwrap_or_default(),
        answers: answers.iter().map(|a| a.answer.clone()).collect(),
        begun: None,
        building: None,
        on_hold: Vec::new(),
    };
    Some(SeedRequest {
        number,
        request,
        reported_by: reported_by?,
        sorted: sorted?,
        answers,
    })
}

/// Who sorted it and why so; both or neither is given.
fn sorted(row: &Row, faults: &Faults) -> Option<Option<(String, String)>> {
    let columns = ["sorted_by", "sorted"];
    if columns.iter().all(|column| row.given(column).is_none()) {
        return Some(None);
    }
    let by = row.text(faults, "sorted_by", 80);
    let reason = row.text(faults, "sorted", 400);
    Some(Some((by?, reason?)))
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
    if row.given("off_by").is_some() {
        return stand_in(row, part, known, calendar, faults);
    }
    for column in ["swap_min", "second_build"] {
        if row.given(column).is_some() {
            let what = "only for a stand-in; give 'off_by' too, or leave it empty";
            row.fault(faults, column, what);
        }
    }
    if row.given("recipe").is_some() {
        return by_recipe(row, part, known, faults).map(Way::Recipe);
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

/// A stand-in that must come off again.
fn stand_in(
    row: &Row,
    part: Option<&PartCode>,
    known: &Known,
    calendar: &Calendar,
    faults: &Faults,
) -> Option<Way> {
    let recipe = by_recipe(row, part, known, faults);
    let off_by = row.moment(faults, "off_by", calendar);
    let swap_min = row.number(faults, "swap_min", 0, 1..=20_160);
    let second_build = row.number(faults, "second_build", 0, 0..=1_000_000_000);
    Some(Way::StandIn(StandIn {
        recipe: recipe?,
        off_by: off_by?,
        swap_min: swap_min?,
        second_build: second_build?,
    }))
}

fn by_recipe(
    row: &Row,
    part: Option<&PartCode>,
    known: &Known,
    faults: &Faults,
) -> Option<RecipeCode> {
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
    Some(recipe)
}

fn answer(row: &Row, known: &Known, calendar: &Calendar, faults: &Faults) -> Option<SeedAnswer> {
    let who = row.parse(faults, "who");
    let name = row.text(faults, "name", 80);
    let words = row.text(faults, "words", 2000);
    let about = row.parse_optional(faults, "about");
    let came = row.parse_optional(faults, "came");
    let limits = row.text_or_empty(faults, "limits", 2000);
    let given_at = row.past(faults, "given", calendar);
    let said = said(row, known, calendar, faults);
    Some(SeedAnswer {
        answer: Answer {
            about: about?.unwrap_or(About::Build),
            who: who?,
            name: name?,
            came: came?.unwrap_or(Came::InPerson),
            words: words?,
            limits: limits?,
            said: said?,
        },
        given_at: given_at?,
    })
}

/// Yes where nothing else is told.
fn said(row: &Row, known: &Known, calendar: &Calendar, faults: &Faults) -> Option<Said> {
    let until = row.moment_optional(faults, "until", calendar);
    let expected = row.moment_optional(faults, "expected", calendar);
    let recipes = known.recipes.keys().cloned().collect();
    let recipe = row.one_of_optional(faults, "only_recipe", &recipes);
    let revision = row.number_optional(faults, "only_revision", 0, 1..=10_000);
    let only_for = |columns: &[&str], word: &str| {
        for column in columns.iter().filter(|column| row.given(column).is_some()) {
            row.fault(faults, column, format!("only for '{word}'; leave it empty"));
        }
    };
    match row.given("said").unwrap_or("yes") {
        "yes" => {
            only_for(&["expected"], "awaited");
            let (recipe, revision) = (recipe?, revision?);
            if recipe.is_some() != revision.is_some() {
                let what = "only_recipe and only_revision belong together; give both or neither";
                row.fault(faults, "only_revision", what);
            }
            Some(Said::Yes {
                until: until?,
                only: recipe.zip(revision),
            })
        }
        "no" => {
            only_for(&["until", "only_recipe", "only_revision"], "yes");
            only_for(&["expected"], "awaited");
            Some(Said::No)
        }
        "awaited" => {
            only_for(&["until", "only_recipe", "only_revision"], "yes");
            Some(Said::Awaited {
                expected: expected?,
            })
        }
        other => {
            let what = format!("'{other}' is none of: yes, no, awaited");
            row.fault(faults, "said", what);
            None
        }
    }
}
