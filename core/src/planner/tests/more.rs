//! More of anything never raises the loss of the best plan.
//!
//! The search and the decoder do promise no such thing: with more of something another order may be decoded
//! worse, as lists of work behave. What holds is said of plans: one that keeps every rule with less keeps
//! every rule with more, and loses no more. So no best plan with more is above the best one with less, and no
//! bound with more is above any plan with less.

use proptest::prelude::*;

use super::{a_problem, a_problem_of_batches, a_problem_of_plates, searched};
use crate::planner::samples::{lot, one_machine};
use crate::planner::*;

/// What there is more of, and the same problem with more of it.
type More = (&'static str, fn(&mut Problem, i64));

const MORE: [More; 16] = [
    ("grams in each lot", |it, by| {
        it.lots.iter_mut().for_each(|lot| lot.grams += by);
    }),
    ("a lot", |it, by| it.lots.push(lot("further", "al", by))),
    ("time in which lots are usable", |it, by| {
        for lot in &mut it.lots {
            lot.from -= by;
            lot.until += by;
        }
    }),
    ("in each store", |it, by| {
        it.stores.iter_mut().for_each(|store| store.level += by);
    }),
    ("haste in deliveries", |it, by| {
        let arrivals = it.stores.iter_mut().flat_map(|it| &mut it.arrivals);
        arrivals.for_each(|(minute, _)| *minute = (*minute - by).max(0));
    }),
    ("in each delivery", |it, by| {
        let arrivals = it.stores.iter_mut().flat_map(|it| &mut it.arrivals);
        arrivals.for_each(|(_, amount)| *amount += by);
    }),
    ("capacity of limits", |it, by| {
        for limit in &mut it.limits {
            limit.capacity += by;
            limit.windows.iter_mut().for_each(|it| it.2 += by);
        }
    }),
    ("duty behind each window", |it, by| {
        let next: Vec<i64> = it.windows.iter().skip(1).map(|it| it.from).collect();
        let free = next.into_iter().chain([it.horizon]);
        for (window, free) in it.windows.iter_mut().zip(free) {
            window.to = (window.to + by).min(free);
        }
    }),
    ("duty before the first window", |it, by| {
        it.windows
            .iter_mut()
            .take(1)
            .for_each(|it| it.from = (it.from - by).max(0));
    }),
    ("people", |it, by| {
        it.windows.iter_mut().for_each(|it| it.crew += by);
    }),
    ("slots", |it, by| {
        it.stations.iter_mut().for_each(|it| it.slots += by);
    }),
    ("time in which stations and cells are open", |it, _| {
        it.stations.iter_mut().for_each(|it| it.closed.clear());
        it.cells.iter_mut().for_each(|it| it.closed.clear());
    }),
    ("haste in cells", |it, by| {
        for cell in &mut it.cells {
            cell.free_from = (cell.free_from - by).max(0);
            cell.warm_up = (cell.warm_up - by).max(0);
            cell.same_powder = (cell.same_powder - by).max(0);
        }
    }),
    // What may wait only so long since it is ready is not sooner ready for nothing.
    ("haste in jobs", |it, by| {
        for job in &mut it.jobs {
            let mut operations = job.options.iter().filter_map(|it| it.operations.first());
            if operations.all(|it| it.within.is_none()) {
                job.release = (job.release - by).max(0);
            }
        }
    }),
    ("time for what must not wait", |it, by| {
        let options = it.jobs.iter_mut().flat_map(|it| &mut it.options);
        for operation in options.flat_map(|it| &mut it.operations) {
            operation.within = operation.within.map(|within| within + by);
        }
    }),
    ("ways to get a part", |it, by| {
        for job in &mut it.jobs {
            job.options.push(JobOption {
                id: "elsewhere".into(),
                earliest: by,
                debt: by,
                operations: Vec::new(),
            });
        }
    }),
];

/// The best plan that there is to find: of all orders and options up to three jobs, else of a search. It stands
/// for the best plan of all, which it is not below.
fn best(problem: &Problem) -> Plan {
    let found = searched(problem, 1, 300);
    let orders = if problem.jobs.len() <= 3 {
        orders(problem)
    } else {
        Vec::new()
    };
    let decoded = orders.into_iter().map(|order| decode(problem, &order));
    let least = decoded.min_by_key(|plan| plan.loss);
    least
        .into_iter()
        .chain([found])
        .min_by_key(|plan| plan.loss)
        .unwrap_or_default()
}

/// Every order of every choice of options, jobs left out as well.
fn orders(problem: &Problem) -> Vec<Vec<(usize, usize)>> {
    let mut all: Vec<Vec<(usize, usize)>> = vec![Vec::new()];
    let mut grown = all.clone();
    while !grown.is_empty() {
        let mut longer = Vec::new();
        for order in &grown {
            for (number, job) in problem.jobs.iter().enumerate() {
                if order.iter().any(|(placed, _)| *placed == number) {
                    continue;
                }
                longer.extend((0..job.options.len()).map(|option| {
                    let mut order = order.clone();
                    order.push((number, option));
                    order
                }));
            }
        }
        all.extend(longer.iter().cloned());
        grown = longer;
    }
    all
}

fn more_is_no_worse(problem: &Problem, by: i64) -> Result<(), TestCaseError> {
    let less = best(problem);
    for (what, add) in MORE {
        let mut more = problem.clone();
        add(&mut more, by);
        prop_assert_eq!(more.faults(), [], "more {}", what);
        let mut plan = less.clone();
        plan.loss = loss(&more, &plan);
        prop_assert_eq!(check(&more, &plan), [], "more {}", what);
        prop_assert!(
            plan.loss <= less.loss,
            "more {}: {} and {}",
            what,
            plan.loss,
            less.loss
        );
        let least = bound(&more);
        prop_assert!(
            least <= less.loss,
            "more {}: {} and {}",
            what,
            least,
            less.loss
        );
    }
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(40))]

    #[test]
    fn more_of_anything_is_no_worse_at_any_site(problem in a_problem(), by in 1_i64..90) {
        more_is_no_worse(&problem, by)?;
    }

    #[test]
    fn more_of_anything_is_no_worse_with_plates(problem in a_problem_of_plates(), by in 1_i64..90) {
        more_is_no_worse(&problem, by)?;
    }

    #[test]
    fn more_of_anything_is_no_worse_with_batches(problem in a_problem_of_batches(), by in 1_i64..90) {
        more_is_no_worse(&problem, by)?;
    }
}

/// Where the search is sure to find the best plan, it never finds a worse one with more: 123 is the best of
/// five jobs by Smith's rule (`core/tests/theory`).
#[test]
fn the_best_plan_found_is_no_worse_with_more() {
    let problem = one_machine(&[3, 1, 4, 2, 5], &[6, 1, 5, 4, 2], &[0; 5]);
    for (what, add) in MORE {
        let mut more = problem.clone();
        add(&mut more, 5);
        assert!(searched(&more, 1, 2000).loss <= 123, "more {what}");
    }
}
