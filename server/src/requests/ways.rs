//! The ways to serve a request, and the gates of each.

use mendpost_core::catalogue::{Recipe, RecipeState};
use mendpost_core::code::RecipeCode;
use mendpost_core::lineup::{Candidate, Place, Shut, candidates};
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

/// Which way it is.
struct Named<'a> {
    recipe: &'a Option<(RecipeCode, i64)>,
    stand_in: bool,
    again_from: Option<usize>,
}

impl<'a> Named<'a> {
    fn of(way: &'a Candidate) -> Self {
        Named {
            recipe: &way.recipe,
            stand_in: way.stand_in,
            again_from: way.again_from(),
        }
    }
}

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
                ways.filter_map(|way| {
                    let named = Named {
                        recipe: &way.recipe,
                        stand_in: way.stand_in,
                        again_from: way.again_from,
                    };
                    self.gates_of(&named, &way.shut, true)
                })
                .collect()
            }
            _ => {
                let ways = self.candidates.iter();
                ways.filter_map(|way| self.gates_of(&Named::of(way), &way.shut, false))
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
            Standing::Place(stored, place) if self.is_of(way, place) => Some((stored, place)),
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
            name: self.name(&Named::of(way)),
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
    fn gates_of(&self, named: &Named<'_>, shut: &[Shut], left_out: bool) -> Option<GatesOfWay> {
        let on_order = || {
            self.request
                .ways
                .iter()
                .any(|w| matches!(w, Way::TruePart { .. }))
        };
        let lines: Vec<(String, String)> = if shut.is_empty() && left_out && named.recipe.is_none()
        {
            self.words
                .true_part(self.request.code.as_str())
                .into_iter()
                .collect()
        } else {
            let both = |s: &Shut| (self.words.gate(&s.gate), self.words.opens(&s.opens));
            shut.iter().map(both).collect()
        };
        (!lines.is_empty()).then(|| GatesOfWay {
            name: if named.recipe.is_none() && !on_order() {
                "any way".to_owned()
            } else {
                self.name(named)
            },
            lines,
        })
    }

    fn recipe_of(&self, recipe: &Option<(RecipeCode, i64)>) -> Option<&'a Recipe> {
        let (code, revision) = recipe.as_ref()?;
        self.situation.recipe(code, *revision)
    }

    /// Whether the order took this way: one that does some of what is done again has more to do than one that
    /// goes on in time.
    fn is_of(&self, way: &Candidate, place: &Place) -> bool {
        let length = |way: &Candidate| way.option.as_ref().map_or(0, |it| it.operations.len());
        let again = self.candidates.iter().find(|it| it.again_from().is_some());
        let does_again = again.is_some_and(|again| place.work.len() >= length(again));
        place.recipe == way.recipe
            && place.stand_in == way.stand_in
            && way.again_from().is_some() == does_again
    }

    /// 'Recipe BR-035 rev 1', with what tells it from another way by the same recipe.
    fn name(&self, way: &Named<'_>) -> String {
        let Some((code, revision)) = way.recipe else {
            return "True part on order".to_owned();
        };
        let kind = if way.stand_in {
            "Stand-in by"
        } else {
            "Recipe"
        };
        let name = format!("{kind} {code} rev {revision}");
        let first = |at: usize| self.recipe_of(way.recipe)?.operations.get(at);
        match way.again_from.and_then(first) {
            Some(first) => format!("{name}, again from ‘{}’ on", first.name),
            None if self.may_go_again() => format!("{name}, going on in time"),
            None => name,
        }
    }

    fn may_go_again(&self) -> bool {
        self.candidates.iter().any(|it| it.again_from().is_some())
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
