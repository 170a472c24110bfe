//! What is not certain about a situation's planning problem: durations, deposition efficiency, deliveries, and
//! whether builds pass their checks.

use super::draft::{Candidate, Draft, TRUE_PART, by};
use super::efficiency::stage_efficiency;
use super::hold::{kept_stores, plain};
use super::need::{GasSource, StageNeed, steady_fuel_ml_per_h};
use super::supply::{FUEL, SERVICE, coming, delivery_lot, gas_stores, landing};
use crate::catalogue::{Operation, OperationKind, Recipe, Spray};
use crate::code::{DeliveryCode, RecipeCode};
use crate::planner::{
    self, ArrivalDoubt, Check, Coming, Doubts, Load, OperationDoubt, OptionDoubt, Problem, Share,
    SprayDoubt,
};
use crate::situation::{Brings, Delivery, Outcomes, Request, Situation, Way};
use std::collections::{BTreeMap, BTreeSet};

/// A delivery comes as told in one of two cases; common practice, no source.
const ON_TIME: f64 = 0.5;

/// What is not certain about the problem of a situation's draft.
#[must_use]
pub fn doubts(situation: &Situation, draft: &Draft) -> Doubts {
    let mut doubts = Doubts {
        comings: comings(situation, &draft.problem),
        ..Doubts::default()
    };
    let mut recipes: BTreeMap<RecipeCode, usize> = BTreeMap::new();
    for request in &situation.requests {
        for candidate in draft.candidates.get(&request.code).into_iter().flatten() {
            let Some(option) = &candidate.option else {
                continue;
            };
            let key = (request.code.to_string(), option.id.clone());
            let recipe = candidate.recipe.as_ref();
            let recipe = recipe.and_then(|(code, revision)| situation.recipe(code, *revision));
            let Some(recipe) = recipe else {
                let fit = OperationDoubt {
                    spread: spread(situation),
                    spray: None,
                };
                let operations = vec![fit; option.operations.len()];
                let doubt = OptionDoubt {
                    operations,
                    check: None,
                };
                doubts.options.insert(key, doubt);
                continue;
            };
            let next = doubts.chances.len();
            let chance = *recipes.entry(recipe.code.clone()).or_insert(next);
            if chance == next {
                doubts.chances.push(passes(situation, recipe).share());
            }
            let problem = &draft.problem;
            let facts = (situation, problem);
            let operations = operations(facts, recipe, candidate.done, &candidate.needs);
            let check = check(facts, request, recipe, candidate, chance).map(|check| Check {
                again: without_missing(problem, check.again),
                ..check
            });
            let doubt = OptionDoubt { operations, check };
            for way in ways(problem, &key) {
                doubts.options.insert(way, doubt.clone());
            }
        }
    }
    doubts
}

/// A job's options that stand for one way: more than one where powder is kept back.
fn ways(problem: &Problem, (job, way): &(String, String)) -> Vec<(String, String)> {
    let jobs = problem.jobs.iter().filter(|it| it.id == *job);
    let options = jobs.flat_map(|it| &it.options);
    let of_way = options.filter(|option| plain(&option.id) == way);
    of_way
        .map(|option| (job.clone(), option.id.clone()))
        .collect()
}

/// The chance that a build by a recipe passes its checks, and what it rests on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Passes {
    /// What the site says of such parts, of 1, and as how many builds that counts.
    pub told: (f64, f64),
    /// Builds on record.
    pub seen: Outcomes,
}

impl Passes {
    fn share(&self) -> Share {
        let (told, builds) = self.told;
        let ones = told * builds + self.seen.passed as f64;
        Share::after(ones, (1.0 - told) * builds + self.seen.failed as f64)
    }

    /// The mean of what is known, of 1.
    #[must_use]
    pub fn mean(&self) -> f64 {
        self.share().mean()
    }
}

/// The chance that a build by a recipe passes: what the site says of parts that ask for as much, as a beta
/// distribution that counts as so many builds, updated by those on record.
///
/// What a part asks for is all that is known of how far its way is proven: the crew's own, somebody else's
/// yes, or a trial piece. Common practice, no source.
#[must_use]
pub fn passes(situation: &Situation, recipe: &Recipe) -> Passes {
    let chances = &situation.site.chances;
    let flags = situation.part(&recipe.part).map(|part| &part.flags);
    let asks = situation.rules.authority(flags.unwrap_or(&recipe.flags));
    let permille = if asks.trial {
        chances.trial_permille
    } else if asks.to_build.is_empty() && asks.to_release.is_empty() {
        chances.own_permille
    } else {
        chances.asked_permille
    };
    let seen = situation.outcomes.get(&recipe.code).copied();
    Passes {
        told: (permille as f64 / 1000.0, chances.builds as f64),
        seen: seen.unwrap_or_default(),
    }
}

/// The standard deviation of the logarithm of a duration.
fn spread(situation: &Situation) -> f64 {
    (situation.site.chances.duration_permille as f64 / 1000.0).ln_1p()
}

/// What is not certain about the operations of a recipe after its first `done`.
fn operations(
    (situation, problem): (&Situation, &Problem),
    recipe: &Recipe,
    done: usize,
    needs: &[StageNeed],
) -> Vec<OperationDoubt> {
    let mut needs = needs.iter();
    let left = recipe.operations.iter().skip(done);
    left.map(|written| OperationDoubt {
        // A furnace goes by its clock.
        spread: match written.kind {
            OperationKind::HeatTreat => 0.0,
            _ => spread(situation),
        },
        spray: written
            .spray
            .as_ref()
            .and_then(|spray| sprayed((situation, problem), spray, needs.next()?)),
    })
    .collect()
}

fn sprayed(
    (situation, problem): (&Situation, &Problem),
    spray: &Spray,
    need: &StageNeed,
) -> Option<SprayDoubt> {
    let efficiency = stage_efficiency(situation, spray)
        .ok()?
        .predicted
        .efficiency;
    let cell = &situation.cell;
    let heel_g = cell.heel_to_fill_g(&spray.powder);
    Some(SprayDoubt {
        deposited_g: spray.deposited_g,
        sticks: Share::about(efficiency.mean(), efficiency.sd()),
        beside_g: spray.start_stop_loss_g + spray.coupon_g,
        heel_g,
        handling_min: spray.handling_min,
        by_grams: by_grams((situation, problem), spray, need, heel_g),
    })
}

/// Of what a stage draws, as much as goes by the minutes in which powder flows: all but that of handling.
fn by_grams(
    (situation, problem): (&Situation, &Problem),
    spray: &Spray,
    need: &StageNeed,
    heel_g: i64,
) -> BTreeMap<String, i64> {
    let share = |of: i64, part: i64, whole: i64| of.saturating_mul(part) / whole.max(1);
    let flowing = need.gas_min - spray.gas_only_min;
    let in_cell = (need.minutes - spray.handling_min).max(0);
    let steady_w = need.power_w - need.heater_w;
    let work = |minutes: i64, gas_min: i64| steady_w * minutes + need.heater_w * gas_min;
    let fuel = share(
        need.fuel_ml,
        work(in_cell, flowing),
        work(need.minutes, need.gas_min),
    );
    let mut amounts = BTreeMap::from([(FUEL.to_owned(), fuel)]);
    let kept = kept_stores(problem, &spray.powder);
    amounts.extend(kept.map(|store| (store, need.powder_g - heel_g)));
    match &need.source {
        GasSource::Compressor => {
            amounts.insert(SERVICE.to_owned(), in_cell);
        }
        GasSource::Bank(_) => {
            let gas = share(need.gas_g, flowing, need.gas_min);
            let stores = gas_stores(situation, spray.gas).into_iter();
            amounts.extend(stores.map(|store| (store, gas)));
        }
    }
    amounts
}

/// Without what a problem has no limit for: a yes that is asked no more, since all is sprayed.
fn without_missing(
    problem: &Problem,
    mut operations: Vec<planner::Operation>,
) -> Vec<planner::Operation> {
    let known = |load: &Load| problem.limits.iter().any(|limit| limit.id == load.limit);
    for operation in &mut operations {
        operation.loads.retain(known);
    }
    operations
}

/// The check of a build by a recipe; none if it is behind it.
fn check(
    (situation, problem): (&Situation, &Problem),
    request: &Request,
    recipe: &Recipe,
    candidate: &Candidate,
    chance: usize,
) -> Option<Check> {
    let again_at = checked_at(&recipe.operations)?;
    let at = again_at.checked_sub(candidate.done)?;
    let anew = match candidate.done {
        0 => candidate.clone(),
        _ => by(situation, request, recipe, 0),
    };
    let operations_anew = operations((situation, problem), recipe, 0, &anew.needs);
    Some(Check {
        at,
        chance,
        // What cannot be built anew here is lost with its build.
        again: anew.option.map(|it| it.operations).unwrap_or_default(),
        again_doubts: operations_anew,
        again_at,
    })
}

/// Where it is known whether a build passes: the last measuring or look for cracks before the release, else
/// the last stage.
fn checked_at(operations: &[Operation]) -> Option<usize> {
    let released = operations
        .iter()
        .position(|it| it.kind == OperationKind::Release);
    let before = &operations[..released.unwrap_or(operations.len())];
    let checks =
        |it: &Operation| matches!(it.kind, OperationKind::Measure | OperationKind::CrackCheck);
    let checked = before.iter().rposition(checks);
    checked.or_else(|| before.iter().rposition(|it| it.spray.is_some()))
}

/// Every delivery, then the true parts and machines that come by none that is known.
fn comings(situation: &Situation, problem: &Problem) -> Vec<Coming> {
    let late = situation.site.chances.late_min;
    let mut comings: Vec<Coming> = situation
        .deliveries
        .iter()
        .map(|delivery| of_delivery((situation, problem), delivery, late))
        .collect();
    let known = |code: &Option<DeliveryCode>| {
        let mut deliveries = situation.deliveries.iter();
        deliveries.position(|delivery| Some(&delivery.code) == code.as_ref())
    };
    for request in &situation.requests {
        for way in &request.ways {
            if let Way::TruePart { delivery, .. } = way {
                let option = (request.code.to_string(), TRUE_PART.to_owned());
                match known(delivery) {
                    Some(n) => comings[n].options.push(option),
                    None => comings.push(Coming {
                        latest: late,
                        on_time: ON_TIME,
                        options: vec![option],
                        ..Coming::default()
                    }),
                }
            }
        }
    }
    let replaced = situation.assets.iter().filter(|it| it.back.is_some());
    comings.extend(replaced.map(|asset| Coming {
        latest: late,
        on_time: ON_TIME,
        assets: vec![asset.code.to_string()],
        ..Coming::default()
    }));
    comings
}

fn of_delivery(
    (situation, problem): (&Situation, &Problem),
    delivery: &Delivery,
    late: i64,
) -> Coming {
    let from = landing(situation, delivery);
    let told = delivery
        .latest
        .map(|latest| (latest - delivery.expected).num_minutes().max(0));
    let lines = delivery.brings.iter().enumerate();
    let powder = lines.filter(|(_, it)| matches!(it, Brings::Powder { .. }));
    let brought = delivery.brings.iter().filter_map(|it| match it {
        Brings::Powder { powder, .. } => Some(powder),
        _ => None,
    });
    let kept = brought.flat_map(|powder| kept_stores(problem, powder));
    let kept: BTreeSet<String> = kept.collect();
    let fuel = delivery.brings.iter();
    let fuel = fuel.filter(|it| matches!(it, Brings::Fuel { .. })).take(1);
    let mut arrivals: Vec<ArrivalDoubt> = fuel
        .map(|_| ArrivalDoubt {
            store: FUEL.to_owned(),
            at: from,
            steady_per_day: steady_fuel_ml_per_h(situation).saturating_mul(24),
        })
        .collect();
    let gas = coming(situation).into_iter();
    let gas = gas.filter(|it| it.delivery == delivery.code);
    let gas = gas.map(|it| (it.store, it.from));
    let kept = kept.into_iter().map(|store| (store, from));
    arrivals.extend(gas.chain(kept).map(|(store, at)| ArrivalDoubt {
        store,
        at,
        steady_per_day: 0,
    }));
    Coming {
        latest: told.unwrap_or(late),
        on_time: ON_TIME,
        lots: powder
            .map(|(line, _)| delivery_lot(delivery, line))
            .collect(),
        arrivals,
        ..Coming::default()
    }
}
