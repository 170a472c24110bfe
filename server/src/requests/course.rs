//! The course of a request as layers: what is done, by whom, what comes next, what is missing.

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};
use mendpost_core::catalogue::Recipe;
use mendpost_core::course::{Facts, Layer, Stamp, Standing, course};
use mendpost_core::lineup::{Gate, begin_gates, candidates, release_gates, still_done};
use mendpost_core::situation::{Damage, Request, Situation};

use super::decision::{Done, History};
use super::detail::Detail;
use crate::page::Layout;
use crate::words::Words;

/// One layer, as it is shown.
pub struct LayerRow {
    /// 'full', 'part' or 'open'.
    pub kind: &'static str,
    pub share: usize,
    pub name: &'static str,
    /// 'done', 'next', 'missing' ...
    pub word: &'static str,
    pub detail: String,
}

/// What was decided, as it is shown.
pub struct DecisionRow {
    pub word: &'static str,
    pub reason: String,
    pub by: String,
}

pub fn decision_rows(page: &Layout, history: &History) -> Vec<DecisionRow> {
    let newest = history.decisions.iter().rev();
    newest
        .map(|decision| DecisionRow {
            word: decision_word(&decision.decision),
            reason: decision.reason.clone(),
            by: format!("{}, {}", decision.by, page.moment(&decision.at_ms)),
        })
        .collect()
}

fn decision_word(decision: &str) -> &'static str {
    match decision {
        "sorted" => "Sorted",
        "refused" => "Refused",
        "withdrawn" => "Withdrawn",
        "reopened" => "Taken up again",
        "sent-back" => "Sent back",
        "scrapped" => "Scrapped",
        "reworked" => "Back to an operation",
        _ => "Served",
    }
}

/// The layers from the bottom, without those that this request has not.
pub fn course_rows(
    words: &Words<'_>,
    situation: &Situation,
    request: &Request,
    history: &History,
    details: &[Detail],
) -> Vec<LayerRow> {
    let recipe = chosen(situation, request);
    let known = facts(words, situation, request, recipe, history, details);
    course(&known)
        .into_iter()
        .filter(|(_, standing)| *standing != Standing::LeftOut)
        .map(|(layer, standing)| row(words, layer, standing, &known[&layer]))
        .collect()
}

/// The recipe that it is built by, or would be.
fn chosen<'a>(situation: &'a Situation, request: &Request) -> Option<&'a Recipe> {
    let ways = candidates(situation, request);
    let open = ways.iter().filter(|way| way.recipe.is_some());
    let (code, revision) = open
        .min_by_key(|way| way.shut.len())
        .and_then(|way| way.recipe.clone())?;
    situation.recipe(&code, revision)
}

fn facts(
    words: &Words<'_>,
    situation: &Situation,
    request: &Request,
    recipe: Option<&Recipe>,
    history: &History,
    details: &[Detail],
) -> BTreeMap<Layer, Facts> {
    let stamp = |by: &str, at: DateTime<Utc>| Stamp {
        by: by.to_owned(),
        at,
    };
    let one = |done: Option<Stamp>, missing: Vec<String>| Facts {
        done: done.into_iter().collect(),
        of: 1,
        missing,
    };
    let asked = stamp(&request.asked_by, request.reported_at);
    let sorted = history
        .sorted()
        .and_then(|d| Some(stamp(&d.by, DateTime::from_timestamp_millis(d.at_ms)?)));
    let mut known = BTreeMap::from([
        (Layer::Asked, one(Some(asked), Vec::new())),
        (Layer::Arrived, arrived(request, details)),
        (Layer::Sorted, one(sorted, Vec::new())),
    ]);
    if let Some(recipe) = recipe {
        known.insert(Layer::Yes, yes(words, situation, request, recipe));
        let approved = recipe.state == mendpost_core::catalogue::RecipeState::Approved
            || request.begun.is_some();
        let by = stamp(&recipe.approved_by, request.reported_at);
        let missing = vec![format!("{} is not approved", recipe.code)];
        known.insert(
            Layer::Recipe,
            match approved {
                true => one(Some(by), Vec::new()),
                false => one(None, missing),
            },
        );
        let begun = request.begun.as_ref();
        let still = begun.map_or(0, |begun| still_done(recipe, begun, situation.now));
        operations(&mut known, recipe, history, still);
        released(&mut known, words, situation, request, recipe);
    } else {
        known.insert(Layer::Recipe, one(None, vec!["no recipe".to_owned()]));
    }
    if request.damage == Damage::Interim {
        known.insert(Layer::Back, one(None, Vec::new()));
    }
    known
}

/// Tag, mass and base metal belong to the arrival.
fn arrived(request: &Request, details: &[Detail]) -> Facts {
    let newest = details.first().filter(|d| d.told.arrived_ms.is_some());
    let done = newest.and_then(|detail| {
        let at = DateTime::from_timestamp_millis(detail.told.arrived_ms?)?;
        let by = detail.entered_by.clone();
        Some(Stamp { by, at })
    });
    let mut missing = Vec::new();
    if request.tag.is_none() {
        missing.push("its tag".to_owned());
    }
    if request.mass_g.is_none() {
        missing.push("its mass".to_owned());
    }
    if !request.base_metal.as_ref().is_some_and(|m| m.known) {
        missing.push("what it is made of".to_owned());
    }
    let whole = missing.is_empty();
    Facts {
        done: done.filter(|_| whole).into_iter().collect(),
        of: 1,
        missing,
    }
}

fn yes(words: &Words<'_>, situation: &Situation, request: &Request, recipe: &Recipe) -> Facts {
    let missing: Vec<String> = begin_gates(situation, request, recipe)
        .iter()
        .filter(|shut| {
            matches!(
                shut.gate,
                Gate::NoYes { .. } | Gate::Refused { .. } | Gate::UseUnknown
            )
        })
        .map(|shut| words.gate(&shut.gate))
        .collect();
    let part = request.part.as_ref().and_then(|p| situation.part(p));
    let asked = part.map(|part| situation.rules.authority(&part.flags).to_build.len());
    let given = request.answers.iter().rev();
    let mut given = given.filter(|a| a.about == mendpost_core::catalogue::About::Build);
    let by = match asked {
        Some(0) | None => "the crew’s own".to_owned(),
        Some(_) => given.next().map_or_else(String::new, |a| a.name.clone()),
    };
    Facts {
        done: match missing.is_empty() {
            true => vec![Stamp {
                by,
                at: request.reported_at,
            }],
            false => Vec::new(),
        },
        of: 1,
        missing,
    }
}

fn operations(
    known: &mut BTreeMap<Layer, Facts>,
    recipe: &Recipe,
    history: &History,
    still: usize,
) {
    for operation in &recipe.operations {
        known.entry(Layer::of(operation.kind)).or_default().of += 1;
    }
    let stands = |done: &&Done| usize::try_from(done.position).is_ok_and(|at| at <= still);
    for done in history.still_done().into_iter().filter(stands) {
        let at = DateTime::from_timestamp_millis(done.ended_ms).unwrap_or_default();
        let facts = known.entry(Layer::of(done.kind)).or_default();
        facts.done.push(Stamp {
            by: done.by.clone(),
            at,
        });
    }
}

/// Built and not released: the yeses that are missing stand at the release.
fn released(
    known: &mut BTreeMap<Layer, Facts>,
    words: &Words<'_>,
    situation: &Situation,
    request: &Request,
    recipe: &Recipe,
) {
    let missing = release_gates(situation, request, recipe);
    if let Some(facts) = known
        .get_mut(&Layer::Released)
        .filter(|f| f.done.len() < f.of)
    {
        facts.missing = missing.iter().map(|shut| words.gate(&shut.gate)).collect();
    }
}

fn row(words: &Words<'_>, layer: Layer, standing: Standing, facts: &Facts) -> LayerRow {
    let (kind, word) = match standing {
        Standing::Done => ("full", "done"),
        Standing::Begun => ("part", "begun"),
        Standing::Next => ("open", "next"),
        Standing::Missing => ("open", "missing"),
        Standing::Later | Standing::LeftOut => ("open", "later"),
    };
    let stamp = facts.done.last();
    let timed = !matches!(layer, Layer::Yes | Layer::Recipe);
    let by = stamp.map(|stamp| match timed {
        true => format!("{}, {}", stamp.by, words.when(stamp.at)),
        false => stamp.by.clone(),
    });
    let detail = match standing {
        Standing::Missing => facts.missing.join("; "),
        Standing::Begun => format!(
            "{} of {}{}",
            facts.done.len(),
            facts.of,
            by.map(|by| format!(", {by}")).unwrap_or_default()
        ),
        _ => by.unwrap_or_default(),
    };
    LayerRow {
        kind,
        share: facts.done.len() * 100 / facts.of.max(1),
        name: name(layer),
        word,
        detail,
    }
}

const fn name(layer: Layer) -> &'static str {
    match layer {
        Layer::Asked => "Asked for",
        Layer::Arrived => "Part here: tag, mass, metal",
        Layer::Sorted => "Sorted",
        Layer::Yes => "Yes to build",
        Layer::Recipe => "Approved recipe",
        Layer::Powder => "Powder drawn",
        Layer::Prepared => "Prepared",
        Layer::Sprayed => "Sprayed",
        Layer::HeatTreated => "Heat treated",
        Layer::Cut => "Cut to size",
        Layer::Measured => "Measured and checked",
        Layer::Released => "Released",
        Layer::Fitted => "Fitted and run",
        Layer::Back => "Stand-in off, true part in",
    }
}
