//! The ways to serve a request, and the gates of each.

use mendpost_core::catalogue::{Recipe, RecipeState};
use mendpost_core::code::RecipeCode;
use mendpost_core::lineup::{Candidate, Shut, candidates};
use mendpost_core::situation::{Request, Situation, Way};

use super::standing::Standing;
use crate::page::whole;
use crate::words::Words;

/// The ways of one request, reckoned once.
pub struct Ways<'a> {
    words: &'a Words<'a>,
    situation: &'a Situation,
    request: &'a Request,
    standing: Standing<'a>,
    candidates: Vec<Candidate>,
}

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

impl<'a> Ways<'a> {
    pub fn new(
        words: &'a Words<'a>,
        situation: &'a Situation,
        request: &'a Request,
        standing: Standing<'a>,
    ) -> Self {
        Ways {
            words,
            situation,
            request,
            standing,
            candidates: candidates(situation, request),
        }
    }

    /// As they were asked for.
    pub fn rows(&self) -> Vec<WayRow> {
        self.candidates
            .iter()
            .filter(|way| way.recipe.is_some() || way.option.is_some())
            .map(|way| self.row(way))
            .collect()
    }

    /// Gates of every way that is shut: as the order found them, or those that no order changes.
    pub fn gates(&self) -> Vec<GatesOfWay> {
        match self.standing {
            Standing::Gate(_, waiting) => {
                let ways = waiting.ways.iter();
                ways.filter_map(|way| self.gates_of(&way.recipe, way.stand_in, &way.shut, true))
                    .collect()
            }
            _ => {
                let ways = self.candidates.iter();
                ways.filter_map(|way| self.gates_of(&way.recipe, way.stand_in, &way.shut, false))
                    .collect()
            }
        }
    }

    /// The recipe that the order works by; without a place, the first that is there to serve.
    pub fn recipe(&self) -> Option<&'a Recipe> {
        match self.standing {
            Standing::Place(_, place) => self.recipe_of(&place.recipe),
            _ => self
                .candidates
                .iter()
                .find_map(|way| self.recipe_of(&way.recipe)),
        }
    }

    fn row(&self, way: &Candidate) -> WayRow {
        let recipe = self.recipe_of(&way.recipe);
        let chosen = match self.standing {
            Standing::Place(stored, place)
                if place.recipe == way.recipe && place.stand_in == way.stand_in =>
            {
                Some((stored, place))
            }
            _ => None,
        };
        let gated = matches!(self.standing, Standing::Gate(..));
        let state = match (&chosen, recipe) {
            (Some((stored, _)), _) => format!("chosen by order {}", stored.number),
            (None, _) if !way.shut.is_empty() => "shut, see its gates".to_owned(),
            (None, None) => self.true_part_comes(),
            (None, Some(_)) if gated => "no room, see its gates".to_owned(),
            (None, Some(_)) => "open, not chosen".to_owned(),
        };
        let approved = recipe.filter(|recipe| recipe.state == RecipeState::Approved);
        WayRow {
            name: name(&way.recipe, way.stand_in),
            state: match approved {
                Some(recipe) => format!("{state}; approved by {}", recipe.approved_by),
                None => state,
            },
            powder: recipe.map_or_else(String::new, |recipe| powders(self.words, recipe)),
            lots: recipe.map_or("", lots),
            takes: takes(way),
            done: chosen.map_or_else(String::new, |(_, place)| self.words.when(place.done)),
        }
    }

    /// A way of an order that took none of its ways says why, also where it has no gate.
    fn gates_of(
        &self,
        recipe: &Named,
        stand_in: bool,
        shut: &[Shut],
        left_out: bool,
    ) -> Option<GatesOfWay> {
        let on_order = || {
            self.request
                .ways
                .iter()
                .any(|w| matches!(w, Way::TruePart { .. }))
        };
        let lines: Vec<(String, String)> = if shut.is_empty() && left_out && recipe.is_none() {
            self.words
                .true_part(self.request.code.as_str())
                .into_iter()
                .collect()
        } else {
            let both = |s: &Shut| (self.words.gate(&s.gate), self.words.opens(&s.opens));
            shut.iter().map(both).collect()
        };
        (!lines.is_empty()).then(|| GatesOfWay {
            name: if recipe.is_none() && !on_order() {
                "any way".to_owned()
            } else {
                name(recipe, stand_in)
            },
            lines,
        })
    }

    fn recipe_of(&self, named: &Named) -> Option<&'a Recipe> {
        let (code, revision) = named.as_ref()?;
        self.situation.recipe(code, *revision)
    }

    fn true_part_comes(&self) -> String {
        let expected = self.request.ways.iter().find_map(|way| match way {
            Way::TruePart { expected, .. } => Some(*expected),
            Way::Recipe(_) | Way::StandIn(_) => None,
        });
        expected.map_or_else(String::new, |at| {
            format!("expected {}", self.words.when(at))
        })
    }
}

fn name(recipe: &Named, stand_in: bool) -> String {
    recipe.as_ref().map_or_else(
        || "True part on order".to_owned(),
        |(code, revision)| match stand_in {
            true => format!("Stand-in by {code} rev {revision}"),
            false => format!("Recipe {code} rev {revision}"),
        },
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

fn lots(recipe: &Recipe) -> &'static str {
    if recipe.sprays().any(|spray| spray.one_lot) {
        "from one lot"
    } else {
        "from any lots"
    }
}

fn takes(way: &Candidate) -> String {
    match way.needs.iter().map(|need| need.powder_g).sum::<i64>() {
        0 => String::new(),
        grams => format!("{} g", whole(grams)),
    }
}
