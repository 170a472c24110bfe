//! What is written down of the rules of a mode, as a page asks for it and rows of three sheets have it.

use mendpost_core::resupply::{Apart, CarriageRule, CarriageRules, PackingGroup};

use crate::figures::Figure;
use crate::form::plain_decimal;
use crate::form::section::Fields;
use crate::resupply::form::{Typed, figure, yes_or_no};

/// The columns of a sheet of rules, and the fields of one.
pub const RULE: [&str; 8] = [
    "un",
    "class",
    "packing_group",
    "refused",
    "package",
    "load",
    "points",
    "note",
];

/// The columns of a sheet of classes that are kept apart, and the fields of two.
pub const APART: [&str; 4] = ["one", "other", "what", "can_be_kept"];

pub const LIMIT: Figure = figure(
    "points_limit",
    "Most points of one load",
    "points",
    "leave it empty where the rules count none",
    (3, 1, 1_000_000_000),
);
const UN: Figure = figure("un", "UN number", "UN", "", (0, 1, 9_999));
const PACKAGE: Figure = figure(
    "package",
    "In one package",
    "kg or l",
    "",
    (3, 1, 1_000_000_000),
);
const LOAD: Figure = figure("load", "In one load", "kg or l", "", (3, 1, 1_000_000_000));
const POINTS: Figure = figure("points", "Points", "a kg or l", "", (0, 0, 1_000));

/// All that are figures of a rule.
pub const FIGURES: [Figure; 4] = [UN, PACKAGE, LOAD, POINTS];

/// One rule.
pub fn rule(it: &mut Typed) -> Option<CarriageRule> {
    let un = it.figure_if(&UN);
    let class = it.class_if("class");
    let group = it.word_if::<PackingGroup>("packing_group");
    let refused = it.yes("refused");
    let package = it.figure_if(&PACKAGE);
    let load = it.figure_if(&LOAD);
    let points = it.figure_if(&POINTS);
    let note = it.text("note", 400);
    if refused == Some(true) {
        let why = "what is refused has no limits";
        it.leave_empty(&["package", "load", "points"], why);
    }
    Some(CarriageRule {
        un: un?,
        class: class?,
        group: group?,
        refused: refused?,
        package: package?,
        load: load?,
        points: points?.unwrap_or(0),
        note: note?,
    })
}

/// Two classes.
pub fn apart(it: &mut Typed) -> Option<Apart> {
    let (one, other) = (it.class("one"), it.class("other"));
    let what = it.text("what", 200);
    let can_be_kept = it.yes("can_be_kept");
    if one.is_some() && one == other {
        it.fault("other", "that is the same class; name another");
        return None;
    }
    Some(Apart {
        one: one?,
        other: other?,
        what: what?,
        can_be_kept: can_be_kept?,
    })
}

/// What is said twice: two rules of the same entries, or of the same two classes, where only one can hold.
/// The place of the second, from 0.
pub fn twice(rules: &[CarriageRule], apart: &[Apart]) -> (Option<usize>, Option<usize>) {
    let of = |rule: &CarriageRule| (rule.un, rule.class.clone(), rule.group);
    let pair = |it: &Apart| match it.one < it.other {
        true => (it.one.clone(), it.other.clone()),
        false => (it.other.clone(), it.one.clone()),
    };
    let again = |at: usize| rules[..at].iter().any(|rule| of(rule) == of(&rules[at]));
    let parted = |at: usize| apart[..at].iter().any(|it| pair(it) == pair(&apart[at]));
    (
        (0..rules.len()).find(|at| again(*at)),
        (0..apart.len()).find(|at| parted(*at)),
    )
}

/// What stands, as it would be typed.
pub fn fields(rules: &CarriageRules) -> Fields {
    let mut fields = Fields::new();
    fields.insert("edition".to_owned(), rules.edition.clone());
    if let Some(points) = rules.points_milli {
        fields.insert(LIMIT.name.to_owned(), plain_decimal(points, LIMIT.places));
    }
    for (at, rule) in rules.rules.iter().enumerate() {
        let milli = |value: Option<i64>| value.map_or_else(String::new, |it| plain_decimal(it, 3));
        let values = [
            rule.un.map_or_else(String::new, |un| un.to_string()),
            rule.class.clone().unwrap_or_default(),
            rule.group.map_or_else(String::new, |it| it.to_string()),
            yes_or_no(rule.refused).to_owned(),
            milli(rule.package),
            milli(rule.load),
            match rule.points {
                0 => String::new(),
                points => points.to_string(),
            },
            rule.note.clone(),
        ];
        for (name, value) in RULE.iter().zip(values) {
            fields.insert(format!("r{at}_{name}"), value);
        }
    }
    for (at, pair) in rules.apart.iter().enumerate() {
        let can = yes_or_no(pair.can_be_kept).to_owned();
        let values = [pair.one.clone(), pair.other.clone(), pair.what.clone(), can];
        for (name, value) in APART.iter().zip(values) {
            fields.insert(format!("a{at}_{name}"), value);
        }
    }
    fields
}
