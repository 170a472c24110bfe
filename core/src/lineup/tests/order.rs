//! What the line-up says of planned requests.

use super::planned;
use super::site::{at, code, lot, part, recipe, request, site};
use crate::catalogue::Flag;
use crate::lineup::{LineUp, Readiness, changes};
use crate::situation::{Brings, Delivery, Way};

/// 4 000 g at an efficiency of 0.8 known exactly: 5 000 g fed + 150 g lost + 50 g coupon.
#[test]
fn a_build_takes_its_powder_from_the_lot() {
    let line_up = planned(&site());
    let (_, stage) = line_up.places[0].stages().next().expect("one stage");
    assert_eq!(stage.need.powder_g, 5200);
    assert_eq!(
        (stage.lots[0].lot.as_str(), stage.lots[0].grams),
        ("L0001", 5200)
    );
    assert_eq!(line_up.committed(&code("L0001")), 5200);
}

/// Duty starts at 06:00, minute 360. Set-up 5 min and warm-up 10, so powder flows from 06:15.
/// 5 200 g at 50 g/min are 104 min, and 20 for handling: the compressor gives more than the
/// nozzle takes. Then the mill, 60 min, and the first run, 30: back 06:15 + 3 h 34 = 09:49.
#[test]
fn an_asset_is_back_after_its_first_run() {
    let line_up = planned(&site());
    let place = &line_up.places[0];
    assert_eq!(place.starts(), at(360));
    let (_, stage) = place.stages().next().expect("one stage");
    assert_eq!((stage.start, stage.end), (at(375), at(375 + 124)));
    assert_eq!(place.back, Some(at(375 + 124 + 60 + 30)));
}

/// Both pumps are down and pump 1 comes back: the rate falls from 90 to 5.
#[test]
fn the_last_of_two_pumps_matters_more_than_the_first() {
    assert_eq!(planned(&site()).places[0].stops_per_hour, 85);
}

/// Doing nothing for 7 days: both pumps 90 an hour and the crane 40. Ours: 589 minutes of that,
/// then 45 an hour.
#[test]
fn the_loss_stands_beside_that_of_doing_nothing() {
    let losses = planned(&site()).losses;
    assert_eq!(losses.nothing, 130 * 7 * 1440);
    assert_eq!(losses.ours, 130 * 589 + 45 * (7 * 1440 - 589));
    assert_eq!(losses.ours, losses.oldest_first);
}

/// An asset with two broken parts is back with the second; with one of them waiting it stays down.
#[test]
fn an_asset_needs_all_its_parts() {
    let mut situation = site();
    situation
        .requests
        .push(request("R2", "pump-1", "P-1", "P-1-316L"));
    let both = planned(&situation);
    assert_eq!(both.places.len(), 1, "9 000 g hold one build of 5 200");
    assert_eq!(
        (both.places[0].back, both.places[0].stops_per_hour),
        (None, 0)
    );
    situation.lots.push(lot("L0002", 5_200));
    let both = planned(&situation);
    assert_eq!(both.places[0].back, both.places[1].back);
    assert_eq!(both.places[1].back, Some(both.places[1].done));
}

/// Ready now, waits for powder from the boat, waits for the broken part, waits for the true part.
#[test]
fn a_place_says_what_it_waits_for() {
    let mut situation = site();
    situation
        .requests
        .push(request("R2", "pump-2", "P-1", "P-1-316L"));
    situation.deliveries.push(Delivery {
        code: code("boat"),
        name: "supply boat".to_owned(),
        expected: at(2 * 1440 + 480),
        latest: None,
        payload_kg: None,
        brings: vec![Brings::Powder {
            powder: code("316L"),
            grams: 6000,
            use_by: None,
        }],
    });
    let mut crane = request("R3", "crane", "P-1", "P-1-316L");
    crane.ways = vec![Way::TruePart {
        delivery: None,
        expected: at(3000),
        fit_min: 60,
        crew: 1,
    }];
    situation.requests.push(crane);
    let line_up = planned(&situation);
    let said = |n: usize| line_up.places[n].readiness.clone();
    assert_eq!(said(0), Readiness::Ready);
    assert_eq!(said(1), Readiness::WaitsForTruePart(at(3000)));
    assert_eq!(said(2), Readiness::WaitsForDelivery(code("boat")));
    situation.requests[0].at_cell_from = Some(at(500));
    assert_eq!(
        planned(&situation).places[0].readiness,
        Readiness::WaitsForPart(at(500))
    );
}

/// A part of a machine that still runs saves nothing now, and is planned all the same.
#[test]
fn a_worn_part_is_planned_where_it_costs_nothing() {
    let mut situation = site();
    situation.assets[0].down_from = None;
    assert_eq!(planned(&situation).places.len(), 1);
}

/// A new request takes the first place, and the other one moves back.
#[test]
fn a_change_of_the_line_up_is_told() {
    let mut situation = site();
    let old = planned(&situation);
    situation.lots.push(lot("L0002", 6000));
    situation.parts.push(part("P-2", &[Flag::FormOnly]));
    situation.recipes.push(recipe("P-2-316L", "P-2", 4000));
    situation
        .requests
        .insert(0, request("R2", "crane", "P-2", "P-2-316L"));
    let new = planned(&situation);
    let told = serde_json::to_value(changes(&old, &new)).expect("plain values");
    assert_eq!(told[0]["in"]["request"], "R2");
    let moved = &told[1]["moved"];
    assert_eq!(moved["request"], "R1");
    assert_eq!(
        (&moved["was_place"], &moved["place"]),
        (&1.into(), &2.into())
    );
    assert_eq!(changes(&new, &new), vec![]);
}

/// A line-up is stored as JSON, gates included, and comes back as it was.
#[test]
fn a_line_up_survives_storage() {
    let mut situation = site();
    situation.parts.push(part("P-2", &[Flag::CanInjure]));
    situation.recipes.push(recipe("P-2-316L", "P-2", 90_000));
    situation
        .requests
        .push(request("R2", "crane", "P-2", "P-2-316L"));
    let line_up = planned(&situation);
    assert!(line_up.waiting[0].ways[0].shut.len() >= 2);
    let stored = serde_json::to_string(&line_up).expect("plain values");
    assert_eq!(
        serde_json::from_str::<LineUp>(&stored).expect("reads back"),
        line_up
    );
}
