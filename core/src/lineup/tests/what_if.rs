//! Whether another figure would make another line-up.

use super::site::{code, lot, request, site};
use crate::code::RequestCode;
use crate::lineup::{Move, cases, moves, what_if};
use crate::planner::{CrewOrder, Plan, crew_plan};
use crate::situation::{Figure, LossRange, Situation};
use proptest::prelude::*;

/// A pump and the crane wait for a part each, with powder for both; water may lose less or more.
fn pump_and_crane(low: &[i64], high: &[i64]) -> Situation {
    let mut situation = site();
    situation.lots.push(lot("L0002", 9_000));
    situation
        .requests
        .push(request("R2", "crane", "P-1", "P-1-316L"));
    situation.capabilities[0].loss_range = Some(LossRange {
        low: low.to_vec(),
        high: high.to_vec(),
    });
    situation
}

/// The pump stops 90 - 5 = 85 an hour and goes before the crane's 40. By the low figures it stops
/// 20 - 2 = 18 and should go second: the first is back after 589 minutes, the second after 718 (set-up
/// 5 and 124 of spraying later), so keeping the order would lose (718 - 589) x (40 - 18) = 2 838 more.
/// By the high ones it goes first all the more.
#[test]
fn a_figure_matters_where_the_order_turns() {
    let situation = pump_and_crane(&[0, 2, 20], &[0, 9, 300]);
    let cases = cases(&situation, &code("water")).expect("a range");
    assert_eq!(
        cases.each_ref().map(|case| case.figure),
        [Figure::Low, Figure::Likely, Figure::High]
    );
    let plans: [Plan; 3] = cases
        .each_ref()
        .map(|case| crew_plan(&case.problem, CrewOrder::LargestRateFirst));
    let [low, high] = what_if(&cases, &plans).expect("sound plans");
    assert_eq!(low.kept - low.best, 2838);
    assert_eq!(
        low.moves,
        [Move::Shifted {
            request: code("R2"),
            from: 2,
            to: 1
        }]
    );
    assert_eq!((high.kept - high.best, high.moves), (0, vec![]));
}

/// The search for the likely figures found the worse order, that for the low ones the better: it is
/// the better one by both, so it is the one kept, and nothing hangs on the figure.
#[test]
fn what_one_search_found_by_luck_is_no_effect_of_the_figure() {
    let situation = pump_and_crane(&[0, 5, 85], &[0, 5, 95]);
    let cases = cases(&situation, &code("water")).expect("a range");
    let first_come = crew_plan(&cases[1].problem, CrewOrder::OldestFirst);
    let mut turned = situation.clone();
    turned.requests.reverse();
    let turned = crate::lineup::draft(&turned).problem;
    let worse = crew_plan(&turned, CrewOrder::OldestFirst);
    assert!(worse.loss > first_come.loss);
    let found = [first_come, worse.clone(), worse];
    for outcome in what_if(&cases, &found).expect("sound plans") {
        assert_eq!((outcome.kept - outcome.best, outcome.moves), (0, vec![]));
    }
}

#[test]
fn without_low_and_high_figures_there_is_nothing_to_ask() {
    assert_eq!(cases(&site(), &code("water")), None);
    assert_eq!(cases(&site(), &code("air")), None);
}

/// R4 from the last place to the first is one move, not four; R5 comes in, R2 falls out.
#[test]
fn the_fewest_moves_are_told() {
    let order = |text: &str| -> Vec<RequestCode> { text.split(' ').map(code).collect() };
    let told = moves(&order("R1 R2 R3 R4"), &order("R4 R1 R3 R5"));
    let (from, to) = (4, 1);
    assert_eq!(
        told,
        [
            Move::Shifted {
                request: code("R4"),
                from,
                to
            },
            Move::In {
                request: code("R5"),
                place: 4
            },
            Move::Out {
                request: code("R2"),
                place: 2
            },
        ]
    );
}

/// Old places in the new order: 2, 5, 1, 4, 3. Two may stay, as 1 before 3 or 1 before 4; R4 has the
/// fourth place in both, so the latter is told, and three move.
#[test]
fn who_keeps_the_same_place_is_not_told_to_move() {
    let order = |text: &str| -> Vec<RequestCode> { text.split(' ').map(code).collect() };
    let told = moves(&order("R1 R2 R3 R4 R5"), &order("R2 R5 R1 R4 R3"));
    let shifted: Vec<(String, usize, usize)> = told
        .iter()
        .map(|told| match told {
            Move::Shifted { request, from, to } => (request.to_string(), *from, *to),
            other => panic!("{other:?}"),
        })
        .collect();
    assert_eq!(
        shifted,
        [
            ("R2".to_owned(), 2, 1),
            ("R5".to_owned(), 5, 2),
            ("R3".to_owned(), 3, 5)
        ]
    );
}

proptest! {
    /// Taking what moved out of both orders leaves the same order twice.
    #[test]
    fn what_is_not_told_stands_in_the_same_order(
        old in Just((1..9).collect::<Vec<u32>>()).prop_shuffle(),
        new in Just((3..12).collect::<Vec<u32>>()).prop_shuffle(),
    ) {
        let codes = |numbers: &[u32]| -> Vec<RequestCode> {
            numbers.iter().map(|n| code(&format!("R{n}"))).collect()
        };
        let (old, new) = (codes(&old), codes(&new));
        let told: Vec<RequestCode> = moves(&old, &new)
            .into_iter()
            .map(|told| match told {
                Move::In { request, .. } | Move::Out { request, .. } | Move::Shifted { request, .. } => request,
            })
            .collect();
        let rest = |order: &[RequestCode]| -> Vec<RequestCode> {
            order.iter().filter(|r| !told.contains(r)).cloned().collect()
        };
        prop_assert_eq!(rest(&old), rest(&new));
    }
}
