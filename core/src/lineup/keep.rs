//! The order that the crew works to, placed anew on today's facts, and whether it stays.

use super::draft::{AGAIN, Draft, STAND_IN};
use super::expected::{Expected, choose};
use super::hold::plain;
use super::unlock::complete;
use crate::planner::{
    Job, JobOption, LotDraw, Plan, PlannedJob, Problem, Spot, Work, check, extend, within_margin,
};
use crate::situation::Situation;
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

/// An order that the crew works to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Accepted {
    /// Its number.
    pub number: i64,
    /// The moment that minute 0 of its plan stands for.
    pub now: DateTime<Utc>,
    /// When what is done.
    pub plan: Plan,
}

/// Said of an order that is the accepted one, placed anew.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Kept {
    /// Number of the accepted order.
    pub order: i64,
    /// What the best order found loses, as rate x minutes; no more than the kept one.
    pub least_loss: i64,
}

impl Kept {
    /// By how many thousandths a better order would lose less than this one, rounded up.
    #[must_use]
    pub fn gain_permille(&self, ours: i64) -> i64 {
        let less = i128::from((ours - self.least_loss).max(0));
        let whole = i128::from(ours.max(1));
        i64::try_from((less * 1000 + whole - 1) / whole).unwrap_or(i64::MAX)
    }
}

/// The accepted order on the problem of a situation's draft; none if nothing of it is left to do, or what is
/// left can no longer be kept to.
///
/// What is done is behind it. The rest keeps its order and its ways, and its lots where they still can be. What
/// is new goes behind it where that adds no loss.
#[must_use]
pub fn anew(situation: &Situation, problem: &Problem, accepted: &Accepted) -> Option<Plan> {
    let passed = (situation.now - accepted.now).num_minutes();
    let jobs = accepted.plan.jobs.iter();
    let left = Plan {
        jobs: jobs
            .filter_map(|it| still_to_do(problem, it, passed))
            .collect(),
        ..Plan::default()
    };
    if left.jobs.is_empty() {
        return None;
    }
    let placed = extend(problem, &left, &[]);
    let plan = complete(problem, &with_lots(problem, placed, &left));
    check(problem, &plan).is_empty().then_some(plan)
}

/// What of a planned job is still to be done, in minutes from now; none if its way is no longer open.
///
/// Steps that are to be done again, and were not planned to be, take the turn of what they come before.
fn still_to_do(problem: &Problem, planned: &PlannedJob, passed: i64) -> Option<PlannedJob> {
    let job = problem.jobs.iter().find(|job| job.id == planned.id)?;
    let option = still_open(problem, job, planned)?;
    let (before, now) = (planned.operations.len(), option.operations.len());
    let first = planned.operations.first()?;
    let again = std::iter::repeat_n(first, now.saturating_sub(before));
    let left = planned.operations.iter().skip(before.saturating_sub(now));
    let from_now = again.chain(left).map(|spot| Spot {
        setup_from: spot.setup_from.map(|minute| minute - passed),
        start: spot.start - passed,
        ..spot.clone()
    });
    Some(PlannedJob {
        option: option.id.clone(),
        operations: from_now.collect(),
        ..planned.clone()
    })
}

/// The way of a planned job as it is called now that work on it has begun, or powder was kept back or given up.
fn still_open<'a>(problem: &Problem, job: &'a Job, planned: &PlannedJob) -> Option<&'a JobOption> {
    let open = plain(&still_open_at_all(job, planned)?.id);
    let of_any_lots = || job.options.iter().filter(|it| plain(&it.id) == open);
    let fitting = of_any_lots().find(|it| takes_its_lots(problem, it, planned));
    let same = || of_any_lots().find(|it| it.id == planned.option);
    fitting.or_else(same).or_else(|| of_any_lots().next())
}

/// Some option of the way of a planned job, of whichever lots.
fn still_open_at_all<'a>(job: &'a Job, planned: &PlannedJob) -> Option<&'a JobOption> {
    let options = || job.options.iter();
    let again = |option: &str| plain(option).ends_with(AGAIN);
    let mut same = options().filter(|it| plain(&it.id) == plain(&planned.option));
    if let Some(same) = same.find(|it| !again(&it.id)) {
        return Some(same);
    }
    let same_way = || options().filter(|it| way_of(&it.id) == way_of(&planned.option));
    let shorter = |it: &&JobOption| it.operations.len() < planned.operations.len();
    let first = same_way().filter(|it| !again(&it.id));
    let mut first = first.filter(|it| shorter(it) || !again(&planned.option));
    first.next().or_else(|| same_way().find(|it| again(&it.id)))
}

/// Whether each stage of an option sprays the lots that were planned for it.
///
/// Ids do not tell: one without a last day means any lots until something of the powder is kept back, and the
/// lots that last to the end from then on.
fn takes_its_lots(problem: &Problem, option: &JobOption, planned: &PlannedJob) -> bool {
    let operations = option.operations.iter().rev();
    let mut both = operations.zip(planned.operations.iter().rev());
    both.all(|(operation, spot)| match &operation.work {
        Work::Stage { powder, .. } => spot.lots.iter().all(|draw| {
            let mut lots = problem.lots.iter().filter(|lot| lot.id == draw.lot);
            lots.any(|lot| lot.powder == *powder)
        }),
        Work::Step { .. } => true,
    })
}

/// Recipe and revision of an option.
fn way_of(option: &str) -> &str {
    let option = plain(option);
    let option = option.strip_suffix(AGAIN).unwrap_or(option);
    option.strip_suffix(STAND_IN).unwrap_or(option)
}

/// With the lots of before: all of them, or those of each job by itself, where that keeps every rule.
fn with_lots(problem: &Problem, plan: Plan, before: &Plan) -> Plan {
    let sound = |plan: &Plan| check(problem, plan).is_empty();
    let all = before.jobs.iter().fold(plan.clone(), from_lots_of);
    if sound(&all) {
        return all;
    }
    before.jobs.iter().fold(plan, |plan, job| {
        let alone = from_lots_of(plan.clone(), job);
        let mut tries = [alone, exchanged(&plan, before, job)].into_iter();
        tries.find(sound).unwrap_or(plan)
    })
}

/// With the lots that a job had before; those that it was given instead go to whoever was given its own and
/// had others before.
fn exchanged(plan: &Plan, before: &Plan, job: &PlannedJob) -> Plan {
    let given = plan.jobs.iter().filter(|it| it.id == job.id);
    let given = given.flat_map(draws).map(|draw| draw.lot.clone());
    let pairs: Vec<(&String, String)> = draws(job).map(|draw| &draw.lot).zip(given).collect();
    let had = |id: &str, lot: &String| {
        let mut jobs = before.jobs.iter().filter(|it| it.id == id);
        jobs.any(|it| draws(it).any(|draw| draw.lot == *lot))
    };
    let mut tried = plan.clone();
    for other in tried.jobs.iter_mut().filter(|it| it.id != job.id) {
        let PlannedJob { id, operations, .. } = other;
        for draw in operations.iter_mut().flat_map(|spot| &mut spot.lots) {
            let pair = pairs.iter().find(|(wanted, _)| **wanted == draw.lot);
            if let Some((_, instead)) = pair.filter(|(wanted, _)| !had(id, wanted)) {
                draw.lot.clone_from(instead);
            }
        }
    }
    from_lots_of(tried, job)
}

fn draws(job: &PlannedJob) -> impl Iterator<Item = &LotDraw> {
    job.operations.iter().flat_map(|spot| &spot.lots)
}

fn from_lots_of(mut plan: Plan, before: &PlannedJob) -> Plan {
    let same = |it: &&mut PlannedJob| it.id == before.id && it.option == before.option;
    for job in plan.jobs.iter_mut().filter(same) {
        for (spot, before) in job.operations.iter_mut().zip(&before.operations) {
            spot.lots.clone_from(&before.lots);
        }
    }
    plan
}

/// The accepted order, placed anew, with what is to be expected of it, if it stays: it loses no more than the
/// site's margin above the best of the plans found, and no more than a crew's own order.
#[must_use]
pub fn stay(
    situation: &Situation,
    draft: &Draft,
    kept: &Plan,
    found: &[Plan],
) -> Option<(Plan, Expected)> {
    let least_loss = found.iter().chain([kept]).map(|plan| plan.loss).min()?;
    let margin_permille = situation.site.chances.margin_permille;
    if !within_margin(kept.loss, least_loss, margin_permille) {
        return None;
    }
    let (plan, expected) = choose(situation, draft, vec![kept.clone()])?;
    let expected = Expected {
        least_loss,
        ..expected
    };
    Some((plan, expected))
}
