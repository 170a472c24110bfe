//! One revision of a recipe: its operations, what it changes, what it takes here, what is done next.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::Response;
use mendpost_core::catalogue::{
    Recipe, RecipeState, Step, difference, may, may_approve, may_edit, may_revise,
};
use mendpost_core::finish::Expected;
use mendpost_core::lineup::shut_here;
use mendpost_core::people::{self, Act};

use super::queries::{self, Revision};
use super::rows::{Row, rows};
use super::spent::{self, TookRow};
use super::takes::{Takes, takes};
use super::{named, path};
use crate::AppState;
use crate::error::AppError;
use crate::finish::{condition, property};
use crate::pace;
use crate::page::{Layout, Screen, page};
use crate::people::Visit;
use crate::signature;
use crate::situation;
use crate::words::Words;
use crate::words::catalogue::state as state_word;
use crate::words::recipe::Difference;
use crate::words::work::{count, flag, sentence};

#[derive(Template)]
#[template(path = "recipe/show.html")]
struct RecipePage {
    page: Layout,
    answer: String,
    reason: String,
    title: String,
    version: i64,
    path: String,
    pairs: Vec<(&'static str, String)>,
    part: (String, String),
    faults: Vec<String>,
    /// Why it cannot be built by here, each with what opens it.
    shut: Vec<(String, String)>,
    rows: Vec<Row>,
    against: String,
    differences: Vec<Difference>,
    said: Vec<(&'static str, String)>,
    stages: Vec<Takes>,
    /// How long its operations took.
    took: Vec<TookRow>,
    /// Where the minutes of its builds went.
    went: Vec<(String, String, String)>,
    /// The other revisions: words and address.
    others: Vec<(String, String)>,
    signatures: Vec<signature::Signature>,
    /// Whether operations may be changed here, by this person.
    writes: bool,
    acts: Acts,
}

/// What this person may do with the revision as a whole.
#[derive(Default)]
struct Acts {
    propose: bool,
    /// Faults that stand in the way of proposing.
    lacks: String,
    take_back: bool,
    approve: bool,
    withdraw: bool,
    revise: bool,
}

pub async fn show(
    State(state): State<AppState>,
    visit: Visit,
    Path((code, revision)): Path<(String, String)>,
) -> Result<Response, AppError> {
    let revision = queries::find(&state, &code, &revision).await?;
    let situation = situation::now(&state).await?;
    let words = Words::new(&situation);
    let recipe = &revision.recipe;
    let may = |act| visit.may(act);
    let against = revision.against();
    let differences = against.map(|old| words.differences(&difference(old, recipe)));
    let machined_um = queries::machined_um(&state.db.read).await?;
    let mut stages = Vec::new();
    for (place, operation) in (1..).zip(&recipe.operations) {
        if operation.spray.is_some() {
            let mut takes = takes(&situation, operation, machined_um);
            takes.title = format!("Operation {place} takes here");
            stages.push(takes);
        }
    }
    let mut reading = state.db.read.acquire().await?;
    let spent = pace::spent(&mut reading, &recipe.code).await?;
    drop(reading);
    let subject = revision.subject();
    let part = situation.part(&recipe.part);
    let faults: Vec<String> = recipe
        .faults()
        .iter()
        .map(|f| sentence(&f.to_string()))
        .collect();
    let acts = acts(&revision, &visit, faults.len());
    let shown = RecipePage {
        page: visit.layout(Screen::Catalogue, &named(recipe)).await?,
        answer: answer(
            &revision,
            &acts,
            faults.len(),
            differences.as_ref().map(Vec::len),
        ),
        reason: reason(&revision),
        title: sentence(&named(recipe)),
        version: revision.version,
        path: path(recipe),
        pairs: pairs(&revision),
        part: (
            part.map_or_else(|| recipe.part.to_string(), |part| sentence(&part.name)),
            format!("/catalogue/{}", recipe.part),
        ),
        shut: part.map_or_else(Vec::new, |part| {
            let shut = shut_here(&situation, part, recipe).into_iter();
            shut.map(|s| (words.gate(&s.gate), words.opens(&s.opens)))
                .collect()
        }),
        rows: rows(&situation, &words, recipe),
        against: against.map_or_else(String::new, named),
        differences: differences.unwrap_or_default(),
        said: said(&words, recipe),
        stages,
        took: spent::rows(&situation, recipe),
        went: spent::went(&spent),
        others: others(&revision),
        signatures: signature::of_subject(&state.db.read, &subject.kind, &subject.id).await?,
        writes: may(Act::WriteRecipe) && may_edit(recipe.state),
        faults,
        acts,
    };
    page(&shown)
}

fn acts(revision: &Revision, visit: &Visit, faults: usize) -> Acts {
    let Some(who) = &visit.who else {
        return Acts::default();
    };
    let state = revision.recipe.state;
    let may = |step: Step| may(state, step).is_ok() && people::may(who.role, step.act());
    let open = |r: &Recipe| matches!(r.state, RecipeState::Draft | RecipeState::Proposed);
    Acts {
        propose: may(Step::Propose),
        lacks: match faults {
            0 => String::new(),
            1 => "one fault".to_owned(),
            more => format!("{} faults", count(more)),
        },
        take_back: may(Step::TakeBack),
        approve: may(Step::Approve) && may_approve(&who.id, &revision.authors).is_ok(),
        withdraw: may(Step::Withdraw),
        revise: people::may(who.role, Act::WriteRecipe)
            && may_revise(state)
            && !revision.others.iter().any(open),
    }
}

fn answer(revision: &Revision, acts: &Acts, faults: usize, differences: Option<usize>) -> String {
    let recipe = &revision.recipe;
    let name = named(recipe);
    match recipe.state {
        RecipeState::Draft if recipe.operations.is_empty() => {
            format!("Add the first operation of {name}.")
        }
        RecipeState::Draft if faults > 0 => format!("Finish {name}: {} open.", points(faults)),
        RecipeState::Draft if differences == Some(0) => {
            format!("Change a figure of {name}: it says the same as the one before.")
        }
        RecipeState::Draft => format!("Propose {name} when its figures are right."),
        RecipeState::Proposed if acts.approve => match differences {
            Some(1) => format!("Check {name} and sign: it changes one thing."),
            Some(changes) => format!(
                "Check {name} and sign: it changes {} things.",
                count(changes)
            ),
            None if recipe.revision == 1 => format!("Check {name} and sign: it is the first."),
            None => format!("Check {name} and sign: none before it was approved."),
        },
        RecipeState::Proposed => {
            format!("Have {name} approved by somebody who wrote nothing of it.")
        }
        RecipeState::Approved => format!("Build by {name}."),
        RecipeState::Superseded => format!("Do not build by {name}: a later one took its place."),
        RecipeState::Withdrawn => format!("Do not build by {name}: it was withdrawn."),
    }
}

fn points(faults: usize) -> String {
    match faults {
        1 => "one point is".to_owned(),
        more => format!("{} points are", count(more)),
    }
}

fn reason(revision: &Revision) -> String {
    let recipe = &revision.recipe;
    match recipe.state {
        RecipeState::Withdrawn if !revision.withdrawn_reason.is_empty() => {
            format!("Why: {}.", revision.withdrawn_reason.trim_end_matches('.'))
        }
        RecipeState::Approved => format!("Approved by {}.", recipe.approved_by),
        _ => String::new(),
    }
}

fn pairs(revision: &Revision) -> Vec<(&'static str, String)> {
    let recipe = &revision.recipe;
    let or_none = |text: &str| if text.is_empty() { "not told" } else { text }.to_owned();
    let mut pairs = vec![
        ("State", state_word(recipe.state).to_owned()),
        ("Written by", or_none(&recipe.written_by)),
    ];
    if !recipe.approved_by.is_empty() {
        pairs.push(("Approved by", recipe.approved_by.clone()));
    }
    pairs
}

/// 'bond strength, as sprayed: at least 30 MPa'.
fn expected(of: &Expected) -> String {
    let (property, condition) = (property(of.property), condition(of.condition));
    format!("{property}, {condition}: {}", of.limits())
}

fn others(revision: &Revision) -> Vec<(String, String)> {
    let line = |r: &Recipe| {
        let words = format!("revision {}, {}", r.revision, state_word(r.state));
        (words, path(r))
    };
    revision.others.iter().map(line).collect()
}

/// What a recipe says beside its operations.
pub fn said(words: &Words<'_>, recipe: &Recipe) -> Vec<(&'static str, String)> {
    let metals: Vec<String> = recipe
        .base_metals
        .iter()
        .map(|metal| words.metal(metal.as_str()))
        .collect();
    let flags: Vec<&str> = recipe.flags.iter().map(|of| flag(*of)).collect();
    let or = |text: &str, nothing: &str| match text.is_empty() {
        true => nothing.to_owned(),
        false => text.to_owned(),
    };
    let mut said = vec![
        (
            "Sprayed on",
            or(
                &metals.join(", "),
                "any metal: the part is built free-standing",
            ),
        ),
        ("Valid for", or(&flags.join(", "), "any use of the part")),
        ("Coupons", or(&recipe.text.coupons, "not told")),
        ("Inspection", or(&recipe.text.inspection, "not told")),
    ];
    let lines = |list: Vec<String>, nothing: &str| or(&list.join("; "), nothing);
    let sizes = recipe.sizes.iter().map(ToString::to_string).collect();
    said.push(("Size sheet", lines(sizes, "lists no dimension")));
    let coupons = recipe.coupons.iter().map(expected).collect();
    said.push((
        "Of the coupons",
        lines(coupons, "nothing is expected in figures"),
    ));
    if !recipe.text.notes.is_empty() {
        said.push(("Notes", recipe.text.notes.clone()));
    }
    if !recipe.text.expected.is_empty() {
        said.push(("Expected", recipe.text.expected.clone()));
        said.push(("Rests on", recipe.text.basis.clone()));
    }
    said
}
