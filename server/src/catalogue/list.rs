use std::collections::BTreeMap;

use askama::Template;
use mendpost_core::catalogue::{Part, Recipe, RecipeState};
use mendpost_core::lineup::{Gate, Shut, recipes_of, shut_here, stage_need};
use mendpost_core::situation::Situation;

use crate::page::{Layout, whole};
use crate::shape::Small;
use crate::words::catalogue::{flags, state};
use crate::words::work::{count, sentence};
use crate::words::{Words, kilograms, size};

/// Every part, with the recipe that would make it.
#[derive(Template)]
#[template(path = "catalogue/list.html")]
pub struct ListPage {
    page: Layout,
    answer: String,
    reason: String,
    rows: Vec<Row>,
    may_write: bool,
}

struct Row {
    path: String,
    picture: Option<Small>,
    name: String,
    /// Its number, and the requests that ask for it.
    below: String,
    size: String,
    mass: String,
    flags: String,
    standing: Standing,
    /// Each with whether it comes from one lot.
    powders: Vec<(String, &'static str)>,
    minutes: String,
}

/// Whether a part can be made here, as marked and said.
struct Standing {
    mark: &'static str,
    number: String,
    word: &'static str,
    detail: String,
}

impl ListPage {
    pub fn new(
        page: Layout,
        situation: &Situation,
        mut pictures: BTreeMap<String, Small>,
        may_write: bool,
    ) -> Self {
        let words = Words::new(situation);
        let (retired, offered): (Vec<&Part>, Vec<&Part>) =
            situation.parts.iter().partition(|part| part.retired);
        let mut rows: Vec<Row> = offered
            .into_iter()
            .map(|part| row(situation, &words, &mut pictures, part))
            .collect();
        let (answer, reason) = answer(&rows, retired.len());
        rows.extend(retired.into_iter().map(|part| Row {
            standing: Standing {
                mark: "free",
                number: String::new(),
                word: "retired",
                detail: "not offered any more".to_owned(),
            },
            ..row(situation, &words, &mut pictures, part)
        }));
        ListPage {
            page,
            answer,
            reason,
            rows,
            may_write,
        }
    }
}

fn answer(rows: &[Row], retired: usize) -> (String, String) {
    if rows.is_empty() {
        let answer = match retired {
            0 => "List the first part: the catalogue is empty.".to_owned(),
            1 => "Bring the part back, or list another: it is retired.".to_owned(),
            all => format!("Bring a part back, or list another: all {all} are retired."),
        };
        return (answer, String::new());
    }
    let marked = |mark| rows.iter().filter(|r| r.standing.mark == mark).count();
    let (made, waits, lost) = (marked("ready"), marked("waits"), marked("lost"));
    let answer = match made {
        0 => format!(
            "Make none of {} parts here: no recipe may be used.",
            rows.len()
        ),
        all if all == rows.len() => format!("Make any of {all} parts here, by an approved recipe."),
        some => format!(
            "Make {some} of {} parts here, by an approved recipe.",
            rows.len()
        ),
    };
    let mut reasons = Vec::new();
    if waits > 0 {
        let (recipes, wait) = plural(waits, "recipe waits", "recipes wait");
        reasons.push(format!("{recipes} {wait} for approval"));
    }
    if lost > 0 {
        let (parts, cannot) = plural(lost, "part cannot", "parts cannot");
        reasons.push(format!("{parts} {cannot} be made here"));
    }
    let reason = sentence(&reasons.join(", "));
    let stop = if reason.is_empty() { "" } else { "." };
    (answer, format!("{reason}{stop}"))
}

fn plural<'a>(number: usize, one: &'a str, more: &'a str) -> (String, &'a str) {
    (count(number), if number == 1 { one } else { more })
}

fn row(
    situation: &Situation,
    words: &Words<'_>,
    pictures: &mut BTreeMap<String, Small>,
    part: &Part,
) -> Row {
    let best = best(situation, part);
    let recipe = best.as_ref().map(|(recipe, _)| *recipe);
    let standing = standing(words, best.as_ref());
    let asked: Vec<&str> = situation
        .requests
        .iter()
        .filter(|r| r.part.as_ref() == Some(&part.code))
        .map(|r| r.code.as_str())
        .collect();
    Row {
        path: format!("/catalogue/{}", part.code),
        picture: pictures.remove(part.code.as_str()),
        name: sentence(&part.name),
        below: if asked.is_empty() {
            part.code.to_string()
        } else {
            format!("{}, asked for by {}", part.code, asked.join(", "))
        },
        size: size(part.envelope_mm),
        mass: kilograms(part.mass_g),
        flags: flags(part),
        powders: recipe.map_or_else(Vec::new, |r| {
            r.sprays()
                .map(|spray| {
                    let lots = if spray.one_lot { "one lot" } else { "any lots" };
                    (sentence(&words.powder_short(spray.powder.as_str())), lots)
                })
                .collect()
        }),
        minutes: recipe
            .filter(|_| standing.mark != "lost")
            .map_or_else(String::new, |r| cell_minutes(situation, r)),
        standing,
    }
}

/// The recipe to make a part by: one with nothing against it, if there is one.
fn best<'a>(situation: &'a Situation, part: &Part) -> Option<(&'a Recipe, Vec<Shut>)> {
    let recipes = recipes_of(situation, part).into_iter();
    recipes
        .map(|recipe| (recipe, shut_here(situation, part, recipe)))
        .min_by_key(|(recipe, shut)| (shut.len(), recipe.state != RecipeState::Approved))
}

fn standing(words: &Words<'_>, best: Option<&(&Recipe, Vec<Shut>)>) -> Standing {
    let Some((recipe, shut)) = best else {
        return Standing {
            mark: "lost",
            number: String::new(),
            word: "none",
            detail: "no recipe makes this part".to_owned(),
        };
    };
    let pending = |s: &Shut| {
        matches!(
            s.gate,
            Gate::NotApproved {
                state: RecipeState::Draft | RecipeState::Proposed,
                ..
            }
        )
    };
    let mark = match shut.as_slice() {
        [] => "ready",
        all if all.iter().all(pending) => "waits",
        _ => "lost",
    };
    // What never opens is said before what may.
    let gate = shut.iter().find(|s| !pending(s)).or_else(|| shut.first());
    Standing {
        mark,
        number: if mark == "lost" {
            String::new()
        } else {
            recipe.revision.to_string()
        },
        word: if mark == "lost" {
            "not here"
        } else {
            state(recipe.state)
        },
        detail: gate.map_or_else(
            || format!("recipe {}, by {}", recipe.code, recipe.approved_by),
            |s| words.gate(&s.gate),
        ),
    }
}

/// Minutes that all its stages hold the cell; none if a stage cannot be sprayed here.
fn cell_minutes(situation: &Situation, recipe: &Recipe) -> String {
    let minutes: Option<i64> = recipe
        .sprays()
        .map(|spray| stage_need(situation, spray).ok().map(|need| need.minutes))
        .sum();
    minutes.map_or_else(String::new, whole)
}
