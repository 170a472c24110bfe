//! The ways to serve a request, and the gates of each.

use std::collections::BTreeMap;

use mendpost_core::catalogue::{Recipe, RecipeState};
use mendpost_core::code::RecipeCode;
use mendpost_core::lineup::{Candidate, Shut, draft};
use mendpost_core::situation::{Request, Situation, Way};

use super::standing::Standing;
use crate::page::whole;
use crate::words::Words;

/// One way to serve a request.
pub struct WayRow {
    pub name: String,
    pub state: String,
    pub powder: String,
    pub lots: &'static str,
    pub takes: String,
    pub done: String,
}

/// The gates of one way.
pub struct GatesOfWay {
    pub name: String,
    /// Gate, and what opens it.
    pub lines: Vec<(String, String)>,
}

type Named = Option<(RecipeCode, i64)>;

/// Its ways, as asked for.
pub fn ways(
    words: &Words<'_>,
    situation: &Situation,
    request: &Request,
    standing: &Standing<'_>,
) -> Vec<WayRow> {
    candidates(situation, request)
        .iter()
        .filter(|way| way.recipe.is_some() || way.option.is_some())
        .map(|way| way_row(words, situation, request, standing, way))
        .collect()
}

fn way_row(
    words: &Words<'_>,
    situation: &Situation,
    request: &Request,
    standing: &Standing<'_>,
    way: &Candidate,
) -> WayRow {
    let recipe = recipe_of(situation, &way.recipe);
    let chosen = match standing {
        Standing::Place(stored, place) if place.recipe == way.recipe => Some((stored, place)),
        _ => None,
    };
    let state = match (&chosen, recipe) {
        (Some((stored, _)), _) => format!("chosen by order {}", stored.number),
        (None, _) if !way.shut.is_empty() => "shut, see its gates".to_owned(),
        (None, None) => true_part_comes(words, request),
        (None, Some(_)) if matches!(standing, Standing::Gate(..)) => {
            "no room, see its gates".to_owned()
        }
        (None, Some(_)) => "open, not chosen".to_owned(),
    };
    let by = recipe
        .filter(|r| r.state == RecipeState::Approved)
        .map(|r| &r.approved_by);
    WayRow {
        name: name(&way.recipe),
        state: by.map_or_else(|| state.clone(), |by| format!("{state}; approved by {by}")),
        powder: recipe.map_or_else(String::new, |r| powders(words, r)),
        lots: recipe.map_or("", |r| {
            if r.sprays().any(|s| s.one_lot) {
                "from one lot"
            } else {
                "from any lots"
            }
        }),
        takes: takes(way),
        done: chosen.map_or_else(String::new, |(_, place)| words.when(place.done)),
    }
}

/// Gates of every way that is shut: as the order found them, or those that do not depend on an order.
pub fn gates(
    words: &Words<'_>,
    situation: &Situation,
    request: &Request,
    standing: &Standing<'_>,
) -> Vec<GatesOfWay> {
    let shut: Vec<(Named, Vec<Shut>)> = match standing {
        Standing::Gate(_, waiting) => waiting
            .ways
            .iter()
            .map(|w| (w.recipe.clone(), w.shut.clone()))
            .collect(),
        _ => candidates(situation, request)
            .into_iter()
            .map(|c| (c.recipe, c.shut))
            .collect(),
    };
    let true_part = request
        .ways
        .iter()
        .any(|w| matches!(w, Way::TruePart { .. }));
    shut.into_iter()
        .filter(|(_, shut)| !shut.is_empty())
        .map(|(recipe, shut)| GatesOfWay {
            name: if recipe.is_none() && !true_part {
                "Any way".to_owned()
            } else {
                name(&recipe)
            },
            lines: shut
                .iter()
                .map(|s| (words.gate(&s.gate), words.opens(&s.opens)))
                .collect(),
        })
        .collect()
}

/// The recipe that the order works by; without a place, the first that is there to serve.
pub fn chosen_recipe<'a>(
    situation: &'a Situation,
    request: &Request,
    standing: &Standing<'_>,
) -> Option<&'a Recipe> {
    if let Standing::Place(_, place) = standing {
        return recipe_of(situation, &place.recipe);
    }
    let ways = candidates(situation, request);
    ways.iter()
        .find_map(|way| recipe_of(situation, &way.recipe))
}

fn candidates(situation: &Situation, request: &Request) -> Vec<Candidate> {
    let mut all: BTreeMap<_, Vec<Candidate>> = draft(situation).candidates;
    all.remove(&request.code).unwrap_or_default()
}

fn recipe_of<'a>(situation: &'a Situation, named: &Named) -> Option<&'a Recipe> {
    let (code, revision) = named.as_ref()?;
    situation
        .recipes
        .iter()
        .find(|r| r.code == *code && r.revision == *revision)
}

fn name(recipe: &Named) -> String {
    recipe.as_ref().map_or_else(
        || "True part on order".to_owned(),
        |(code, revision)| format!("Recipe {code} rev {revision}"),
    )
}

fn powders(words: &Words<'_>, recipe: &Recipe) -> String {
    let mut names: Vec<String> = Vec::new();
    for spray in recipe.sprays() {
        let name = words.powder(spray.powder.as_str());
        if !names.contains(&name) {
            names.push(name);
        }
    }
    names.join(", ")
}

fn takes(way: &Candidate) -> String {
    let grams: i64 = way.needs.iter().map(|need| need.powder_g).sum();
    if grams == 0 {
        String::new()
    } else {
        format!("{} g", whole(grams))
    }
}

fn true_part_comes(words: &Words<'_>, request: &Request) -> String {
    let expected = request.ways.iter().find_map(|way| match way {
        Way::TruePart { expected, .. } => Some(*expected),
        Way::Recipe(_) => None,
    });
    expected.map_or_else(String::new, |at| format!("expected {}", words.when(at)))
}
