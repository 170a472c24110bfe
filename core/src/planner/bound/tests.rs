use proptest::prelude::*;

use super::bound;
use crate::planner::samples::one_machine;
use crate::planner::tests::{a_problem, a_problem_of_batches, a_problem_of_plates};
use crate::planner::*;

/// Prices by the minute follow Smith's rule exactly: 123, as in the planner's own test of it.
#[test]
fn one_cell_is_bounded_by_smiths_rule() {
    let problem = one_machine(&[3, 1, 4, 2, 5], &[6, 1, 5, 4, 2], &[0; 5]);
    assert_eq!(bound(&problem), 123);
}

/// Weighted tardiness of Pinedo's example, 67 (see the planner's own test of it), leaves no gap either.
#[test]
fn tardiness_is_bounded_by_the_textbook_optimum() {
    let problem = one_machine(&[12, 8, 15, 9], &[4, 5, 3, 5], &[16, 26, 25, 27]);
    assert_eq!(bound(&problem), 67);
}

fn no_plan_is_below(
    problem: &Problem,
    order: &[(usize, usize)],
    seed: u64,
) -> Result<(), TestCaseError> {
    let least = bound(problem);
    let mut search = Search::new(problem, seed);
    search.run(200, 0.0..1.0, &mut || false);
    let plans = [
        decode(problem, order),
        crew_plan(problem, CrewOrder::OldestFirst),
        crew_plan(problem, CrewOrder::LargestRateFirst),
        search.best().clone(),
    ];
    for plan in plans {
        prop_assert!(least <= plan.loss, "{least} is above {}", plan.loss);
    }
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(300))]

    #[test]
    fn no_plan_of_any_site_is_below(
        problem in a_problem(),
        order in prop::collection::vec((0_usize..8, 0_usize..3), 0..10),
        seed in 0_u64..9,
    ) {
        no_plan_is_below(&problem, &order, seed)?;
    }

    #[test]
    fn no_plan_of_plates_is_below(
        problem in a_problem_of_plates(),
        order in prop::collection::vec((0_usize..8, 0_usize..3), 0..10),
        seed in 0_u64..9,
    ) {
        no_plan_is_below(&problem, &order, seed)?;
    }

    #[test]
    fn no_plan_of_batches_is_below(
        problem in a_problem_of_batches(),
        order in prop::collection::vec((0_usize..8, 0_usize..3), 0..10),
        seed in 0_u64..9,
    ) {
        no_plan_is_below(&problem, &order, seed)?;
    }
}
