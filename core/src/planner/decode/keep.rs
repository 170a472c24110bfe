//! A plan kept to the minute, with more jobs in what it leaves.

use super::state::{Fixed, Outcome, State, Trail};
use super::{Chunk, spots};
use crate::planner::loss::loss;
use crate::planner::plan::{Plan, PlannedJob, Spot};
use crate::planner::problem::{Operation, Problem};
use crate::planner::rules::{OperationRule, Rules};

/// Keeps every operation of a plan where it is and places further jobs in what it leaves.
///
/// They come as `(job, option)` positions and are placed in this order, each operation as early as
/// possible; stages go behind those already in the cell.
///
/// The plan must keep the rules of the problem, as one that was verified does, or of one that gives no
/// more than this one. What does not fit is left out; a job that the plan has, and a position that the
/// problem does not have, is passed over.
#[must_use]
pub fn add(problem: &Problem, plan: &Plan, further: &[(usize, usize)]) -> Plan {
    let rules = Rules::new(problem);
    let mut state = State::new(&rules);
    let kept: Vec<Kept> = plan.jobs.iter().filter_map(|p| kept(problem, p)).collect();
    fix(problem, &rules, &mut state, &kept);
    let mut jobs: Vec<PlannedJob> = kept.iter().map(|k| k.planned.clone()).collect();
    let mut named: Vec<usize> = kept.iter().map(|k| k.job).collect();
    let mut trail = Trail::default();
    for (job, option) in further {
        let rule = rules.jobs.get(*job).and_then(|it| it.options.get(*option));
        let Some(rule) = rule.filter(|_| !named.contains(job)) else {
            continue;
        };
        let upto = rule.operations.len();
        let (job, option) = (*job, *option);
        let chunk = Chunk::new(job, option, upto);
        if let Outcome::Finished(_) = state.place_chunk(&rules, chunk, &mut trail) {
            named.push(job);
            jobs.push(PlannedJob {
                id: problem.jobs[job].id.clone(),
                option: problem.jobs[job].options[option].id.clone(),
                operations: spots(problem, &rule.operations, &trail).collect(),
            });
        }
    }
    let mut added = Plan {
        jobs,
        left_out: (0..problem.jobs.len())
            .filter(|job| !named.contains(job))
            .map(|job| problem.jobs[job].id.clone())
            .collect(),
        ..Plan::default()
    };
    added.loss = loss(problem, &added);
    added
}

/// A planned job that the problem has.
struct Kept<'a> {
    job: usize,
    option: usize,
    planned: &'a PlannedJob,
}

fn kept<'a>(problem: &Problem, planned: &'a PlannedJob) -> Option<Kept<'a>> {
    let job = problem.jobs.iter().position(|j| j.id == planned.id)?;
    let mut options = problem.jobs[job].options.iter();
    let option = options.position(|o| o.id == planned.option)?;
    Some(Kept {
        job,
        option,
        planned,
    })
}

/// Takes what the plan takes, in the order of time, so that each cell is left as by its last stage.
fn fix(problem: &Problem, rules: &Rules, state: &mut State, kept: &[Kept<'_>]) {
    let mut all: Vec<(&Spot, &Operation, &OperationRule)> = Vec::new();
    for Kept {
        job,
        option,
        planned,
    } in kept
    {
        let written = problem.jobs[*job].options[*option].operations.iter();
        let rules = &rules.jobs[*job].options[*option].operations;
        let operations = written.zip(rules);
        let spots = planned.operations.iter().zip(operations);
        all.extend(spots.map(|(spot, (operation, rule))| (spot, operation, rule)));
    }
    all.sort_by_key(|(spot, ..)| spot.setup_from.unwrap_or(spot.start));
    for (spot, operation, rule) in all {
        state.fix(rules, rule, &fixed(problem, spot, operation, rule));
    }
}

fn fixed(problem: &Problem, spot: &Spot, operation: &Operation, rule: &OperationRule) -> Fixed {
    let cell = spot.cell.as_ref();
    let lot = |id: &str| problem.lots.iter().position(|lot| lot.id == id);
    let lots = spot.lots.iter();
    Fixed {
        begin: spot.setup_from.unwrap_or(spot.start),
        start: spot.start,
        cell: cell.and_then(|id| problem.cells.iter().position(|cell| cell.id == *id)),
        lots: lots
            .filter_map(|draw| Some((lot(&draw.lot)?, draw.grams)))
            .collect(),
        way: way(problem, spot, operation, rule),
    }
}

/// The way to draw from stores that a spot names; where it names none, the first store of each draw.
fn way(problem: &Problem, spot: &Spot, operation: &Operation, rule: &OperationRule) -> usize {
    let wanted = |n: usize| {
        let named = spot.from.get(n).and_then(Option::as_deref);
        named.or_else(|| Some(operation.draws.get(n)?.choices().first()?.store.as_str()))
    };
    let is = |n: usize, store: usize| wanted(n) == Some(problem.stores[store].id.as_str());
    let mut ways = rule.ways.iter();
    let same = ways.position(|way| {
        let mut chosen = way.chosen.iter().enumerate();
        chosen.all(|(n, store)| store.is_none_or(|store| is(n, store)))
    });
    same.unwrap_or(0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::planner::samples::{batch_station, job, quiet_site, stage, step, within};
    use crate::planner::{check, decode};

    /// The furnace is planned from 50 to 110. The part of j2, sprayed by 10, would not be done by 50, and goes
    /// in at 50 with the other. That of j3 may wait 15 min only: it is sprayed from 25 on.
    #[test]
    fn a_planned_batch_is_joined() {
        let mut problem = quiet_site(400);
        problem.stations = vec![batch_station("furnace", 3)];
        let bake = || step("furnace", 60, 0);
        problem.jobs = vec![
            job(1, vec![bake()]),
            job(2, vec![stage("al", 1, 10), bake()]),
            job(3, vec![stage("al", 1, 10), within(bake(), 15)]),
        ];
        let mut plan = decode(&problem, &[(0, 0)]);
        plan.jobs[0].operations[0].start = 50;
        let all = add(&problem, &plan, &[(1, 0), (2, 0)]);
        let spots = all.jobs.iter().flat_map(|job| &job.operations);
        let starts: Vec<i64> = spots.map(|spot| spot.start).collect();
        assert_eq!(starts, [50, 0, 50, 25, 50]);
        assert_eq!(check(&problem, &all), []);
    }

    /// Two jobs share one person and one cell. The plan has the second, late: at 300. Kept to the minute, the
    /// first goes behind it in the cell, and into no gap before it.
    #[test]
    fn what_is_planned_stays_where_it_is() {
        let problem = Problem::from_json(
            r#"{"schema": "planning-problem/1", "horizon": 600,
              "windows": [{"from": 0, "to": 600, "crew": 1}],
              "cells": [{"id": "c", "free_from": 0, "powder": null, "warm_up": 0, "same_powder": 10, "default_changeover": 30, "changeover": {}}],
              "stations": [], "stores": [{"id": "low", "level": 5, "arrivals": []}, {"id": "full", "level": 20, "arrivals": []}],
              "lots": [{"id": "l", "powder": "p", "grams": 200, "from": 0, "until": 600}],
              "capabilities": [{"id": "k", "from": 0, "assets": ["a", "b"], "loss_per_hour": [0, 6, 12]}],
              "jobs": [
                {"id": "1", "asset": "a", "release": 0, "options": [{"id": "o", "earliest": 0, "operations": [
                  {"cells": ["c"], "powder": "p", "grams": 100, "one_lot": false, "minutes": 60, "crew": 1, "after": 0,
                   "draws": [{"any_of": [{"store": "low", "amount": 5, "floor": 0}, {"store": "full", "amount": 5, "floor": 0}]}]}]}]},
                {"id": "2", "asset": "b", "release": 0, "options": [{"id": "o", "earliest": 0, "operations": [
                  {"cells": ["c"], "powder": "p", "grams": 100, "one_lot": false, "minutes": 60, "crew": 1, "after": 0,
                   "draws": [{"any_of": [{"store": "low", "amount": 5, "floor": 0}, {"store": "full", "amount": 5, "floor": 0}]}]}]}]}]}"#,
        )
        .expect("a problem");
        let mut plan = decode(&problem, &[(1, 0)]);
        let spot = &mut plan.jobs[0].operations[0];
        (spot.setup_from, spot.start) = (Some(290), 300);
        spot.from = vec![Some("low".to_owned())];
        let both = add(&problem, &plan, &[(0, 0)]);
        assert_eq!(both.jobs[0].operations, plan.jobs[0].operations);
        let first = &both.jobs[1].operations[0];
        assert_eq!((first.setup_from, first.start), (Some(360), 370));
        assert_eq!(first.from, [Some("full".to_owned())], "low is taken");
        assert_eq!(check(&problem, &both), []);
    }
}
