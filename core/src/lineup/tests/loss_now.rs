//! What the site loses at one moment.

use super::site::{at, code, site};
use crate::lineup::{is_down, loss_now, stops_now};

/// Both pumps and the crane are down: 90 an hour for water of which one must run, 40 for the quay.
#[test]
fn every_capability_loses_by_the_number_of_its_machines_down() {
    let losses = loss_now(&site());
    let figures: Vec<_> = losses
        .iter()
        .map(|l| {
            (
                l.capability.as_str(),
                l.total,
                l.running,
                l.must_run,
                l.down,
                l.short(),
                l.loss_per_hour,
            )
        })
        .collect();
    assert_eq!(
        figures,
        [("water", 2, 0, 1, 2, 1, 90), ("quay", 1, 0, 1, 1, 1, 40)]
    );
}

/// Pump 1 alone brings 90 - 5 = 85 an hour; when pump 2 runs already, 5 - 0 = 5. What runs stops
/// nothing by coming back.
#[test]
fn the_second_pump_matters_less_than_the_first() {
    let mut situation = site();
    assert_eq!(stops_now(&situation, &code("pump-1")), 85);
    situation.assets[1].down_from = None;
    assert_eq!(stops_now(&situation, &code("pump-1")), 5);
    assert_eq!(stops_now(&situation, &code("pump-2")), 0);
}

/// The moment of failure counts as down, the minute before it does not.
#[test]
fn a_machine_expected_to_fail_runs_until_then() {
    let mut situation = site();
    situation.assets[2].down_from = Some(at(1));
    assert!(!is_down(&situation, &code("crane")));
    assert_eq!(loss_now(&situation)[1].loss_per_hour, 0);
    situation.now = at(1);
    assert!(is_down(&situation, &code("crane")));
}

/// Both were to be replaced an hour ago. The crane was; pump 1 still has a request open.
#[test]
fn a_replacement_brings_back_what_waits_for_no_part() {
    let mut situation = site();
    situation.assets[0].back = Some(at(-60));
    situation.assets[2].back = Some(at(-60));
    assert!(is_down(&situation, &code("pump-1")));
    assert!(!is_down(&situation, &code("crane")));
}
