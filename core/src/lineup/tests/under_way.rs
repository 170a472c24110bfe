//! What is under the nozzle when an order is planned.

use super::site::{code, lot, request, site};
use crate::quantity::Milligrams;
use crate::situation::UnderWay;
use chrono::TimeDelta;

/// 2 000 g are still to be drawn from L1, which holds 1 500 g, and L2: L1 gives all, L2 500 g of its 3 000. The
/// cell is the build's for 40 minutes, and its request goes on after that.
#[test]
fn what_is_under_the_nozzle_is_kept() {
    let mut situation = site();
    situation.lots = vec![lot("L1", 1_500), lot("L2", 3_000)];
    situation.requests = vec![request("R1", "P1", "PIN", "SLEEVE")];
    let ends_at = situation.now + TimeDelta::minutes(40);
    let lots = situation.lots.iter().map(|it| it.code.clone()).collect();
    situation.keep_under_nozzle(&UnderWay {
        build: 7,
        request: code("R1"),
        recipe: "SLEEVE".parse().expect("a code"),
        revision: 1,
        done: 2,
        ends_at,
        to_draw: Milligrams::from_grams(2_000),
        lots,
    });
    let held: Vec<i64> = situation
        .lots
        .iter()
        .map(|it| it.on_hand.grams_on_hand())
        .collect();
    assert_eq!(held, [0, 2_500]);
    assert_eq!(situation.cell.free_from, Some(ends_at));
    let kept = &situation.requests[0];
    assert_eq!(kept.building, Some(7));
    assert_eq!(
        kept.begun.as_ref().map(|it| (it.done, it.ended_at)),
        Some((2, ends_at))
    );
}
