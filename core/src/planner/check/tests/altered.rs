//! Sound plans of any site with one thing altered: the verifier and the slow checker agree on each.

use proptest::prelude::*;

use super::slow::is_sound;
use crate::planner::check;
use crate::planner::plan::{LotDraw, Plan, Spot};
use crate::planner::tests::{a_problem, a_problem_of_batches, a_problem_of_plates};
use crate::planner::{Problem, decode, loss};

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
            if let (Some(from), Some(store)) = (spot.from.last_mut(), pick(&problem.stores, by)) {
                *from = Some(store.id.clone());
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
        let plan = altered(problem, &plan, *change);
        let found = check(problem, &plan);
        let sound = is_sound(problem, &plan);
        prop_assert_eq!(
            found.is_empty(),
            sound,
            "{:?} {:?} {:?}",
            change,
            found,
            plan
        );
    }
    Ok(())
}

prop_compose! {
    fn an_order()(order in prop::collection::vec((0_usize..8, 0_usize..3), 0..10)) -> Vec<(usize, usize)> {
        order
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(1000))]

    #[test]
    fn an_altered_plan_of_any_site_is_sound_or_is_found_out(
        problem in a_problem(),
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
