//! Sound plans of any site with one thing altered: the verifier and the slow checker agree on each.

use std::collections::BTreeMap;

use proptest::prelude::*;
use proptest::strategy::ValueTree;
use proptest::test_runner::TestRunner;

use super::slow::is_sound;
use crate::planner::check;
use crate::planner::plan::{LotDraw, Plan, Spot};
use crate::planner::samples::lot;
use crate::planner::tests::{a_problem, a_problem_of_batches, a_problem_of_plates};
use crate::planner::{Lot, Problem, Window, decode, loss};

/// What is altered: the kind, of which operation of all, and by how much.
type Change = (usize, usize, i64);

fn a_change() -> impl Strategy<Value = Change> {
    let far = -60_i64..60;
    (
        0_usize..13,
        0_usize..40,
        prop_oneof![4 => -3_i64..4, 2 => far, 1 => -1500_i64..1500],
    )
}

fn pick<T>(list: &[T], by: i64) -> Option<&T> {
    let at = usize::try_from(by.unsigned_abs()).ok()?;
    list.get(at % list.len().max(1))
}

/// The altered plan, with its loss restated unless that is what is altered.
fn altered(problem: &Problem, plan: &Plan, (kind, at, by): Change) -> Plan {
    let mut plan = plan.clone();
    let spots = plan.jobs.iter_mut().flat_map(|job| &mut job.operations);
    let mut spots: Vec<&mut Spot> = spots.collect();
    let count = spots.len().max(1);
    if let Some(spot) = spots.get_mut(at % count) {
        alter_spot(problem, spot, kind, by);
    }
    let jobs = plan.jobs.len().max(1);
    if let Some(job) = plan.jobs.get_mut(at % jobs) {
        match kind {
            8 => drop(job.operations.pop()),
            9 => job.option = format!("way-{}", by.rem_euclid(3)),
            10 => plan.left_out.push(job.id.clone()),
            11 => drop(plan.jobs.remove(at % jobs)),
            _ => {}
        }
    }
    plan.loss = loss(problem, &plan);
    if kind == 12 {
        plan.loss += by;
    }
    plan
}

fn alter_spot(problem: &Problem, spot: &mut Spot, kind: usize, by: i64) {
    match kind {
        0 => spot.start += by,
        1 => spot.setup_from = spot.setup_from.map(|from| from + by),
        2 => {
            spot.start += by;
            spot.setup_from = spot.setup_from.map(|from| from + by);
        }
        3 => spot.setup_from = spot.setup_from.xor(Some(spot.start)),
        4 => {
            if let Some(draw) = spot.lots.first_mut() {
                draw.grams += by;
            }
        }
        5 => {
            if let (Some(draw), Some(lot)) = (spot.lots.first_mut(), pick(&problem.lots, by)) {
                draw.lot.clone_from(&lot.id);
            }
        }
        6 => {
            if let Some(lot) = pick(&problem.lots, by) {
                let grams = by.rem_euclid(2);
                spot.lots
                    .iter_mut()
                    .take(1)
                    .for_each(|draw| draw.grams -= grams);
                let lot = lot.id.clone();
                spot.lots.push(LotDraw { lot, grams });
            }
        }
        7 => {
            let store = pick(&problem.stores, by).filter(|_| by % 5 != 0);
            if let Some(from) = spot.from.last_mut() {
                *from = store.map(|store| store.id.clone());
            }
        }
        _ => {}
    }
}

fn both_agree(
    problem: &Problem,
    order: &[(usize, usize)],
    changes: &[Change],
) -> Result<(), TestCaseError> {
    let plan = decode(problem, order);
    prop_assert!(is_sound(problem, &plan), "the decoder's plan by the minute");
    for change in changes {
        let altered = altered(problem, &plan, *change);
        let found = check(problem, &altered);
        let sound = is_sound(problem, &altered);
        prop_assert_eq!(
            found.is_empty(),
            sound,
            "{:?} {:?} {:?}",
            change,
            found,
            altered
        );
    }
    Ok(())
}

/// Any site, but one where people come, cells and stations work, and something is there of most things.
fn a_working_site() -> impl Strategy<Value = Problem> {
    a_problem().prop_map(|mut it| {
        let shift = |from, to| Window { from, to, crew: 2 };
        it.windows = vec![shift(0, 250), shift(330, 700)];
        it.stations
            .iter_mut()
            .for_each(|it| it.slots = it.slots.max(1));
        for powder in ["al", "cu"] {
            let there = lot(&format!("{powder} there"), powder, 60);
            let coming = lot(&format!("{powder} coming"), powder, 60);
            it.lots.push(Lot {
                until: 400,
                ..there
            });
            it.lots.push(Lot {
                from: 300,
                ..coming
            });
        }
        it.stores.iter_mut().for_each(|it| it.level += 80);
        it.limits.iter_mut().for_each(|it| it.capacity += 4);
        it
    })
}

fn an_order() -> impl Strategy<Value = Vec<(usize, usize)>> {
    prop::collection::vec((0_usize..8, 0_usize..2), 8..16)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(1000))]

    #[test]
    fn an_altered_plan_of_any_site_is_sound_or_is_found_out(
        problem in prop_oneof![a_problem(), a_working_site()],
        order in an_order(),
        changes in prop::collection::vec(a_change(), 8),
    ) {
        both_agree(&problem, &order, &changes)?;
    }

    #[test]
    fn an_altered_plan_of_plates_is_sound_or_is_found_out(
        problem in a_problem_of_plates(),
        order in an_order(),
        changes in prop::collection::vec(a_change(), 8),
    ) {
        both_agree(&problem, &order, &changes)?;
    }

    #[test]
    fn an_altered_plan_of_batches_is_sound_or_is_found_out(
        problem in a_problem_of_batches(),
        order in an_order(),
        changes in prop::collection::vec(a_change(), 8),
    ) {
        both_agree(&problem, &order, &changes)?;
    }
}

/// What is found in the alterations of a thousand plans that change anything, with how often; 'nothing' where
/// the plan stays sound. Always the same.
fn count_found(problems: &impl Strategy<Value = Problem>, found: &mut BTreeMap<String, usize>) {
    let mut runner = TestRunner::deterministic();
    let all = (problems, an_order(), prop::collection::vec(a_change(), 8));
    for _ in 0..1000 {
        let tree = all.new_tree(&mut runner).expect("nothing is rejected");
        let (problem, order, changes) = tree.current();
        let plan = decode(&problem, &order);
        let altered = changes.iter().map(|it| altered(&problem, &plan, *it));
        for altered in altered.filter(|altered| *altered != plan) {
            let broken = check(&problem, &altered);
            let kinds = broken.iter().map(|it| format!("{it:?}"));
            for kind in kinds.chain(broken.is_empty().then(|| "nothing".to_owned())) {
                let name = kind.split(' ').next().unwrap_or_default();
                *found.entry(name.to_owned()).or_default() += 1;
            }
        }
    }
}

/// Without this the verifier and the slow checker could agree on plans in which nothing is done.
#[test]
fn the_alterations_break_every_rule_and_some_of_them_none() {
    let mut found = BTreeMap::new();
    count_found(&a_working_site(), &mut found);
    count_found(&a_problem_of_plates(), &mut found);
    count_found(&a_problem_of_batches(), &mut found);
    let of_rules = [
        "nothing Forgotten OperationCount TooEarly TooLate OutsideHorizon OffDuty Crew",
        "CellBusy CellClosed SetupTooShort SplitBySleep Station Batches Limit Loss",
        "LotSum LotTime LotPowder LotOverdrawn Floor FromMissing FromNotAllowed",
    ];
    for kind in of_rules.iter().flat_map(|line| line.split(' ')) {
        assert!(found.contains_key(kind), "{kind} is not in {found:?}");
    }
}
