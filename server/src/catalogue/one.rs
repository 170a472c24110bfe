use askama::Template;
use mendpost_core::catalogue::{Operation, Part, Recipe, RecipeState, Spray, authority};
use mendpost_core::lineup::{recipes_of, shut_here, stage_need};
use mendpost_core::situation::{Damage, Situation};

use crate::caution::{Caution, cautions};
use crate::page::{Layout, minutes, whole};
use crate::requests;
use crate::words::catalogue::{flags, place, setting, state};
use crate::words::work::{authority as rule, sentence};
use crate::words::{Words, kilograms, size};

/// One part, and each recipe that makes it.
#[derive(Template)]
#[template(path = "catalogue/one.html")]
pub struct PartPage {
    page: Layout,
    answer: String,
    reason: String,
    code: String,
    pairs: Vec<(&'static str, String)>,
    asked: Vec<(String, String)>,
    recipes: Vec<RecipeView>,
    cautions: Vec<Caution>,
}

struct RecipeView {
    title: String,
    standing: String,
    /// Gates, each with what opens it.
    shut: Vec<(String, String)>,
    operations: Vec<OperationRow>,
    stages: Vec<StageView>,
}

struct OperationRow {
    position: usize,
    name: String,
    place: String,
    minutes: String,
    crew: i64,
    after: String,
    sprays: bool,
}

struct StageView {
    title: String,
    setting: String,
    pairs: Vec<(&'static str, String)>,
    /// Why no figure can be given.
    shut: String,
}

impl PartPage {
    pub fn new(page: Layout, situation: &Situation, part: &Part) -> Self {
        let words = Words::new(situation);
        let recipes = recipes_of(situation, part);
        let (answer, reason) = answer(situation, &words, part, &recipes);
        let asked = situation
            .requests
            .iter()
            .filter(|r| r.part.as_ref() == Some(&part.code));
        PartPage {
            page,
            answer,
            reason,
            code: part.code.to_string(),
            pairs: vec![
                ("Envelope", size(part.envelope_mm)),
                ("Mass", kilograms(part.mass_g)),
                ("Flags", flags(part)),
                ("Who says yes", rule(authority(&part.flags))),
            ],
            asked: asked
                .map(|r| (requests::path(&r.code), words.request(r.code.as_str())))
                .collect(),
            cautions: cautions(recipes.first().copied(), Some(part), Damage::Damaged),
            recipes: recipes
                .iter()
                .map(|recipe| view(situation, &words, part, recipe))
                .collect(),
        }
    }
}

fn answer(
    situation: &Situation,
    words: &Words<'_>,
    part: &Part,
    recipes: &[&Recipe],
) -> (String, String) {
    let open = recipes
        .iter()
        .find(|recipe| shut_here(situation, part, recipe).is_empty());
    if let Some(recipe) = open {
        let powders: Vec<String> = recipe.sprays().map(|s| words.spray_powder(s)).collect();
        return (
            format!(
                "Make the {} by recipe {} revision {}: {}.",
                part.name,
                recipe.code,
                recipe.revision,
                powders.join(", then ")
            ),
            format!("Approved by {}.", recipe.approved_by),
        );
    }
    let Some(recipe) = recipes.first() else {
        return (
            format!("Write a recipe for the {}: none makes it.", part.name),
            String::new(),
        );
    };
    let shut = shut_here(situation, part, recipe);
    let reason = shut.first().map(|s| sentence(&words.opens(&s.opens)) + ".");
    (
        format!(
            "Do not make the {} here: {}.",
            part.name,
            shut.first()
                .map(|s| words.gate(&s.gate))
                .unwrap_or_default()
        ),
        reason.unwrap_or_default(),
    )
}

fn view(situation: &Situation, words: &Words<'_>, part: &Part, recipe: &Recipe) -> RecipeView {
    let approved = recipe.state == RecipeState::Approved;
    RecipeView {
        title: format!("Recipe {} revision {}", recipe.code, recipe.revision),
        standing: if approved {
            format!("approved by {}", recipe.approved_by)
        } else {
            state(recipe.state).to_owned()
        },
        shut: shut_here(situation, part, recipe)
            .iter()
            .map(|s| (words.gate(&s.gate), words.opens(&s.opens)))
            .collect(),
        operations: (1..)
            .zip(&recipe.operations)
            .map(|(position, operation)| row(situation, words, position, operation))
            .collect(),
        stages: (1..)
            .zip(recipe.sprays())
            .map(|(number, spray)| stage(situation, words, number, spray))
            .collect(),
    }
}

fn row(
    situation: &Situation,
    words: &Words<'_>,
    position: usize,
    operation: &Operation,
) -> OperationRow {
    let minutes = match &operation.spray {
        Some(spray) => stage_need(situation, spray).ok().map(|need| need.minutes),
        None => Some(operation.minutes),
    };
    OperationRow {
        position,
        name: sentence(&operation.name),
        place: operation.station.as_ref().map_or_else(
            || place(operation.kind).to_owned(),
            |station| words.station(station.as_str()),
        ),
        minutes: minutes.map_or_else(|| "no figure".to_owned(), whole),
        crew: operation.crew,
        after: if operation.after_min > 0 {
            self::minutes(operation.after_min)
        } else {
            String::new()
        },
        sprays: operation.spray.is_some(),
    }
}

fn stage(situation: &Situation, words: &Words<'_>, number: usize, spray: &Spray) -> StageView {
    let (pairs, shut) = match stage_need(situation, spray) {
        Ok(need) => (words.stage(spray, &need), String::new()),
        Err(shut) => (Vec::new(), words.gate(&shut.gate)),
    };
    StageView {
        title: format!("Stage {number} takes here"),
        setting: format!("{}, {}", words.spray_powder(spray), setting(spray)),
        pairs,
        shut,
    }
}
