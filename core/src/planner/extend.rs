//! A plan with more jobs behind it.

use super::decode::{Chunk, plan_of};
use super::plan::{Plan, PlannedJob, Spot};
use super::problem::{Draw, Problem};
use super::rules::{OptionRule, Rules, WorkRule};

/// Keeps a plan's operations in the order in which they start, and puts further `(job, option)`
/// positions behind them, each as early as the rules allow.
///
/// Started in the same order, each operation comes as early as before or earlier, unless lots are
/// shared out otherwise; the loss of the answer says. What the plan takes from stores it keeps taking from
/// the same ones. Steps of a batch, and operations that are followed within a limit, come no earlier, so that
/// the batch and the wait are kept; where too much has changed for that, operations between which the wait has
/// a limit are placed together. What does not fit is left out; a job named again, and what the problem does not have, is
/// passed over.
#[must_use]
pub fn extend(problem: &Problem, plan: &Plan, further: &[(usize, usize)]) -> Plan {
    let kept = choices_kept(problem, plan);
    let problem = kept.as_ref().unwrap_or(problem);
    let mut rules = Rules::new(problem);
    let planned = positions(problem, plan);
    keep_starts(&mut rules, planned.iter());
    let behind = behind(&rules, &planned, further);
    placed_anew(problem, &rules, &planned, &[], &|mut order| {
        order.extend(&behind);
        order
    })
}

/// A job of the plan that the problem has.
pub(super) struct Planned<'a> {
    pub job: usize,
    pub option: usize,
    pub spots: &'a [Spot],
}

impl Planned<'_> {
    pub fn option<'a>(&self, rules: &'a Rules) -> &'a OptionRule {
        &rules.jobs[self.job].options[self.option]
    }

    /// Its operations as chunks, each with the minute that says when it is its turn: one by one, or those
    /// together between which the wait has a limit.
    ///
    /// Stages go behind those already in the cell and steps into gaps, so that operations together take the
    /// turn of their last stage.
    pub fn chunks(&self, rules: &Rules, together: bool) -> Vec<(i64, Chunk)> {
        let option = self.option(rules);
        let count = option.operations.len().min(self.spots.len());
        let whole = |upto| Chunk::new(self.job, self.option, upto);
        if option.operations.is_empty() {
            return vec![(0, whole(0))];
        }
        let (mut chunks, mut from) = (Vec::new(), 0);
        for upto in (1..=count).filter(|upto| !together || option.may_part(*upto)) {
            let mut turns = (from..upto).rev();
            let stage =
                turns.find(|n| matches!(option.operations[*n].work, WorkRule::Stage { .. }));
            chunks.push((self.spots[stage.unwrap_or(from)].start, whole(upto)));
            from = upto;
        }
        chunks
    }
}

pub(super) fn positions<'a>(problem: &Problem, plan: &'a Plan) -> Vec<Planned<'a>> {
    let position = |planned: &'a PlannedJob| {
        let job = problem.jobs.iter().position(|j| j.id == planned.id)?;
        let mut options = problem.jobs[job].options.iter();
        let option = options.position(|o| o.id == planned.option)?;
        Some(Planned {
            job,
            option,
            spots: &planned.operations,
        })
    };
    plan.jobs.iter().filter_map(position).collect()
}

/// Lets start no sooner what may have waited on purpose: steps of a batch, for the last of them, and what
/// is followed within a limit, for what follows.
pub(super) fn keep_starts<'a>(rules: &mut Rules, planned: impl Iterator<Item = &'a Planned<'a>>) {
    for Planned { job, option, spots } in planned {
        let option = &mut rules.jobs[*job].options[*option];
        for (n, spot) in spots.iter().enumerate().take(option.operations.len()) {
            if option.operations[n].batch.is_some() || !option.may_part(n + 1) {
                option.operations[n].not_before = spot.start;
            }
        }
    }
}

/// Further jobs as chunks: those that are not planned, each once.
fn behind(rules: &Rules, planned: &[Planned<'_>], further: &[(usize, usize)]) -> Vec<Chunk> {
    let mut named = vec![false; rules.jobs.len()];
    for it in planned {
        named[it.job] = true;
    }
    let chunks = further.iter().filter_map(|(job, option)| {
        if std::mem::replace(named.get_mut(*job)?, true) {
            return None;
        }
        let operations = &rules.jobs.get(*job)?.options.get(*option)?.operations;
        Some(Chunk::new(*job, *option, operations.len()))
    });
    chunks.collect()
}

/// The planned jobs in the order in which their operations start, as `change` has it. The operations of the
/// jobs named, and of those that otherwise fall out, are together where the wait between them has a limit.
pub(super) fn placed_anew(
    problem: &Problem,
    rules: &Rules,
    planned: &[Planned<'_>],
    together: &[usize],
    change: &dyn Fn(Vec<Chunk>) -> Vec<Chunk>,
) -> Plan {
    let worth = |plan: &Plan| (plan.loss, plan.left_out.len());
    let mut together = together.to_vec();
    let mut best: Option<Plan> = None;
    loop {
        let chunks = |it: &Planned<'_>| it.chunks(rules, together.contains(&it.job));
        let mut begun: Vec<(i64, Chunk)> = planned.iter().flat_map(chunks).collect();
        begun.sort_by_key(|(begin, chunk)| (*begin, chunk.job, chunk.upto));
        let order = change(begun.into_iter().map(|(_, chunk)| chunk).collect());
        let next = plan_of(problem, rules, order.into_iter());
        let lost = planned
            .iter()
            .filter(|it| !together.contains(&it.job) && it.option(rules).limits_waits())
            .filter(|it| next.left_out.contains(&problem.jobs[it.job].id));
        let lost: Vec<usize> = lost.map(|it| it.job).collect();
        let plan = match best.take() {
            Some(best) if worth(&best) <= worth(&next) => best,
            _ => next,
        };
        if lost.is_empty() {
            return plan;
        }
        together.extend(lost);
        best = Some(plan);
    }
}

/// The problem with no choice of stores left where the plan has chosen; none if it has nowhere.
pub(super) fn choices_kept(problem: &Problem, plan: &Plan) -> Option<Problem> {
    let mut spots = plan.jobs.iter().flat_map(|planned| &planned.operations);
    if spots.all(|spot| spot.from.is_empty()) {
        return None;
    }
    let mut kept = problem.clone();
    for planned in &plan.jobs {
        let job = kept.jobs.iter_mut().find(|job| job.id == planned.id);
        let mut options = job.into_iter().flat_map(|job| &mut job.options);
        let Some(option) = options.find(|option| option.id == planned.option) else {
            continue;
        };
        for (operation, spot) in option.operations.iter_mut().zip(&planned.operations) {
            for (draw, from) in operation.draws.iter_mut().zip(&spot.from) {
                keep_choice(draw, from.as_deref());
            }
        }
    }
    Some(kept)
}

fn keep_choice(draw: &mut Draw, store: Option<&str>) {
    if let Draw::AnyOf(choices) = draw
        && let Some(of) = choices.iter().find(|of| Some(of.store.as_str()) == store)
    {
        *choices = vec![of.clone()];
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::planner::samples::{batch_station, job, quiet_site, stage, station, step, within};
    use crate::planner::{CrewOrder, check, crew_plan, decode};

    /// One cell, two jobs of an hour each; the second one is put behind the first.
    const TWO: &str = r#"{"schema": "planning-problem/1", "horizon": 600,
      "windows": [{"from": 0, "to": 600, "crew": 2}],
      "cells": [{"id": "c", "free_from": 0, "powder": null, "warm_up": 0, "same_powder": 10, "default_changeover": 30, "changeover": {}}],
      "stations": [], "stores": [],
      "lots": [{"id": "l", "powder": "p", "grams": 200, "from": 0, "until": 600}],
      "capabilities": [{"id": "k", "from": 0, "assets": ["a", "b"], "loss_per_hour": [0, 6, 12]}],
      "jobs": [
        {"id": "1", "asset": "a", "release": 0, "options": [{"id": "o", "earliest": 0, "operations": [
          {"cells": ["c"], "powder": "p", "grams": 100, "one_lot": true, "minutes": 60, "crew": 1, "after": 0, "draws": []}]}]},
        {"id": "2", "asset": "b", "release": 0, "options": [{"id": "o", "earliest": 0, "operations": [
          {"cells": ["c"], "powder": "p", "grams": 100, "one_lot": true, "minutes": 60, "crew": 1, "after": 0, "draws": []}]}]}]}"#;

    /// Job 1 is sprayed from 10 to 70; job 2 behind it from 80 to 140.
    #[test]
    fn a_job_goes_behind_what_is_planned() {
        let problem = Problem::from_json(TWO).expect("a problem");
        let first = extend(&problem, &Plan::default(), &[(0, 0)]);
        assert_eq!(first.left_out, ["2"]);
        let both = extend(&problem, &first, &[(1, 0)]);
        let starts: Vec<i64> = both.jobs.iter().map(|j| j.operations[0].start).collect();
        assert_eq!(starts, [10, 80]);
        assert_eq!(check(&problem, &both), []);
    }

    /// The set-up of a stage may begin before the step before it does: the cell is set up from 0 to
    /// 10 while the part is masked from 0 to 30. The steps of the job still keep their order.
    #[test]
    fn operations_of_a_job_keep_their_order() {
        let masked = TWO.replacen(
            r#""operations": ["#,
            r#""operations": [{"station": null, "minutes": 30, "crew": 1, "after": 0, "draws": []},"#,
            1,
        );
        let problem = Problem::from_json(&masked).expect("a problem");
        let mut plan = extend(&problem, &Plan::default(), &[(0, 0)]);
        plan.jobs[0].operations[1].setup_from = Some(0);
        plan.jobs[0].operations[0].start = 5;
        let both = extend(&problem, &plan, &[(1, 0)]);
        assert_eq!((both.left_out.len(), check(&problem, &both)), (0, vec![]));
    }

    /// A plan that takes the gas of job 1 from the fuller store stays with it; job 2, which is new, takes the
    /// lower one that still holds.
    #[test]
    fn the_stores_of_a_plan_are_kept() {
        let gas = r#"{"any_of": [{"store": "low", "amount": 5, "floor": 0}, {"store": "full", "amount": 5, "floor": 0}]}"#;
        let text = TWO
            .replace(r#""draws": []"#, &format!(r#""draws": [{gas}]"#))
            .replace(r#""stores": []"#, r#""stores": [{"id": "low", "level": 5, "arrivals": []}, {"id": "full", "level": 20, "arrivals": []}]"#);
        let problem = Problem::from_json(&text).expect("a problem");
        let mut plan = extend(&problem, &Plan::default(), &[(0, 0)]);
        assert_eq!(plan.jobs[0].operations[0].from, [Some("low".to_owned())]);
        plan.jobs[0].operations[0].from = vec![Some("full".to_owned())];
        let both = extend(&problem, &plan, &[(1, 0)]);
        let from: Vec<_> = both
            .jobs
            .iter()
            .map(|j| j.operations[0].from[0].as_deref())
            .collect();
        assert_eq!(from, [Some("full"), Some("low")]);
        assert_eq!(check(&problem, &both), []);
    }

    /// Job 1 keeps the only plate from its stage to a step at the bench, which is gone: it is left out, and
    /// lets go of the plate with its stage at 70. Job 2 needs one from the begin of its set-up there.
    #[test]
    fn a_job_that_no_longer_fits_keeps_nothing_behind_what_was_placed() {
        let text = TWO
            .replace(r#""stations": []"#, r#""stations": [{"id": "bench", "slots": 1}], "limits": [{"id": "plates", "capacity": 1}]"#)
            .replace(r#""draws": []}"#, r#""draws": [], "loads": [{"limit": "plates", "amount": 1}]}"#)
            .replacen(r#""amount": 1}]}"#, r#""amount": 1, "through": 1}]}, {"station": "bench", "minutes": 5, "crew": 0, "after": 0, "draws": []}"#, 1);
        let mut problem = Problem::from_json(&text).expect("a problem");
        let plan = extend(&problem, &Plan::default(), &[(0, 0)]);
        problem.stations[0].slots = 0;
        let both = extend(&problem, &plan, &[(1, 0)]);
        assert_eq!(both.left_out, ["1"]);
        assert_eq!(both.jobs[0].operations[0].setup_from, Some(70));
    }

    fn starts(plan: &Plan) -> Vec<Vec<i64>> {
        let of_job = |job: &PlannedJob| job.operations.iter().map(|spot| spot.start).collect();
        plan.jobs.iter().map(of_job).collect()
    }

    /// j1 is sprayed from 0 to 30. The part of j2 is sprayed as soon as it is blasted, from 30 on, so it is
    /// blasted from 20 on, though the bench is free; placed anew it is blasted no sooner. If j1 now takes
    /// 50 min that would be too soon, and it is blasted from 40 on.
    #[test]
    fn what_may_not_wait_is_kept() {
        let mut problem = quiet_site(400);
        problem.stations = vec![station("bench", 1)];
        let blasted = vec![step("bench", 10, 1), within(stage("al", 1, 20), 0)];
        problem.jobs = vec![job(1, vec![stage("al", 1, 30)]), job(2, blasted)];
        let plan = decode(&problem, &[(0, 0), (1, 0)]);
        assert_eq!(starts(&plan), [vec![0], vec![20, 30]]);
        assert_eq!(extend(&problem, &plan, &[]), plan);
        problem.jobs[0].options[0].operations[0].minutes = 50;
        let later = extend(&problem, &plan, &[]);
        assert_eq!(starts(&later), [vec![0], vec![40, 50]]);
        assert_eq!(check(&problem, &later), []);
    }

    /// j1 waits with its part from 0 to 20, so as to share the furnace with j2; in its place it would go in at
    /// once, and j2 at 60.
    #[test]
    fn a_batch_is_kept() {
        let mut problem = quiet_site(400);
        problem.stations = vec![batch_station("furnace", 2)];
        problem.jobs = (1..=2)
            .map(|n| job(n, vec![step("furnace", 60, 0)]))
            .collect();
        problem.jobs[1].release = 20;
        let mut plan = decode(&problem, &[(0, 0), (1, 0)]);
        assert_eq!(starts(&plan), [[0], [60]]);
        for planned in &mut plan.jobs {
            planned.operations[0].start = 20;
        }
        assert_eq!(extend(&problem, &plan, &[]).jobs, plan.jobs);
    }

    /// Nothing further: the same plan.
    #[test]
    fn a_plan_is_kept() {
        let problem = Problem::from_json(TWO).expect("a problem");
        let plan = crew_plan(&problem, CrewOrder::OldestFirst);
        assert_eq!(extend(&problem, &plan, &[]).jobs, plan.jobs);
    }
}
