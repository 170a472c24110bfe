//! The page on which a request is sorted.

use askama::Template;
use mendpost_core::code::RecipeCode;
use mendpost_core::lineup::{rate_alone, recipes_of};
use mendpost_core::situation::Situation;

use super::decision::Named;
use super::sort_form::{BY_ITSELF, SortForm};
use crate::form::FieldErrors;
use crate::page::{Layout, whole};
use crate::words::Words;
use crate::words::catalogue::state;

#[derive(Template)]
#[template(path = "requests/sort.html")]
pub struct SortPage {
    page: Layout,
    number: i64,
    what: String,
    recipes: Vec<RecipeRow>,
    /// Code and words of those that a stand-in may be made by.
    stand_ins: Vec<(String, String)>,
    deliveries: Vec<(String, String)>,
    form: SortForm,
    errors: FieldErrors,
    unit: String,
    /// What an hour of this machine alone costs.
    an_hour: String,
}

struct RecipeRow {
    n: usize,
    code: String,
    words: String,
    take: &'static str,
    why: String,
    why_field: String,
}

impl SortPage {
    pub fn new(
        page: Layout,
        situation: &Situation,
        request: &Named,
        recipes: &[String],
        form: SortForm,
        errors: FieldErrors,
    ) -> Self {
        let words = Words::new(situation);
        let code = format!("R{}", request.number);
        let stands = code.parse().ok().and_then(|code| situation.request(&code));
        let row = |(n, code): (usize, &String)| {
            let (taken, why) = form.of_recipe(code);
            RecipeRow {
                n,
                code: code.clone(),
                words: recipe_words(situation, code),
                take: if taken { "yes" } else { "no" },
                why,
                why_field: format!("why{n}"),
            }
        };
        let deliveries = situation.deliveries.iter().map(|d| {
            let words = format!("{}, {}", d.name, words.when(d.expected));
            (d.code.to_string(), words)
        });
        let by_itself = (BY_ITSELF.to_owned(), "by itself".to_owned());
        SortPage {
            number: request.number,
            what: words.request(&code),
            recipes: recipes.iter().enumerate().map(row).collect(),
            stand_ins: recipes
                .iter()
                .map(|code| (code.clone(), recipe_words(situation, code)))
                .collect(),
            deliveries: deliveries.chain([by_itself]).collect(),
            unit: situation.site.loss_word.clone(),
            an_hour: whole(stands.map_or(0, |r| rate_alone(situation, &r.asset))),
            page,
            form,
            errors,
        }
    }

    fn yes_or_no(&self) -> [(&'static str, &'static str); 2] {
        [("no", "no"), ("yes", "yes")]
    }
}

fn recipe_words(situation: &Situation, code: &str) -> String {
    let code: Option<RecipeCode> = code.parse().ok();
    let known = situation
        .parts
        .iter()
        .flat_map(|part| recipes_of(situation, part))
        .find(|recipe| Some(&recipe.code) == code.as_ref());
    known.map_or_else(
        || code.as_ref().map(ToString::to_string).unwrap_or_default(),
        |recipe| {
            format!(
                "{} rev {}, {}",
                recipe.code,
                recipe.revision,
                state(recipe.state)
            )
        },
    )
}
