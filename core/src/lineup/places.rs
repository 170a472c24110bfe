//! Places: each planned request with its work, its asset's return, and why it stands there.

use super::draft::{Candidate, TRUE_PART};
use super::explain::Earlier;
use super::hold::plain;
use super::if_yes::IfYes;
use super::need::{GasSource, StageNeed};
use super::supply::{GAS, landing};
use crate::catalogue::{About, OperationKind};
use crate::code::{AssetCode, DeliveryCode, RecipeCode, RequestCode, StationCode};
use crate::planner::{self, Plan, PlannedJob, Problem, down_times, extend, finish_times, loss};
use crate::situation::Situation;
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};

/// A planned request.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Place {
    /// From 1.
    pub number: usize,
    /// The request.
    pub request: RequestCode,
    /// Its machine.
    pub asset: AssetCode,
    /// What the crew calls the part.
    pub part_name: String,
    /// The recipe and its revision; none for the true part.
    pub recipe: Option<(RecipeCode, i64)>,
    /// It is a stand-in that must come off again.
    #[serde(default)]
    pub stand_in: bool,
    /// The yeses on which it counts and which are not given yet.
    #[serde(default)]
    pub if_yes: Vec<IfYes>,
    /// Whether work on it could start now.
    pub readiness: Readiness,
    /// What is done, in order.
    pub work: Vec<Work>,
    /// When its part is done: fitted and run.
    pub done: DateTime<Utc>,
    /// When its asset is back, with the last of its parts; none if another part of it waits.
    pub back: Option<DateTime<Utc>>,
    /// The loss rate that stops when its asset is back.
    pub stops_per_hour: i64,
    /// Loss that its asset's return averts until the end of the line-up, by each hour of the cell
    /// that all its parts take; none if they take none.
    pub averts_per_cell_hour: Option<i64>,
    /// Why it does not go earlier; none for the first place.
    #[serde(default)]
    pub earlier: Option<Earlier>,
}

impl Place {
    /// When its turn begins: the set-up of its first stage, or its first step if it is not sprayed.
    ///
    /// Steps before the first stage, such as masking, may be done days earlier.
    #[must_use]
    pub fn starts(&self) -> DateTime<Utc> {
        turn(&self.work).unwrap_or(self.done)
    }

    /// The first of its work that is not to have ended by then.
    #[must_use]
    pub fn next_work(&self, at: DateTime<Utc>) -> Option<&Work> {
        self.work.iter().find(|work| work.ends() > at)
    }

    /// Its stages, each with its place in the order of work.
    pub fn stages(&self) -> impl Iterator<Item = (usize, &StagePlan)> {
        let work = self.work.iter().enumerate();
        work.filter_map(|(n, work)| Some((n, work.stage()?)))
    }
}

/// When the turn of this work begins, as [`Place::starts`] has it; none if there is none.
pub(super) fn turn(work: &[Work]) -> Option<DateTime<Utc>> {
    let sprayed = work.iter().find_map(Work::stage);
    let sprayed = sprayed.map(|stage| stage.setup_from);
    sprayed.or_else(|| work.first().map(Work::starts))
}

/// Whether work on a request could start now.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Readiness {
    /// Nothing but its turn stands before it.
    Ready,
    /// The broken part is not at the cell.
    WaitsForPart(DateTime<Utc>),
    /// Somebody's yes to build is awaited, and expected then.
    WaitsForYes(DateTime<Utc>),
    /// The true part is on its way.
    WaitsForTruePart(DateTime<Utc>),
    /// It needs something that this delivery brings.
    WaitsForDelivery(DeliveryCode),
}

/// One operation, planned.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Work {
    /// Spraying.
    Stage(StagePlan),
    /// Anything else.
    Step(StepPlan),
}

impl Work {
    /// The stage that it is; none for a step.
    #[must_use]
    pub const fn stage(&self) -> Option<&StagePlan> {
        match self {
            Self::Stage(stage) => Some(stage),
            Self::Step(_) => None,
        }
    }

    /// When it starts, set-up included.
    #[must_use]
    pub const fn starts(&self) -> DateTime<Utc> {
        match self {
            Self::Stage(stage) => stage.setup_from,
            Self::Step(step) => step.start,
        }
    }

    /// When it ends.
    #[must_use]
    pub const fn ends(&self) -> DateTime<Utc> {
        match self {
            Self::Stage(stage) => stage.end,
            Self::Step(step) => step.end,
        }
    }
}

/// A stage, planned.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct StagePlan {
    /// What is sprayed.
    pub powder: String,
    /// From which lots.
    pub lots: Vec<LotShare>,
    /// When set-up begins.
    pub setup_from: DateTime<Utc>,
    /// When spraying begins.
    pub start: DateTime<Utc>,
    /// When the cell is free again.
    pub end: DateTime<Utc>,
    /// People it keeps.
    pub crew: i64,
    /// What it takes.
    pub need: StageNeed,
}

/// Powder from one lot.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct LotShare {
    /// The lot, or a line of a delivery.
    pub lot: String,
    /// How much.
    pub grams: i64,
}

/// A step, planned.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct StepPlan {
    /// What is done.
    pub kind: OperationKind,
    /// In the crew's words.
    pub name: String,
    /// Where; none at the machine.
    pub station: Option<StationCode>,
    /// When it starts.
    pub start: DateTime<Utc>,
    /// When it ends.
    pub end: DateTime<Utc>,
    /// People it keeps.
    pub crew: i64,
}

pub(super) fn places(
    situation: &Situation,
    problem: &Problem,
    plan: &Plan,
    candidates: &BTreeMap<RequestCode, Vec<Candidate>>,
) -> Vec<Place> {
    let ends = Ends::of(problem, plan);
    let late = needs_delivery(problem, plan);
    let mut places: Vec<Place> = plan
        .jobs
        .iter()
        .filter_map(|planned| place(situation, problem, plan, candidates, planned, &ends, &late))
        .collect();
    places.sort_by_key(|p| (p.starts(), p.request.clone()));
    for (n, place) in places.iter_mut().enumerate() {
        place.number = n + 1;
    }
    places
}

fn place(
    situation: &Situation,
    problem: &Problem,
    plan: &Plan,
    candidates: &BTreeMap<RequestCode, Vec<Candidate>>,
    planned: &PlannedJob,
    ends: &Ends<'_>,
    late: &BTreeSet<String>,
) -> Option<Place> {
    let request = situation
        .requests
        .iter()
        .find(|r| r.code.as_str() == planned.id)?;
    let candidate = candidates.get(&request.code)?.iter().find(|c| {
        c.option
            .as_ref()
            .is_some_and(|o| o.id == plain(&planned.option))
    })?;
    let asset = request.asset.as_str();
    let back = ends.back(asset).filter(|minute| *minute < problem.horizon);
    let averted = averted(problem, plan, asset);
    let cell_minutes = ends.cell_minutes(problem, plan, asset);
    Some(Place {
        number: 0,
        request: request.code.clone(),
        asset: request.asset.clone(),
        part_name: request.part_name.clone(),
        recipe: candidate.recipe.clone(),
        stand_in: candidate.stand_in,
        if_yes: candidate.if_yes.clone(),
        readiness: readiness(situation, problem, candidate, planned, late),
        work: work(situation, candidate, planned),
        done: situation.moment(ends.of_job(&planned.id).unwrap_or(problem.horizon)),
        back: back.map(|minute| situation.moment(minute)),
        stops_per_hour: back.map_or(0, |minute| ends.stops(problem, asset, minute)),
        averts_per_cell_hour: (cell_minutes > 0).then(|| averted / cell_minutes),
        earlier: None,
    })
}

/// When each job and each asset is done, read off the plan.
pub(super) struct Ends<'a> {
    jobs: BTreeMap<&'a str, i64>,
    assets: BTreeMap<&'a str, (i64, i64)>,
}

impl<'a> Ends<'a> {
    pub(super) fn of(problem: &'a Problem, plan: &Plan) -> Self {
        Self {
            jobs: finish_times(problem, plan),
            assets: down_times(problem, plan),
        }
    }

    pub(super) fn of_job(&self, id: &str) -> Option<i64> {
        self.jobs.get(id).copied()
    }

    pub(super) fn back(&self, asset: &str) -> Option<i64> {
        self.assets.get(asset).map(|(_, back)| *back)
    }

    /// The fall of the loss rate when this asset comes back at that minute.
    fn stops(&self, problem: &Problem, asset: &str, minute: i64) -> i64 {
        let mine = problem
            .capabilities
            .iter()
            .filter(|c| c.assets.iter().any(|a| a == asset));
        mine.map(|capability| {
            let others = capability
                .assets
                .iter()
                .filter(|a| *a != asset)
                .filter(|a| {
                    self.assets
                        .get(a.as_str())
                        .is_some_and(|(from, back)| *from <= minute && minute < *back)
                });
            let others = others.count();
            let rate = |down: usize| capability.loss_per_hour.get(down).copied().unwrap_or(0);
            rate(others + 1) - rate(others)
        })
        .sum()
    }

    fn cell_minutes(&self, problem: &Problem, plan: &Plan, asset: &str) -> i64 {
        let mut minutes = 0;
        for planned in &plan.jobs {
            let Some((job, option)) = option_of(problem, planned) else {
                continue;
            };
            if job.asset != asset || !self.jobs.contains_key(job.id.as_str()) {
                continue;
            }
            for (spot, operation) in planned.operations.iter().zip(&option.operations) {
                if let Some(from) = spot.setup_from {
                    minutes += spot.start - from + operation.minutes;
                }
            }
        }
        minutes
    }
}

pub(super) fn option_of<'a>(
    problem: &'a Problem,
    planned: &PlannedJob,
) -> Option<(&'a planner::Job, &'a planner::JobOption)> {
    let job = problem.jobs.iter().find(|j| j.id == planned.id)?;
    Some((job, job.options.iter().find(|o| o.id == planned.option)?))
}

/// Loss that the return of an asset averts, as rate x minutes: without its jobs it stays down.
fn averted(problem: &Problem, plan: &Plan, asset: &str) -> i64 {
    let of_asset = |id: &str| problem.jobs.iter().any(|j| j.id == id && j.asset == asset);
    let mut without = plan.clone();
    without.jobs.retain(|p| !of_asset(&p.id));
    without.left_out = problem
        .jobs
        .iter()
        .map(|j| j.id.clone())
        .filter(|id| !without.jobs.iter().any(|p| p.id == *id))
        .collect();
    loss(problem, &without) - loss(problem, plan)
}

/// The jobs that the same order could not place if nothing more came.
fn needs_delivery(problem: &Problem, plan: &Plan) -> BTreeSet<String> {
    let mut cut_off = problem.clone();
    cut_off.lots.retain(|l| l.from == 0);
    for store in &mut cut_off.stores {
        store.arrivals.clear();
    }
    extend(&cut_off, plan, &[]).left_out.into_iter().collect()
}

fn readiness(
    situation: &Situation,
    problem: &Problem,
    candidate: &Candidate,
    planned: &PlannedJob,
    late: &BTreeSet<String>,
) -> Readiness {
    let Some((job, option)) = option_of(problem, planned) else {
        return Readiness::Ready;
    };
    if option.id == TRUE_PART {
        return Readiness::WaitsForTruePart(situation.moment(option.earliest));
    }
    let awaits = |if_yes: &IfYes| if_yes.about == About::Build;
    if option.earliest > job.release && candidate.if_yes.iter().any(awaits) {
        return Readiness::WaitsForYes(situation.moment(option.earliest));
    }
    if job.release > 0 {
        return Readiness::WaitsForPart(situation.moment(job.release));
    }
    if !late.contains(&job.id) {
        return Readiness::Ready;
    }
    let start = planned
        .operations
        .iter()
        .find(|s| s.setup_from.is_some())
        .map_or(0, |s| s.start);
    let before = situation
        .deliveries
        .iter()
        .filter(|d| landing(situation, d) <= start);
    before
        .max_by_key(|d| landing(situation, d))
        .map_or(Readiness::Ready, |d| {
            Readiness::WaitsForDelivery(d.code.clone())
        })
}

/// What a stage takes, with the bank that the plan takes it from.
fn served(need: &StageNeed, spot: &planner::Spot) -> StageNeed {
    let gas = |store: &String| store.strip_prefix(GAS)?.parse().ok();
    let bank = spot.from.iter().flatten().find_map(gas);
    let source = match (bank, &need.source) {
        (Some(bank), GasSource::Bank(_)) => GasSource::Bank(bank),
        (_, source) => source.clone(),
    };
    StageNeed {
        source,
        ..need.clone()
    }
}

fn work(situation: &Situation, candidate: &Candidate, planned: &PlannedJob) -> Vec<Work> {
    let Some(option) = &candidate.option else {
        return Vec::new();
    };
    let recipe = candidate.recipe.as_ref();
    let recipe = recipe.and_then(|(code, revision)| situation.recipe(code, *revision));
    let mut needs = candidate.needs.iter();
    let mut work = Vec::new();
    for (n, (operation, spot)) in option
        .operations
        .iter()
        .zip(&planned.operations)
        .enumerate()
    {
        let (start, end) = (
            situation.moment(spot.start),
            situation.moment(spot.start + operation.minutes),
        );
        let written = recipe.and_then(|r| r.operations.get(candidate.done + n));
        match &operation.work {
            planner::Work::Stage { powder, .. } => {
                let Some(need) = needs.next() else { continue };
                work.push(Work::Stage(StagePlan {
                    powder: powder.clone(),
                    lots: spot
                        .lots
                        .iter()
                        .map(|d| LotShare {
                            lot: d.lot.clone(),
                            grams: d.grams,
                        })
                        .collect(),
                    setup_from: situation.moment(spot.setup_from.unwrap_or(spot.start)),
                    start,
                    end,
                    crew: operation.crew,
                    need: served(need, spot),
                }));
            }
            planner::Work::Step { .. } => work.push(Work::Step(StepPlan {
                kind: written.map_or(OperationKind::Fit, |o| o.kind),
                name: written.map_or_else(
                    || "fit the true part and run it".to_owned(),
                    |o| o.name.clone(),
                ),
                station: written.and_then(|o| o.station.clone()),
                start,
                end,
                crew: operation.crew,
            })),
        }
    }
    work
}
