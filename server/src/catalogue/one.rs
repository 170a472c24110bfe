use askama::Template;
use mendpost_core::catalogue::{Part, Recipe, RecipeState, Spray};
use mendpost_core::lineup::{recipes_of, shut_here, stage_efficiency, stage_need};
use mendpost_core::situation::{Damage, Situation};

use super::path;
use super::queries::WeighedRow;
use super::weighed::form_path;
use crate::attachment::Photos;
use crate::caution::{Caution, cautions};
use crate::page::{Layout, grams_exact, whole};
use crate::recipe::{Row, rows};
use crate::requests;
use crate::shape::ShapeSection;
use crate::words::authority::authority as rule;
use crate::words::catalogue::{flags, setting, state};
use crate::words::efficiency::{millimetres, percent};
use crate::words::recipe::thousandths;
use crate::words::work::sentence;
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
    weighed: Vec<WeighedView>,
    cautions: Vec<Caution>,
    shape: ShapeSection,
    beside: Beside,
    /// Every revision of its recipes: words and address.
    revisions: Vec<(String, String)>,
}

/// What stands beside the plan's own figures.
pub struct Beside {
    /// Where weighed builds before those shown stand.
    pub older: Option<String>,
    pub may_weigh: bool,
    pub may_write: bool,
    pub version: i64,
    /// Why it is no longer offered; empty if it is.
    pub retired_reason: String,
    /// Code, number and state of every revision.
    pub revisions: Vec<(String, i64, String)>,
    pub photos: Photos,
}

struct RecipeView {
    title: String,
    path: String,
    standing: String,
    /// Gates, each with what opens it.
    shut: Vec<(String, String)>,
    operations: Vec<Row>,
    stages: Vec<StageView>,
}

struct StageView {
    title: String,
    setting: String,
    pairs: Vec<(&'static str, String)>,
    /// Why no figure can be given.
    shut: String,
    efficiency: Option<EfficiencyView>,
}

/// What the efficiency of a stage rests on.
struct EfficiencyView {
    title: String,
    pairs: Vec<(&'static str, String)>,
    /// Which builds count and which do not.
    lines: Vec<String>,
    model: String,
    /// Where a build of it is entered, for whom may.
    weigh: Option<String>,
}

struct WeighedView {
    number: i64,
    built: String,
    by: String,
    /// Which recipe and operation, where there are several.
    stage: String,
    masses: String,
    efficiency: String,
    lot: String,
    throat: String,
    note: String,
    /// Where it is struck out, for whom may.
    strike: Option<String>,
    struck: String,
}

impl PartPage {
    pub fn new(
        page: Layout,
        situation: &Situation,
        part: &Part,
        weighed: &[WeighedRow],
        beside: Beside,
        shape: ShapeSection,
    ) -> Self {
        let may_weigh = beside.may_weigh;
        let words = Words::new(situation);
        let recipes = recipes_of(situation, part);
        let (answer, reason) = answer(situation, &words, part, &recipes);
        let asked = situation
            .requests
            .iter()
            .filter(|r| r.part.as_ref() == Some(&part.code));
        let strike = |row: &WeighedRow| {
            may_weigh.then(|| format!("{}/weighed/{}/strike", path(part.code.as_str()), row.number))
        };
        let several = recipes.iter().map(|r| r.sprays().count()).sum::<usize>() > 1
            || weighed
                .iter()
                .any(|row| row.revision != weighed[0].revision);
        PartPage {
            weighed: weighed
                .iter()
                .map(|row| weighed_view(&page, row, several, strike(row)))
                .collect(),
            page,
            shape,
            revisions: beside
                .revisions
                .iter()
                .map(|(code, number, state)| {
                    let words = format!("{code} revision {number}, {state}");
                    (words, format!("/recipes/{code}/{number}"))
                })
                .collect(),
            beside,
            answer,
            reason,
            code: part.code.to_string(),
            pairs: vec![
                ("Envelope", size(part.envelope_mm)),
                ("Mass", kilograms(part.mass_g)),
                (
                    "Allowance",
                    format!("{} mm", thousandths(part.allowance_um)),
                ),
                ("Fits", fits(situation, part)),
                ("Flags", flags(part)),
                (
                    "Who says yes",
                    rule(&situation.rules.authority(&part.flags)),
                ),
            ],
            asked: asked
                .map(|r| (requests::path(&r.code), words.request(r.code.as_str())))
                .collect(),
            cautions: cautions(
                &situation.rules,
                recipes.first().copied(),
                Some(part),
                Damage::Damaged,
            ),
            recipes: recipes
                .iter()
                .map(|recipe| view(situation, &words, part, recipe, may_weigh))
                .collect(),
        }
    }
}

/// The machines that it fits, by their names.
fn fits(situation: &Situation, part: &Part) -> String {
    let assets = situation.assets.iter();
    let names: Vec<&str> = assets
        .filter(|asset| part.assets.contains(&asset.code))
        .map(|asset| asset.name.as_str())
        .collect();
    match names.is_empty() {
        true => "nobody said".to_owned(),
        false => names.join(", "),
    }
}

fn answer(
    situation: &Situation,
    words: &Words<'_>,
    part: &Part,
    recipes: &[&Recipe],
) -> (String, String) {
    if part.retired {
        let answer = format!("Do not offer the {}: it is retired.", part.name);
        return (answer, String::new());
    }
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

fn view(
    situation: &Situation,
    words: &Words<'_>,
    part: &Part,
    recipe: &Recipe,
    may_weigh: bool,
) -> RecipeView {
    let approved = recipe.state == RecipeState::Approved;
    RecipeView {
        title: format!("Recipe {} revision {}", recipe.code, recipe.revision),
        path: crate::recipe::path(recipe),
        standing: if approved {
            format!("approved by {}", recipe.approved_by)
        } else {
            state(recipe.state).to_owned()
        },
        shut: shut_here(situation, part, recipe)
            .iter()
            .map(|s| (words.gate(&s.gate), words.opens(&s.opens)))
            .collect(),
        operations: rows(situation, words, recipe),
        stages: (1..)
            .zip(recipe.sprays())
            .map(|(number, spray)| {
                let weigh = may_weigh && approved;
                let weigh = weigh.then(|| form_path(part, recipe, number));
                stage(situation, words, number, spray, weigh)
            })
            .collect(),
    }
}

fn stage(
    situation: &Situation,
    words: &Words<'_>,
    number: usize,
    spray: &Spray,
    weigh: Option<String>,
) -> StageView {
    let (pairs, shut) = match stage_need(situation, spray) {
        Ok(need) => (words.stage(spray, &need), String::new()),
        Err(shut) => (Vec::new(), words.gate(&shut.gate)),
    };
    StageView {
        title: format!("Stage {number} takes here"),
        setting: format!("{}, {}", words.spray_powder(spray), setting(spray)),
        pairs,
        shut,
        efficiency: efficiency(situation, words, number, spray, weigh),
    }
}

/// None where the approval's own figures cannot be; the stage says so.
fn efficiency(
    situation: &Situation,
    words: &Words<'_>,
    number: usize,
    spray: &Spray,
    weigh: Option<String>,
) -> Option<EfficiencyView> {
    let found = stage_efficiency(situation, spray).ok()?;
    let mut pairs = words.efficiency(spray, &found);
    if found.weighed.is_some() {
        let approved = Spray {
            weighed: Vec::new(),
            ..spray.clone()
        };
        let grams = |spray| stage_need(situation, spray).ok().map(|n| n.powder_g);
        if let Some((now, before)) = grams(spray).zip(grams(&approved)) {
            let text = format!(
                "{} g; by the approval alone {} g",
                whole(now),
                whole(before)
            );
            pairs.push(("To load", text));
        }
    }
    Some(EfficiencyView {
        title: format!("Efficiency of stage {number}"),
        pairs,
        lines: words.circumstances(&found),
        model: format!(
            "Model: builds spread normally around a mean, neither known; the approval counts as \
             {} of them, each weighed build as one.",
            spray.approval_builds
        ),
        weigh,
    })
}

fn weighed_view(
    page: &Layout,
    row: &WeighedRow,
    several: bool,
    strike: Option<String>,
) -> WeighedView {
    WeighedView {
        number: row.number,
        built: page.moment(&row.built_ms),
        by: format!("{}, {}", page.age(&row.built_ms), row.entered_by),
        stage: if several {
            format!(
                "{} rev {}, operation {}",
                row.recipe, row.revision, row.position
            )
        } else {
            String::new()
        },
        masses: format!(
            "{} of {}",
            grams_exact(row.deposited_mg),
            grams_exact(row.fed_mg)
        ),
        efficiency: percent(row.deposited_mg as f64 / row.fed_mg as f64),
        lot: row.lot.clone().unwrap_or_else(|| "not told".to_owned()),
        throat: millimetres(row.throat_um),
        note: match row.request {
            Some(number) => format!("for request {number}. {}", row.note),
            None => row.note.clone(),
        },
        strike: strike.filter(|_| row.struck.is_none()),
        struck: row
            .struck
            .as_ref()
            .map_or_else(String::new, |(reason, by)| {
                format!("struck out by {by}: {reason}")
            }),
    }
}
