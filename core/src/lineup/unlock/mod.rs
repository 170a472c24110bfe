//! Requests that wait: what keeps each out, and the smallest change that lets it in.
//!
//! Nothing here is guessed. A request is put behind the line-up with everything it could lack
//! given in plenty; then one after another is taken away again, and what cannot be spared is a
//! gate. How much of it is needed is found by planning with less and less.

mod behind;
mod kept_back;
mod supplies;

use crate::code::{AssetCode, RecipeCode, RequestCode};
use crate::lineup::draft::Candidate;
use crate::lineup::gate::{Gate, Opens, Shut};
use crate::planner::{Plan, PlannedJob, Problem, add};
use crate::situation::{Request, Situation};
use behind::Behind;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// A request that is not served, with its gates.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Waiting {
    /// The request.
    pub request: RequestCode,
    /// Its machine.
    pub asset: AssetCode,
    /// What the crew calls the part.
    pub part_name: String,
    /// The loss rate that would stop now if its asset alone came back.
    pub stops_per_hour: i64,
    /// Its ways, the one with fewest gates first.
    pub ways: Vec<WaitingWay>,
}

impl Waiting {
    /// Whether the crew left it out of its own order.
    #[must_use]
    pub fn is_left_out(&self) -> bool {
        let mut shut = self.ways.iter().flat_map(|way| &way.shut);
        shut.any(|shut| shut.gate == Gate::LeftOut)
    }
}

/// A way to serve a request, and what keeps it shut.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct WaitingWay {
    /// The recipe and its revision; none for the true part, or where there is no recipe.
    pub recipe: Option<(RecipeCode, i64)>,
    /// It is a stand-in that must come off again.
    #[serde(default)]
    pub stand_in: bool,
    /// Position of the operation from which on what is done would be done again; none if nothing would.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub again_from: Option<usize>,
    /// Its gates: opening all of them lets it in.
    pub shut: Vec<Shut>,
}

/// Places behind a plan every job left out that fits there and adds no loss.
///
/// A search may leave out what saves nothing, such as a worn part of a machine that still runs;
/// the crew still wants it done.
#[must_use]
pub fn complete(problem: &Problem, plan: &Plan) -> Plan {
    let mut best = plan.clone();
    for (j, job) in problem.jobs.iter().enumerate() {
        if !plan.left_out.contains(&job.id) {
            continue;
        }
        let tries = (0..job.options.len()).map(|o| add(problem, &best, &[(j, o)]));
        let fits = |tried: &Plan| tried.jobs.len() > best.jobs.len() && tried.loss <= best.loss;
        if let Some(tried) = tries.filter(fits).min_by_key(|tried| tried.loss) {
            best = Plan {
                bound: plan.bound,
                proven: plan.proven,
                ..tried
            };
        }
    }
    best
}

/// Which job and option of the problem a planned job is.
pub(super) fn position(problem: &Problem, planned: &PlannedJob) -> Option<(usize, usize)> {
    let job = problem.jobs.iter().position(|j| j.id == planned.id)?;
    let option = problem.jobs[job]
        .options
        .iter()
        .position(|o| o.id == planned.option)?;
    Some((job, option))
}

pub(super) fn waiting(
    situation: &Situation,
    problem: &Problem,
    plan: &Plan,
    candidates: &BTreeMap<RequestCode, Vec<Candidate>>,
) -> Vec<Waiting> {
    let mut waiting: Vec<Waiting> = situation
        .requests
        .iter()
        .filter(|r| plan.left_out.iter().any(|id| id == r.code.as_str()))
        .map(|request| Waiting {
            request: request.code.clone(),
            asset: request.asset.clone(),
            part_name: request.part_name.clone(),
            stops_per_hour: stops_now(problem, request),
            ways: ways(situation, problem, plan, candidates, request),
        })
        .collect();
    waiting.sort_by_key(|w| (std::cmp::Reverse(w.stops_per_hour), w.request.clone()));
    waiting
}

/// The fall of the loss rate if the request's asset alone came back now.
fn stops_now(problem: &Problem, request: &Request) -> i64 {
    let down_now = |asset: &String| {
        problem
            .assets
            .get(asset)
            .and_then(|a| a.down_from)
            .is_none()
    };
    let mine = |asset: &String| asset == request.asset.as_str();
    problem
        .capabilities
        .iter()
        .filter(|c| c.assets.iter().any(|a| mine(a) && down_now(a)))
        .map(|c| {
            let down = c.assets.iter().filter(|a| down_now(a)).count();
            let rate = |k: usize| c.loss_per_hour.get(k).copied().unwrap_or(0);
            rate(down) - rate(down.saturating_sub(1))
        })
        .sum()
}

fn ways(
    situation: &Situation,
    problem: &Problem,
    plan: &Plan,
    candidates: &BTreeMap<RequestCode, Vec<Candidate>>,
    request: &Request,
) -> Vec<WaitingWay> {
    let mut ways: Vec<WaitingWay> = candidates
        .get(&request.code)
        .into_iter()
        .flatten()
        .map(|candidate| {
            let mut shut = candidate.shut.clone();
            let hopeless = shut
                .iter()
                .any(|s| matches!(s.opens, Opens::Shut { .. } | Opens::TruePart));
            if let Some(option) = candidate.option.as_ref().filter(|_| !hopeless) {
                let behind = Behind::new(situation, problem, plan, request, candidate, option);
                shut.extend(behind.gates());
            }
            if shut.is_empty() {
                shut.push(Shut::new(Gate::Outranked, Opens::LeaveOut));
            }
            WaitingWay {
                recipe: candidate.recipe.clone(),
                stand_in: candidate.stand_in,
                again_from: candidate.again_from(),
                shut,
            }
        })
        .collect();
    ways.sort_by_key(|way| way.shut.len());
    ways
}
