use proptest::prelude::*;

use super::{Proof, is_small, prove};
use crate::planner::samples::{
    batch_station, capability, drawing, in_cycle, job, limit, loading, lot, milled_by_turns,
    one_machine, quiet_site, stage, station, step, store,
};
use crate::planner::tests::{a_problem, a_problem_of_batches, a_problem_of_plates};
use crate::planner::*;

/// Starts from the crew's oldest first, so that there is something left to find.
fn proven(problem: &Problem) -> (Proof, Plan) {
    let known = crew_plan(problem, CrewOrder::OldestFirst);
    let proof = prove(problem, &known, &mut |orders| orders >= 20_000);
    let best = proof.better.clone().unwrap_or(known);
    assert_eq!(check(problem, &best), []);
    (proof, best)
}

fn is_proven(problem: &Problem, loss: i64) {
    let (proof, best) = proven(problem);
    assert_eq!((proof.least, best.loss), (loss, loss));
}

/// Weighted tardiness of Pinedo's example (see `core/tests/theory`): oldest first is not the best order.
#[test]
fn the_textbook_optimum_is_proven() {
    let problem = one_machine(&[12, 8, 15, 9], &[4, 5, 3, 5], &[16, 26, 25, 27]);
    is_proven(&problem, 67);
}

/// Parts of two powders by turns, 10 min each at 1 an hour, with 40 for another powder: al, al, cu, cu ends at
/// 10, 20, 70 and 80, so 180. A bound that takes only the shortest set-up there is says 10 + 20 + 30 + 40.
#[test]
fn changeovers_are_paid_for() {
    let mut problem = quiet_site(200);
    problem.lots.push(lot("cu-1", "cu", 1000));
    problem.cells[0].powder = Some("al".into());
    problem.cells[0].default_changeover = 40;
    let powders = ["al", "cu", "al", "cu"].iter();
    problem.jobs = powders
        .zip(1..)
        .map(|(powder, n)| job(n, vec![stage(powder, 1, 10)]))
        .collect();
    let assets = ["a1", "a2", "a3", "a4"];
    problem.capabilities = assets
        .iter()
        .map(|it| capability(&[*it], &[0, 1]))
        .collect();
    assert!(bound(&problem) < 180);
    is_proven(&problem, 180);
}

/// Sprayed in the order j1, j2 and milled in the other one: 305, as reckoned in `planner/tests.rs`.
#[test]
fn orders_differ_from_place_to_place() {
    is_proven(&milled_by_turns(), 305);
}

/// Lots of 6 and 6 for parts of 4 g each from one lot: a third part has 4 g, but in no one lot. Two are done
/// by 10 and 20, and the one that loses least never: 10 x 5 + 20 x 4 + 100 x 3.
#[test]
fn a_rest_in_two_lots_is_no_powder() {
    let mut problem = quiet_site(100);
    problem.lots = vec![lot("al-1", "al", 6), lot("al-2", "al", 6)];
    problem.jobs = (1..=3).map(|n| job(n, vec![stage("al", 4, 10)])).collect();
    let rates = [("a1", 3), ("a2", 4), ("a3", 5)];
    let capabilities = rates
        .iter()
        .map(|(it, rate)| capability(&[*it], &[0, *rate]));
    problem.capabilities = capabilities.collect();
    for job in &mut problem.jobs {
        let Work::Stage { one_lot, .. } = &mut job.options[0].operations[0].work else {
            unreachable!("a stage");
        };
        *one_lot = true;
    }
    is_proven(&problem, 10 * 5 + 20 * 4 + 100 * 3);
}

/// Two soaks of 60 min share a load, or so it is taken here: one at 10 and one at 20 overlap in two places,
/// as real loads never do. The plan, both at 20, ends at 80 twice; what is proven is 70 + 80.
#[test]
fn what_it_leaves_out_it_does_not_claim() {
    let mut problem = quiet_site(200);
    problem.stations = vec![batch_station("furnace", 2)];
    let soak = || in_cycle(step("furnace", 60, 0), "soak");
    problem.jobs = (1..=2)
        .map(|n| job(n, vec![stage("al", 1, 10), soak()]))
        .collect();
    problem.capabilities = vec![capability(&["a1"], &[0, 1]), capability(&["a2"], &[0, 1])];
    let (proof, best) = proven(&problem);
    assert!(proof.least == 150 && best.loss > 150, "{proof:?}");
}

/// The cell is warm from 550 on and closed from 700 to 800. Part 1, sprayed from 600 to 650 though it could be
/// by 100, lets part 2 begin at 800 without warming up again: 1700 and nothing for part 1, whose loss counts
/// from 1000 on. No order of the decoder's does that, so no proof may exclude it.
#[test]
fn a_part_may_wait_to_keep_the_cell_warm() {
    let mut problem = quiet_site(2000);
    let window = |from, to| Window { from, to, crew: 1 };
    problem.windows = vec![window(0, 100), window(500, 2000)];
    problem.cells[0].warm_up = 50;
    problem.cells[0].closed = vec![(700, 800)];
    problem.jobs = vec![
        job(1, vec![stage("al", 1, 50)]),
        job(2, vec![stage("al", 1, 900)]),
    ];
    problem.capabilities = vec![capability(&["a1"], &[0, 1]), capability(&["a2"], &[0, 1])];
    problem.capabilities[0].from = 1000;
    assert!(proven(&problem).0.least <= 1700);
}

/// 118 min of duty, of which 58 warm the cell up, and two parts of 60: one is done, the one that loses 11:
/// 118 x 11 + 250 x 10. The minutes of warming up cost nothing, since nobody else could have them.
#[test]
fn warming_up_has_no_price() {
    let mut problem = quiet_site(250);
    problem.windows[0].to = 118;
    problem.cells[0].warm_up = 58;
    problem.jobs = (1..=2).map(|n| job(n, vec![stage("al", 1, 60)])).collect();
    problem.capabilities = vec![capability(&["a1"], &[0, 10]), capability(&["a2"], &[0, 11])];
    is_proven(&problem, 118 * 11 + 250 * 10);
}

/// Two plates, one from 110 on. Part 1 holds one from 0 to 110 through a wait of 90; part 2 takes the other
/// from 20 to 220, when part 1 has let go of its own: 110 + 220.
#[test]
fn what_is_kept_is_let_go_again() {
    let mut problem = quiet_site(700);
    problem.limits = vec![limit("plates", 2)];
    problem.limits[0].windows = vec![(110, 700, 1)];
    let rest = || step("bench", 10, 0);
    problem.stations = vec![station("bench", 9)];
    let mut second = rest();
    second.after = 90;
    problem.jobs = vec![
        job(1, vec![loading(rest(), "plates", 1, Some(1)), second]),
        job(2, vec![loading(step("bench", 200, 0), "plates", 1, None)]),
    ];
    problem.jobs[1].release = 20;
    problem.capabilities = vec![capability(&["a1"], &[0, 1]), capability(&["a2"], &[0, 1])];
    assert!(proven(&problem).0.least <= 330);
}

/// Many short steps or two: 33 of a minute and one of 600, or a minute, a wait of 50 and a minute, by 52.
#[test]
fn ways_of_many_steps_are_told_apart() {
    let mut problem = quiet_site(700);
    problem.stations = vec![station("bench", 9)];
    let minute = || step("bench", 1, 0);
    let mut long: Vec<_> = std::iter::repeat_with(minute).take(33).collect();
    long.push(step("bench", 600, 0));
    problem.jobs = vec![job(1, long)];
    let mut second = minute();
    second.after = 50;
    problem.jobs[0].options.push(JobOption {
        id: "short".into(),
        earliest: 0,
        debt: 0,
        operations: vec![minute(), second],
    });
    problem.capabilities = vec![capability(&["a1"], &[0, 1])];
    is_proven(&problem, 52);
}

/// Stopped at once, what is proven is what prices say, and never more than the best.
#[test]
fn a_proof_may_be_stopped() {
    let mut problem = quiet_site(1000);
    problem.stores = vec![store("gas", 30, &[(500, 30)])];
    let part = |n| vec![drawing(stage("al", 1, 10 + n), "gas", 7, 0)];
    problem.jobs = (1..=8)
        .map(|n| job(n, part(i64::try_from(n).unwrap_or(0))))
        .collect();
    let assets: Vec<String> = (1..=8).map(|n| format!("a{n}")).collect();
    let capabilities = assets.iter().map(|it| capability(&[it.as_str()], &[0, 1]));
    problem.capabilities = capabilities.collect();
    let known = crew_plan(&problem, CrewOrder::OldestFirst);
    let stopped = prove(&problem, &known, &mut |_| true);
    let whole = prove(&problem, &known, &mut |_| false);
    assert!(stopped.least > 0 && stopped.least <= whole.least);
    assert!(whole.orders > stopped.orders);
}

#[test]
fn only_few_parts_are_tried() {
    let mut problem = quiet_site(100);
    problem.jobs = (1..=13).map(|n| job(n, vec![stage("al", 1, 1)])).collect();
    assert!(!is_small(&problem));
    problem.jobs.truncate(12);
    assert!(is_small(&problem));
}

/// Whatever else is known to be possible is not excluded: a search of its own, and the crew's orders. It
/// starts from a plan that does nothing, so that no order is given up for the sake of a good one.
fn excludes_no_plan(problem: &Problem, seed: u64) -> Result<(), TestCaseError> {
    let mut known = Plan {
        left_out: problem.jobs.iter().map(|job| job.id.clone()).collect(),
        ..Plan::default()
    };
    known.loss = loss(problem, &known);
    let proof = prove(problem, &known, &mut |orders| orders >= 20_000);
    let best = crew_plan(problem, CrewOrder::OldestFirst);
    let mut search = Search::new(problem, seed);
    search.run(500, 0.0..1.0, &mut || false);
    prop_assert!(proof.least <= search.best().loss);
    prop_assert!(proof.least <= best.loss);
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(300))]

    #[test]
    fn no_plan_is_below_a_proof(problem in a_problem(), seed in 0_u64..9) {
        excludes_no_plan(&problem, seed)?;
    }

    #[test]
    fn plates_are_no_trap(problem in a_problem_of_plates(), seed in 0_u64..9) {
        excludes_no_plan(&problem, seed)?;
    }

    #[test]
    fn loads_are_no_trap(problem in a_problem_of_batches(), seed in 0_u64..9) {
        excludes_no_plan(&problem, seed)?;
    }
}
