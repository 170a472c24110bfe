//! From the site's situation to a planning problem.
//!
//! Every open request becomes a job, so that its asset's loss counts; of its ways only those
//! whose gates are open become options. What is shut stays here beside them, to be explained.

use super::debt::debt;
use super::gate::{Gate, Opens, Shut};
use super::hold::hold;
use super::if_yes::{IfYes, Yeses, yeses};
use super::kit;
use super::need::{GasSource, StageNeed, stage_need, step_fuel_ml, within_set};
use super::part_gates::{base_metal_gate, hold_gates, refusal_gates, size_gates};
use super::power;
use super::qualified;
use super::supply::{FUEL, SERVICE, gas_draws, lots, stores};
use crate::catalogue::{Operation, Recipe, RecipeState, Spray};
use crate::code::{RecipeCode, RequestCode};
use crate::planner::{self, Draw, Job, JobOption, Limit, Load, Problem, Work};
use crate::situation::{Begun, Request, Shift, Situation, StandIn, Way};
use chrono::{DateTime, TimeDelta, Utc};
use std::collections::{BTreeMap, BTreeSet};

/// The option of a job that stands for the true part on order.
pub const TRUE_PART: &str = "true-part";

/// How the option of a stand-in ends.
pub(super) const STAND_IN: &str = ".stand-in";

/// How an option ends by which some of what is done is done again.
pub(super) const AGAIN: &str = ".again";

/// One way to serve a request, as the planner sees it, with the gates that keep it out.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Candidate {
    /// The recipe and its revision; none for the true part.
    pub recipe: Option<(RecipeCode, i64)>,
    /// It is a stand-in that must come off again.
    pub stand_in: bool,
    /// Of the recipe's operations these are done.
    pub done: usize,
    /// The yeses on which it counts and which are not given yet.
    pub if_yes: Vec<IfYes>,
    /// Stretches within which a yes lets it be built or released.
    pub limits: Vec<Limit>,
    /// The option; none where no figure can be given for it.
    pub option: Option<JobOption>,
    /// What each of its stages takes, in the order of its stages.
    pub needs: Vec<StageNeed>,
    /// Gates that do not depend on what other requests take.
    pub shut: Vec<Shut>,
}

impl Candidate {
    /// Position of the operation from which on what is done is done again by this way; none if nothing is.
    #[must_use]
    pub fn again_from(&self) -> Option<usize> {
        let again = |option: &JobOption| option.id.ends_with(AGAIN);
        self.option.as_ref().is_some_and(again).then_some(self.done)
    }

    fn shut(shut: Vec<Shut>) -> Self {
        Self {
            shut,
            ..Self::default()
        }
    }
}

/// A planning problem, with what lies behind it.
#[derive(Debug, Clone, PartialEq)]
pub struct Draft {
    /// The problem: jobs by the number of their request, lots and stores by their codes.
    pub problem: Problem,
    /// All ways of every open request, open and shut.
    pub candidates: BTreeMap<RequestCode, Vec<Candidate>>,
}

/// The planning problem of a situation.
#[must_use]
pub fn draft(situation: &Situation) -> Draft {
    let mut candidates = BTreeMap::new();
    let mut jobs = Vec::new();
    for request in &situation.requests {
        let ways = self::candidates(situation, request);
        jobs.push(Job {
            id: request.code.to_string(),
            asset: request.asset.to_string(),
            release: request
                .at_cell_from
                .map_or(0, |t| situation.minute_from(t).max(0)),
            options: ways
                .iter()
                .filter(|c| c.shut.is_empty())
                .filter_map(|c| c.option.clone())
                .collect(),
        });
        candidates.insert(request.code.clone(), ways);
    }
    let horizon = situation.horizon();
    let mut problem = Problem {
        schema: planner::ProblemSchema::V1,
        name: Some(situation.site.name.clone()),
        known: None,
        horizon,
        windows: windows(situation, horizon),
        cells: vec![cell(situation)],
        stations: situation
            .stations
            .iter()
            .map(|s| station(situation, s))
            .collect(),
        stores: stores(situation),
        limits: limits(situation, &candidates),
        lots: lots(situation),
        capabilities: capabilities(situation),
        assets: assets(situation),
        jobs,
    };
    hold(situation, &mut problem);
    Draft {
        problem,
        candidates,
    }
}

/// What operations share: the set's power, people who can do it, and each yes while it holds.
fn limits(situation: &Situation, candidates: &BTreeMap<RequestCode, Vec<Candidate>>) -> Vec<Limit> {
    let yeses = candidates.values().flatten().flat_map(|way| &way.limits);
    // Two ways by one recipe have the same yeses.
    let mut known = BTreeSet::new();
    [power::limit(situation)]
        .into_iter()
        .chain(kit::limits(situation))
        .chain(qualified::limits(situation))
        .chain(yeses.cloned())
        .filter(|limit| known.insert(limit.id.clone()))
        .collect()
}

/// All ways of one request, open and shut, in the order in which they were asked for.
#[must_use]
pub fn candidates(situation: &Situation, request: &Request) -> Vec<Candidate> {
    if let Some(begun) = &request.begun {
        return by_revision(situation, request, begun);
    }
    let mut ways: Vec<Candidate> = request
        .ways
        .iter()
        .map(|way| match way {
            Way::Recipe(code) => by_recipe(situation, request, code),
            Way::StandIn(stand_in) => by_stand_in(situation, request, stand_in),
            Way::TruePart {
                expected,
                fit_min,
                crew,
                ..
            } => Candidate {
                option: Some(JobOption {
                    id: TRUE_PART.to_owned(),
                    earliest: situation.minute_from(*expected).max(0),
                    debt: 0,
                    operations: vec![step(None, *fit_min, *crew, 0, Vec::new())],
                }),
                ..Candidate::default()
            },
        })
        .collect();
    if !request
        .ways
        .iter()
        .any(|w| !matches!(w, Way::TruePart { .. }))
    {
        ways.insert(0, Candidate::shut(without_recipe(situation, request)));
    }
    ways
}

/// Why a request without a recipe has none.
fn without_recipe(situation: &Situation, request: &Request) -> Vec<Shut> {
    let Some(part) = request.part.as_ref().and_then(|p| situation.part(p)) else {
        return vec![Shut::new(Gate::NotListed, Opens::ListPart)];
    };
    let mut shut = refusal_gates(situation, part);
    shut.extend(size_gates(situation, part, request.mass_g));
    if !shut
        .iter()
        .any(|s| matches!(s.opens, Opens::Shut { .. } | Opens::TruePart))
    {
        shut.push(Shut::new(Gate::NoRecipe, Opens::WriteRecipe));
    }
    shut
}

fn by_recipe(situation: &Situation, request: &Request, code: &RecipeCode) -> Candidate {
    let Some(recipe) = usable_revision(situation, code) else {
        return Candidate::shut(without_recipe(situation, request));
    };
    let mut way = by(situation, request, recipe, 0);
    way.shut.extend(approval_gate(recipe));
    way
}

/// As its recipe, with what it costs later.
fn by_stand_in(situation: &Situation, request: &Request, stand_in: &StandIn) -> Candidate {
    let mut way = by_recipe(situation, request, &stand_in.recipe);
    way.stand_in = true;
    if let Some(option) = &mut way.option {
        option.id.push_str(STAND_IN);
        option.debt = debt(situation, request, stand_in);
    }
    way
}

/// What is left to do of a revision by which work was begun, whatever became of it since.
///
/// What may wait only so long after what is done is planned to start in time, and beside that with what is
/// done done again, so that the plan can choose; only the latter where the wait is too long already, or
/// nobody is here before it is.
fn by_revision(situation: &Situation, request: &Request, begun: &Begun) -> Vec<Candidate> {
    let Some(recipe) = situation.recipe(&begun.recipe, begun.revision) else {
        let shut = vec![Shut::new(Gate::NoRecipe, Opens::WriteRecipe)];
        return vec![Candidate::shut(shut)];
    };
    let again_from = again_from(recipe, begun.done);
    if let Some(from) = again_from.filter(|_| waits_too_long(recipe, begun, situation.now)) {
        return vec![again(situation, request, recipe, from)];
    }
    let mut way = by(situation, request, recipe, begun.done);
    let ended = situation.minute_from(begun.ended_at);
    let next = recipe.operations.get(begun.done);
    let within = next.and_then(|next| next.within_min);
    let latest = within.map(|within| situation.minute_until(begun.ended_at) + within);
    let latest = latest.filter(|_| again_from.is_some());
    let at_cell = request.at_cell_from.map(|t| situation.minute_from(t));
    if let Some(option) = &mut way.option
        && let Some(next) = option.operations.first_mut()
    {
        option.earliest = option.earliest.max(ended + next.after).max(0);
        next.after = 0;
        let ready = option.earliest.max(at_cell.unwrap_or(0));
        next.within = latest.map(|latest| latest - ready);
    }
    let in_time = latest.is_none_or(|latest| {
        let operations = way.option.iter().flat_map(|option| &option.operations);
        let fits = operations
            .take(1)
            .all(|it| it.within.is_some_and(|w| w >= 0));
        let attended =
            |it: &Shift| situation.minute_from(it.from) <= latest && it.to > situation.now;
        fits && situation.shifts.iter().any(attended)
    });
    let way = Some(way).filter(|_| in_time);
    let again = again_from.map(|from| again(situation, request, recipe, from));
    way.into_iter().chain(again).collect()
}

/// With what is done from there on done again.
fn again(situation: &Situation, request: &Request, recipe: &Recipe, from: usize) -> Candidate {
    let mut way = by(situation, request, recipe, from);
    if let Some(option) = &mut way.option {
        option.id.push_str(AGAIN);
        if let Some(next) = option.operations.first_mut() {
            next.after = 0;
            next.within = None;
        }
    }
    way
}

/// Where work begins again if the operation behind the first `done` waits too long: at the first of the
/// steps before it that may each wait only so long for the next. None if it may wait for ever.
fn again_from(recipe: &Recipe, done: usize) -> Option<usize> {
    let hastens = |at: &usize| {
        let next = recipe.operations.get(*at);
        let before = at.checked_sub(1).and_then(|at| recipe.operations.get(at));
        next.is_some_and(|next| next.within_min.is_some())
            && before.is_some_and(|before| before.kind.readies())
    };
    (0..done).rev().take_while(|at| hastens(&(at + 1))).last()
}

fn waits_too_long(recipe: &Recipe, begun: &Begun, now: DateTime<Utc>) -> bool {
    let next = recipe.operations.get(begun.done);
    let within = next.and_then(|next| next.within_min);
    within.is_some_and(|within| now > begun.ended_at + TimeDelta::minutes(within))
}

/// How many operations of a recipe that was begun count as done: all that are, but for the steps that are
/// to be done again since what comes next may wait only so long after them and has waited longer.
#[must_use]
pub fn still_done(recipe: &Recipe, begun: &Begun, now: DateTime<Utc>) -> usize {
    let again_from = again_from(recipe, begun.done);
    again_from
        .filter(|_| waits_too_long(recipe, begun, now))
        .unwrap_or(begun.done)
}

/// What is left to do of a recipe after its first `done` operations.
///
/// What is asked before spraying is asked no more once all of it is sprayed.
pub(super) fn by(
    situation: &Situation,
    request: &Request,
    recipe: &Recipe,
    done: usize,
) -> Candidate {
    let left = recipe.operations.get(done..).unwrap_or_default();
    let sprays = left.iter().any(|operation| operation.spray.is_some());
    let mut shut = hold_gates(request);
    let mut given = Yeses::default();
    match request.part.as_ref().and_then(|p| situation.part(p)) {
        Some(part) => {
            shut.extend(refusal_gates(situation, part));
            given = yeses(situation, request, part, recipe);
            if sprays {
                shut.extend(size_gates(situation, part, request.mass_g));
            } else {
                given.forget_build();
            }
            shut.append(&mut given.shut);
        }
        None => shut.push(Shut::new(Gate::NotListed, Opens::ListPart)),
    }
    if sprays {
        shut.extend(base_metal_gate(request, recipe));
    }
    let mut way = Candidate {
        recipe: Some((recipe.code.clone(), recipe.revision)),
        done,
        if_yes: given.if_yes,
        limits: given.windows.iter().map(|w| w.limit.clone()).collect(),
        ..Candidate::default()
    };
    match operations(situation, recipe, done) {
        Ok((mut operations, needs)) => {
            for window in &given.windows {
                window.load(left, &mut operations);
            }
            qualified::load(situation, left, &mut operations);
            way.option = Some(JobOption {
                id: format!("{}.r{}", recipe.code, recipe.revision),
                earliest: given.earliest,
                debt: 0,
                operations,
            });
            way.needs = needs;
        }
        Err(gate) => shut.push(gate),
    }
    way.shut = shut;
    way
}

/// A revision that nobody approved.
pub(super) fn approval_gate(recipe: &Recipe) -> Option<Shut> {
    let (code, revision) = (recipe.code.clone(), recipe.revision);
    let opens = match recipe.state {
        RecipeState::Approved => return None,
        RecipeState::Draft | RecipeState::Proposed => Opens::Approve {
            recipe: code.clone(),
            revision,
        },
        RecipeState::Superseded | RecipeState::Withdrawn => Opens::WriteRecipe,
    };
    let gate = Gate::NotApproved {
        recipe: code,
        revision,
        state: recipe.state,
    };
    Some(Shut::new(gate, opens))
}

/// The approved revision; where there is none, the newest.
#[must_use]
pub fn usable_revision<'a>(situation: &'a Situation, code: &RecipeCode) -> Option<&'a Recipe> {
    let revisions = || situation.recipes.iter().filter(|r| r.code == *code);
    revisions()
        .find(|r| r.state == RecipeState::Approved)
        .or_else(|| revisions().max_by_key(|r| r.revision))
}

pub(super) type Operations = (Vec<planner::Operation>, Vec<StageNeed>);

/// The operations of a recipe after its first `done`, and what its stages take. What is done needs
/// nothing more; a fixture that is still held is held by the operation that comes next.
pub(super) fn operations(
    situation: &Situation,
    recipe: &Recipe,
    done: usize,
) -> Result<Operations, Shut> {
    flags_gate(situation, recipe)?;
    let mut needs = Vec::new();
    let mut operations: Vec<planner::Operation> = Vec::new();
    let mut held = Vec::new();
    for (at, written) in recipe.operations.iter().enumerate() {
        let loads = kit::loads(situation, &recipe.operations, at);
        if at < done {
            let still = |load: &Load| load.through.is_some_and(|until| until >= done);
            held.extend(loads.into_iter().flatten().filter(still));
            continue;
        }
        held.extend(loads?);
        let mut operation = match &written.spray {
            None => {
                let mut step = planned_step(situation, written)?;
                if let Work::Step {
                    cycle: Some(cycle), ..
                } = &mut step.work
                    && cycle.is_empty()
                {
                    // A cycle that has no name is shared with no other recipe.
                    *cycle = format!("{}.r{}/{}", recipe.code, recipe.revision, at + 1);
                }
                step
            }
            Some(spray) => {
                let need = stage_need(situation, spray)?;
                let stage = planned_stage(situation, written, spray, &need)?;
                needs.push(need);
                stage
            }
        };
        operation.loads.append(&mut held);
        let untils = operation.loads.iter_mut();
        for until in untils.filter_map(|load| load.through.as_mut()) {
            *until -= done;
        }
        operations.push(operation);
    }
    Ok((operations, needs))
}

fn planned_step(situation: &Situation, written: &Operation) -> Result<planner::Operation, Shut> {
    let power_w = station_power_w(situation, written)?;
    within_set(situation, power_w)?;
    let fuel_ml = step_fuel_ml(situation, power_w, written.step_min());
    let code = written.station.as_ref();
    let batch = code.and_then(|code| situation.station(code));
    let batch = batch.is_some_and(|station| station.batch);
    Ok(planner::Operation {
        work: Work::Step {
            station: code.map(ToString::to_string),
            cycle: batch.then(|| written.cycle.clone()),
        },
        within: written.within_min,
        loads: power::load(power_w),
        ..step(
            None,
            written.step_min(),
            written.crew,
            written.after_min,
            fuel(fuel_ml),
        )
    })
}

fn planned_stage(
    situation: &Situation,
    written: &Operation,
    spray: &Spray,
    need: &StageNeed,
) -> Result<planner::Operation, Shut> {
    let mut draws = stage_draws(situation, spray, need);
    draws.extend(kit::draws(situation, written)?);
    Ok(planner::Operation {
        work: Work::Stage {
            cells: vec![situation.cell.name.clone()],
            powder: spray.powder.to_string(),
            grams: need.powder_g,
            one_lot: spray.one_lot,
        },
        minutes: need.minutes,
        crew: written.crew,
        after: written.after_min,
        within: written.within_min,
        draws,
        loads: power::load(need.power_w),
    })
}

/// A part that is used for what its recipe was not approved for.
fn flags_gate(situation: &Situation, recipe: &Recipe) -> Result<(), Shut> {
    let part = situation.part(&recipe.part);
    let beyond = part.and_then(|part| recipe.not_covered(&part.flags).first().copied());
    beyond.map_or(Ok(()), |flag| {
        let (recipe, revision) = (recipe.code.clone(), recipe.revision);
        let gate = Gate::NotForFlag {
            recipe,
            revision,
            flag,
        };
        Err(Shut::new(gate, Opens::WriteRecipe))
    })
}

/// What the station of a step takes while it works, in watts; the gate if it is not here.
fn station_power_w(situation: &Situation, operation: &Operation) -> Result<i64, Shut> {
    let Some(code) = &operation.station else {
        return Ok(0);
    };
    let station = situation.station(code).ok_or_else(|| {
        let station = code.clone();
        let opens = Opens::StationBack {
            station: code.clone(),
            by: None,
        };
        Shut::new(Gate::NoStation { station }, opens)
    })?;
    Ok(station.power_w)
}

fn stage_draws(situation: &Situation, spray: &Spray, need: &StageNeed) -> Vec<Draw> {
    let mut draws = fuel(need.fuel_ml);
    match &need.source {
        GasSource::Bank(_) => {
            let mut banks = gas_draws(situation, spray.gas, need.gas_g, spray.pressure_mbar);
            draws.push(match banks.len() {
                1 => Draw::Of(banks.remove(0)),
                _ => Draw::AnyOf(banks),
            });
        }
        GasSource::Compressor => {
            if situation
                .compressor
                .as_ref()
                .is_some_and(|c| c.service_in_min.is_some())
            {
                draws.push(Draw::of(SERVICE, need.minutes, 0));
            }
        }
    }
    draws
}

fn fuel(ml: i64) -> Vec<Draw> {
    if ml == 0 {
        Vec::new()
    } else {
        vec![Draw::of(FUEL, ml, 0)]
    }
}

const fn step(
    station: Option<String>,
    minutes: i64,
    crew: i64,
    after: i64,
    draws: Vec<Draw>,
) -> planner::Operation {
    planner::Operation {
        work: Work::Step {
            station,
            cycle: None,
        },
        minutes,
        crew,
        after,
        within: None,
        draws,
        loads: Vec::new(),
    }
}

fn windows(situation: &Situation, horizon: i64) -> Vec<planner::Window> {
    situation
        .shifts
        .iter()
        .map(|s| planner::Window {
            from: situation.minute_from(s.from).max(0),
            to: situation.minute_until(s.to).min(horizon),
            crew: s.crew,
        })
        .filter(|w| w.from < w.to)
        .collect()
}

fn cell(situation: &Situation) -> planner::Cell {
    let cell = &situation.cell;
    let mut changeover: BTreeMap<String, BTreeMap<String, i64>> = BTreeMap::new();
    for ((from, to), minutes) in &cell.changeover_min {
        changeover
            .entry(from.to_string())
            .or_default()
            .insert(to.to_string(), *minutes);
    }
    planner::Cell {
        id: cell.name.clone(),
        free_from: cell
            .free_from
            .map_or(0, |t| situation.minute_from(t).max(0)),
        powder: cell.feeder.as_ref().map(ToString::to_string),
        warm_up: cell.warm_up_min,
        same_powder: cell.same_powder_min,
        default_changeover: cell.default_changeover_min,
        changeover,
        closed: cell
            .closed
            .iter()
            .filter_map(|c| span(situation, c))
            .map(|(a, b, _)| (a, b))
            .collect(),
    }
}

fn station(situation: &Situation, station: &crate::situation::Station) -> planner::Station {
    planner::Station {
        id: station.code.to_string(),
        slots: station.slots,
        batch: station.batch,
        closed: station
            .closed
            .iter()
            .filter_map(|c| span(situation, c))
            .collect(),
    }
}

fn span(situation: &Situation, closed: &crate::situation::Closed) -> Option<(i64, i64, i64)> {
    let from = situation.minute_until(closed.from).max(0);
    let to = situation.minute_from(closed.to).min(situation.horizon());
    (from < to).then_some((from, to, closed.slots))
}

/// The assets of each capability that are or will be down within the plan, with the first rows of
/// its loss table: so many of them may be down together.
fn capabilities(situation: &Situation) -> Vec<planner::Capability> {
    situation
        .capabilities
        .iter()
        .map(|capability| {
            let assets: Vec<String> = capability
                .assets
                .iter()
                .filter(|code| {
                    situation
                        .asset(code)
                        .is_some_and(|a| goes_down(situation, a))
                })
                .map(ToString::to_string)
                .collect();
            let loss_per_hour = capability
                .loss_per_hour
                .iter()
                .copied()
                .take(assets.len() + 1)
                .collect();
            planner::Capability {
                id: capability.code.to_string(),
                from: 0,
                assets,
                loss_per_hour,
            }
        })
        .filter(|c| !c.assets.is_empty())
        .collect()
}

fn goes_down(situation: &Situation, asset: &crate::situation::Asset) -> bool {
    asset
        .down_from
        .is_some_and(|t| situation.minute_from(t) < situation.horizon())
}

fn assets(situation: &Situation) -> BTreeMap<String, planner::Asset> {
    let mut known = BTreeMap::new();
    for asset in situation.assets.iter().filter(|a| goes_down(situation, a)) {
        let down_from = asset
            .down_from
            .map(|t| situation.minute_from(t))
            .filter(|m| *m > 0);
        let back = asset.back.map(|t| situation.minute_from(t).max(0));
        if down_from.is_some() || back.is_some() {
            known.insert(asset.code.to_string(), planner::Asset { down_from, back });
        }
    }
    known
}
