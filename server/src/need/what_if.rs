//! How the line-up would change if a capability's loss figures were wrong.

use std::sync::atomic::AtomicBool;

use askama::Template;
use axum::extract::{Path, State};
use axum::response::Response;
use mendpost_core::code::CapabilityCode;
use mendpost_core::lineup::{Case, Move, WhatIf, cases, complete, what_if};
use mendpost_core::planner::Plan;
use mendpost_core::situation::{Capability, Figure, Situation};

use super::capability_path;
use super::item::{Item, Thing};
use super::saying::find;
use crate::AppState;
use crate::error::AppError;
use crate::page::{Layout, Screen, loss, page, whole};
use crate::people::Visit;
use crate::situation;
use crate::solve::{Limits, Progress, aside, solve};
use crate::words::Words;
use crate::words::work::sentence;

/// Changes tried for each of the three tables by each of two threads.
const ITERATIONS: u64 = 20_000;

/// Seconds after which a search ends all the same, on a slow machine.
const MOST_SECONDS: f64 = 3.0;

#[derive(Template)]
#[template(path = "need/what-if.html")]
struct WhatIfPage {
    page: Layout,
    answer: String,
    reason: String,
    path: String,
    outcomes: Vec<OutcomeRow>,
    /// How they were searched for.
    limits: String,
}

struct OutcomeRow {
    head: String,
    rates: String,
    text: String,
    moves: Vec<(String, String)>,
}

pub async fn show(
    State(state): State<AppState>,
    visit: Visit,
    Path(code): Path<String>,
) -> Result<Response, AppError> {
    let item = Item::find(Thing::Capability, &state.db.read, &code).await?;
    item.in_use()?;
    let situation = situation::now(&state).await?;
    let capability = find(&situation, &code)?.clone();
    if capability.loss_range.is_none() {
        return Err(AppError::Conflict(format!(
            "nobody said how far off the figures of {} may be; say low and high first",
            capability.name
        )));
    }
    let found = work_out(situation.clone(), capability.code.clone()).await?;
    let layout = visit
        .layout(Screen::Site, &sentence(&capability.name))
        .await?;
    let told = Told {
        words: Words::new(&situation),
        situation: &situation,
        capability: &capability,
    };
    let (answer, reason) = told.answer(&found.outcomes);
    page(&WhatIfPage {
        page: layout,
        answer,
        reason,
        path: capability_path(&code),
        outcomes: found.outcomes.iter().map(|o| told.row(o)).collect(),
        limits: limits(&found.tried),
    })
}

struct Found {
    outcomes: [WhatIf; 2],
    /// Changes tried for the low, the likely and the high figures.
    tried: [u64; 3],
}

/// Searches on a thread of its own, and ends the search when nobody waits for it any more.
async fn work_out(situation: Situation, capability: CapabilityCode) -> Result<Found, AppError> {
    let found = aside(move |stopped| {
        let cases = cases(&situation, &capability).ok_or("the range of figures is gone")?;
        let found = cases.each_ref().map(|case| search(case, stopped));
        let tried = found.each_ref().map(|(_, tried)| *tried);
        let plans = found.map(|(plan, _)| plan);
        let outcomes = what_if(&cases, &plans)
            .map_err(|broken| format!("the verifier refuses a plan: {broken}"))?;
        Ok::<_, Box<dyn std::error::Error + Send + Sync>>(Found { outcomes, tried })
    });
    found.await?.map_err(AppError::internal)
}

/// The best plan found for a case, and how many changes were tried for it.
fn search(case: &Case, stop: &AtomicBool) -> (Plan, u64) {
    let limits = Limits {
        seconds: Some(MOST_SECONDS),
        iterations: Some(ITERATIONS),
        threads: 2,
        seed: 1,
    };
    let mut tried = 0;
    let plan = solve(&case.problem, &limits, stop, &mut |progress: Progress| {
        tried = progress.iterations;
    });
    (complete(&case.problem, &plan), tried)
}

fn limits(tried: &[u64; 3]) -> String {
    let shown = |tried: u64| whole(i64::try_from(tried).unwrap_or(i64::MAX));
    let [low, likely, high] = tried.map(shown);
    if low == likely && likely == high {
        format!("Each the best of {likely} changes tried in each of two threads.")
    } else {
        format!(
            "Each the best of the changes tried in each of two threads: low {low}, likely {likely}, high {high}."
        )
    }
}

struct Told<'a> {
    words: Words<'a>,
    situation: &'a Situation,
    capability: &'a Capability,
}

impl Told<'_> {
    fn answer(&self, outcomes: &[WhatIf; 2]) -> (String, String) {
        let Capability { name, said_by, .. } = self.capability;
        let most = outcomes.iter().map(|o| o.kept - o.best).max().unwrap_or(0);
        if most == 0 {
            return (
                format!(
                    "Leave the figures of {name} as they are: the line-up would stay the same."
                ),
                "They need not be better known.".to_owned(),
            );
        }
        let (days, unit) = (
            self.situation.site.plan_days,
            &self.situation.site.loss_word,
        );
        (
            format!("Ask again about {name}: with another figure the line-up would change."),
            format!(
                "Said by {said_by}. If it is wrong, keeping to it loses up to {} {unit} more in {days} days.",
                loss(most)
            ),
        )
    }

    fn row(&self, outcome: &WhatIf) -> OutcomeRow {
        let rates = |figure| -> String {
            let rates = self.capability.rates(figure).unwrap_or_default();
            let rates: Vec<String> = rates.iter().map(|rate| whole(*rate)).collect();
            rates.join(", ")
        };
        let unit = &self.situation.site.loss_word;
        let (kept, best) = (outcome.kept, outcome.best);
        let text = if kept == best {
            format!(
                "No better line-up was found than the one for the likely figures; by these it loses {} {unit}.",
                loss(kept)
            )
        } else {
            format!(
                "Keeping to the line-up for the likely figures would lose {} {unit}; the one made for these {}: {} less.",
                loss(kept),
                loss(best),
                loss(kept - best)
            )
        };
        let moves: Vec<(String, String)> = outcome.moves.iter().map(|m| self.told(m)).collect();
        let text = match (kept == best, moves.is_empty()) {
            (false, true) => text + " The order is the same; times or ways differ.",
            _ => text,
        };
        OutcomeRow {
            head: match outcome.figure {
                Figure::High => "If the high figures are right".to_owned(),
                Figure::Low | Figure::Likely => "If the low figures are right".to_owned(),
            },
            rates: format!("{} {unit}/h", rates(outcome.figure)),
            text,
            moves,
        }
    }

    /// What one request does otherwise, and which.
    fn told(&self, told: &Move) -> (String, String) {
        let (request, what) = match told {
            Move::In { request, place } => (request, format!("comes in, place {place}")),
            Move::Out { request, place } => (request, format!("falls out, was place {place}")),
            Move::Shifted { request, from, to } if from == to => {
                (request, format!("keeps place {to}, among others"))
            }
            Move::Shifted { request, from, to } => {
                let way = if to < from { "up" } else { "down" };
                (request, format!("moves {way} to place {to}, was {from}"))
            }
        };
        (self.words.request(request.as_str()), what)
    }
}
