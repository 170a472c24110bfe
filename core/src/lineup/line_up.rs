//! The line-up: a verified plan in the site's own terms.

use super::draft::{Draft, draft};
use super::expected::Expected;
use super::explain::tell_why;
use super::gate::{Gate, Opens, Shut};
use super::keep::Kept;
use super::places::{Place, places};
use super::unlock::{Waiting, waiting};
use crate::code::{LotCode, RequestCode};
use crate::planner::{self, CrewOrder, Plan, Problem, check, crew_plan, loss};
use crate::situation::Situation;
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// What the crew works to.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LineUp {
    /// The moment it starts from.
    pub now: DateTime<Utc>,
    /// The moment it ends at; what is down then counts as down until then.
    pub until: DateTime<Utc>,
    /// Requests that are served, in the order in which work on them starts.
    pub places: Vec<Place>,
    /// Requests that are not, the dearest first.
    pub waiting: Vec<Waiting>,
    /// What it loses, beside the crew's own orders.
    pub losses: Comparison,
    /// Grams that it takes from each lot on hand or on its way.
    pub committed_g: BTreeMap<String, i64>,
    /// What is to be expected of it, where that was worked out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub expected: Option<Expected>,
    /// Said where it is the order that the crew worked to before, placed anew.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub kept: Option<Kept>,
}

/// Losses until the end of the line-up, as rate x minutes: divide by 60 for the loss itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Comparison {
    /// Of this line-up.
    pub ours: i64,
    /// Of the requests in the order in which they came.
    pub oldest_first: i64,
    /// Of the requests by the loss rate that each alone would stop.
    pub largest_rate_first: i64,
    /// Of building nothing.
    pub nothing: i64,
    /// Below this no plan can be.
    pub bound: Option<i64>,
    /// Ours is proven best.
    pub proven: bool,
    /// Of the best plan that the planner found, where ours is the crew's own order.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub planners: Option<i64>,
}

impl Comparison {
    /// By how many thousandths ours may at most exceed the best possible; none without a bound.
    #[must_use]
    pub fn gap_permille(&self) -> Option<i64> {
        let bound = self.bound.filter(|b| *b > 0)?;
        Some(((self.ours - bound).saturating_mul(1000) + bound - 1).div_euclid(bound))
    }
}

/// A plan that the independent verifier found nothing wrong with.
#[derive(Debug, Clone, PartialEq)]
pub struct Verified {
    problem: Problem,
    plan: Plan,
}

impl Verified {
    /// Checks a plan from scratch.
    ///
    /// # Errors
    /// Every rule that it breaks.
    pub fn new(problem: Problem, plan: Plan) -> Result<Self, Vec<planner::Broken>> {
        let broken = check(&problem, &plan);
        if broken.is_empty() {
            Ok(Self { problem, plan })
        } else {
            Err(broken)
        }
    }

    /// The problem.
    #[must_use]
    pub const fn problem(&self) -> &Problem {
        &self.problem
    }

    /// The plan.
    #[must_use]
    pub const fn plan(&self) -> &Plan {
        &self.plan
    }
}

/// The line-up of a verified plan.
///
/// The plan must be one of this situation's own problem, as [`draft`] gives it.
#[must_use]
pub fn line_up(situation: &Situation, verified: &Verified) -> LineUp {
    let Draft { candidates, .. } = draft(situation);
    let (problem, plan) = (&verified.problem, &verified.plan);
    let mut places = places(situation, problem, plan, &candidates);
    tell_why(problem, plan, &mut places);
    LineUp {
        now: situation.now,
        until: situation.moment(problem.horizon),
        places,
        waiting: waiting(situation, problem, plan, &candidates),
        losses: compare(problem, plan),
        committed_g: committed(plan),
        expected: None,
        kept: None,
    }
}

fn compare(problem: &Problem, plan: &Plan) -> Comparison {
    let nothing = Plan {
        left_out: problem.jobs.iter().map(|j| j.id.clone()).collect(),
        ..Plan::default()
    };
    Comparison {
        ours: loss(problem, plan),
        oldest_first: crew_plan(problem, CrewOrder::OldestFirst).loss,
        largest_rate_first: crew_plan(problem, CrewOrder::LargestRateFirst).loss,
        nothing: loss(problem, &nothing),
        bound: plan.bound,
        proven: plan.proven.unwrap_or(false),
        planners: None,
    }
}

fn committed(plan: &Plan) -> BTreeMap<String, i64> {
    let mut grams = BTreeMap::new();
    for draw in plan
        .jobs
        .iter()
        .flat_map(|j| &j.operations)
        .flat_map(|spot| &spot.lots)
    {
        *grams.entry(draw.lot.clone()).or_default() += draw.grams;
    }
    grams
}

impl LineUp {
    /// Says of what waits without a number that the crew left it out, where this is its own order.
    pub fn number(&mut self, numbered: &[RequestCode]) {
        let waiting = self.waiting.iter_mut();
        for left_out in waiting.filter(|waits| !numbered.contains(&waits.request)) {
            for way in &mut left_out.ways {
                way.shut.retain(|shut| shut.gate != Gate::Outranked);
                let left_out = Shut::new(Gate::LeftOut, Opens::Number);
                way.shut.insert(0, left_out);
            }
        }
    }

    /// The first place that sprays.
    #[must_use]
    pub fn first_spray(&self) -> Option<&Place> {
        let start = |place: &&Place| place.stages().map(|(_, stage)| stage.start).min();
        self.places
            .iter()
            .filter(|p| p.stages().next().is_some())
            .min_by_key(start)
    }

    /// Grams that it takes from a lot.
    #[must_use]
    pub fn committed(&self, lot: &LotCode) -> i64 {
        self.committed_g.get(lot.as_str()).copied().unwrap_or(0)
    }
}
