use proptest::prelude::*;

use super::bound;
use crate::planner::samples::{capability, drawing, job, one_machine, quiet_site, stage, store};
use crate::planner::tests::{a_problem, a_problem_of_batches, a_problem_of_plates};
use crate::planner::*;

/// Prices by the minute follow Smith's rule exactly: 123, as reckoned in `core/tests/theory`.
#[test]
fn one_cell_is_bounded_by_smiths_rule() {
    let problem = one_machine(&[3, 1, 4, 2, 5], &[6, 1, 5, 4, 2], &[0; 5]);
    assert_eq!(bound(&problem), 123);
}

/// Weighted tardiness of Pinedo's example, 67 (see `core/tests/theory`), leaves no gap either.
#[test]
fn tardiness_is_bounded_by_the_textbook_optimum() {
    let problem = one_machine(&[12, 8, 15, 9], &[4, 5, 3, 5], &[16, 26, 25, 27]);
    assert_eq!(bound(&problem), 67);
}

/// Two machines at 5 and 3 an hour, for each 6 of the 10 of gas: one of them is never back. Prices alone
/// would let go two thirds of the second; apart, by whether it is back, 10 x 5 + 100 x 3 = 350 is found.
#[test]
fn a_machine_is_back_or_it_is_not() {
    let mut problem = quiet_site(100);
    problem.stores = vec![store("gas", 10, &[])];
    let part = || vec![drawing(stage("al", 1, 10), "gas", 6, 0)];
    problem.jobs = vec![job(1, part()), job(2, part())];
    problem.capabilities = vec![capability(&["a1"], &[0, 5]), capability(&["a2"], &[0, 3])];
    assert_eq!(bound(&problem), 350);
}

/// Of three pumps the last one down is dear (0, 1, 2, 100 an hour). One cell and 10 minutes for each: the rate
/// falls at 10, 20 and 30, so 1000 + 20 + 10 = 1030, whichever goes first.
#[test]
fn it_counts_how_many_of_a_table_are_down() {
    let mut problem = quiet_site(60);
    problem.jobs = (1..=3).map(|n| job(n, vec![stage("al", 1, 10)])).collect();
    problem.capabilities = vec![capability(&["a1", "a2", "a3"], &[0, 1, 2, 100])];
    assert_eq!(bound(&problem), 1030);
}

/// A part from elsewhere at 40 for a debt of 100, or one sprayed by 10 if there were powder: 40 x 5 + 100.
#[test]
fn what_is_ordered_is_back_when_it_comes() {
    let mut problem = quiet_site(100);
    problem.jobs = vec![job(1, vec![stage("cu", 1, 10)])];
    problem.jobs[0].options.push(JobOption {
        id: "order".into(),
        earliest: 40,
        debt: 100,
        operations: Vec::new(),
    });
    problem.capabilities = vec![capability(&["a1"], &[0, 5])];
    assert_eq!(bound(&problem), 300);
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
