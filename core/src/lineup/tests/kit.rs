//! Plates that are used up and fixtures that come back.

use super::site::{code, lot, request, site};
use super::{gates, is_planned, plan_of};
use crate::catalogue::{Flag, Held, Operation, OperationKind, Spray};
use crate::lineup::{Gate, Opens, draft, kit_id};
use crate::situation::{Kit, KitKind, Situation};

fn kit(name: &str, kind: KitKind, count: i64) -> Kit {
    Kit {
        code: code(name),
        name: name.to_owned(),
        kind,
        count,
    }
}

/// Two stages, each on a plate of its own, 2 000 g each.
fn on_plates(count: i64) -> Situation {
    let mut situation = site();
    situation.kit = vec![kit("PLATE-20", KitKind::Plate, count)];
    let recipe = &mut situation.recipes[0];
    let stage = &mut recipe.operations[0];
    stage.plate = Some(code("PLATE-20"));
    let spray = stage.spray.clone().expect("a stage");
    stage.spray = Some(Spray {
        deposited_g: 2_000,
        ..spray
    });
    recipe.operations.insert(1, recipe.operations[0].clone());
    situation
}

/// The part is clamped while it is sprayed and until it has come from the mill.
fn clamped(count: i64) -> Situation {
    let mut situation = site();
    situation.kit = vec![kit("CLAMP", KitKind::Fixture, count)];
    situation.recipes[0].operations[0].fixture = Some(Held {
        fixture: code("CLAMP"),
        through: 2,
    });
    situation
}

/// Of two plates one is here: one more lets the request in, none more does not.
#[test]
fn a_plate_short_is_a_gate_that_one_plate_opens() {
    let short = on_plates(1);
    let gates = gates(&short, "R1");
    assert_eq!(gates.len(), 1, "{gates:?}");
    assert_eq!(
        (gates[0].gate.clone(), gates[0].opens.clone()),
        (
            Gate::Kit {
                kit: code("PLATE-20"),
                need: 2,
                have: 1
            },
            Opens::MoreKit {
                kit: code("PLATE-20"),
                count: 1
            }
        )
    );
    assert!(is_planned(&on_plates(1 + 1), "R1"));
    assert!(!is_planned(&on_plates(1), "R1"));
}

/// Without a clamp there is no build; with one there is.
#[test]
fn a_fixture_that_is_not_there_is_a_gate() {
    let gates = gates(&clamped(0), "R1");
    assert_eq!(
        gates.iter().map(|s| s.opens.clone()).collect::<Vec<_>>(),
        [Opens::MoreKit {
            kit: code("CLAMP"),
            count: 1
        }]
    );
    assert!(is_planned(&clamped(1), "R1"));
}

/// A recipe that names a plate which the site does not list has the same gate, and no option.
#[test]
fn kit_that_is_not_listed_is_told_by_its_code() {
    let mut situation = on_plates(2);
    situation.kit.clear();
    let gates = gates(&situation, "R1");
    assert!(
        matches!(&gates[0].gate, Gate::Kit { kit, need: 1, have: 0 } if *kit == code("PLATE-20")),
        "{gates:?}"
    );
}

/// Two parts and one clamp: the second is sprayed when the first has left the mill. With two clamps
/// it is sprayed while the first is cut.
#[test]
fn a_fixture_is_held_through_the_operation_that_the_recipe_names() {
    let plan = |count| {
        let mut situation = clamped(count);
        situation.lots.push(lot("L0002", 9_000));
        let second = request("R2", "crane", "P-1", "P-1-316L");
        situation.requests.push(second);
        let problem = draft(&situation).problem;
        let limit = problem
            .limits
            .iter()
            .find(|l| l.id == kit_id(&code("CLAMP")));
        assert_eq!(limit.map(|l| l.capacity), Some(count));
        let mut spans: Vec<(i64, i64)> = plan_of(&problem)
            .jobs
            .iter()
            .map(|job| {
                let stage = &job.operations[0];
                let from = stage.setup_from.unwrap_or(stage.start);
                (from, job.operations[1].start + 60)
            })
            .collect();
        spans.sort_unstable();
        assert_eq!(spans.len(), 2);
        spans
    };
    let one = plan(1);
    assert!(one[1].0 >= one[0].1, "{one:?}");
    let two = plan(2);
    assert!(two[1].0 < two[0].1, "{two:?}");
}

/// Three days at a workshop elsewhere keep nobody and no station here; the next step begins after
/// them, on duty.
#[test]
fn what_is_sent_out_takes_days_and_nobody() {
    let mut situation = site();
    let away = Operation {
        crew: 0,
        away_days: Some(3),
        ..Operation::step(OperationKind::HeatTreat, "harden in town", 3 * 1440)
    };
    situation.recipes[0].operations.insert(1, away);
    let problem = draft(&situation).problem;
    let job = &plan_of(&problem).jobs[0];
    let (away, cut) = (&job.operations[1], &job.operations[2]);
    assert!(cut.start >= away.start + 3 * 1440, "{job:?}");
    let option = &problem.jobs[0].options[0];
    assert_eq!(
        (option.operations[1].crew, option.operations[1].minutes),
        (0, 4320)
    );
}

/// Approved for parts of form only; the part carries load.
#[test]
fn a_recipe_is_valid_for_the_flags_that_it_names() {
    let mut situation = site();
    situation.parts[0].flags = [Flag::FormOnly, Flag::Guard].into();
    situation.recipes[0].flags = [Flag::FormOnly].into();
    let shut = gates(&situation, "R1");
    assert_eq!(
        shut[0].gate,
        Gate::NotForFlag {
            recipe: code("P-1-316L"),
            revision: 1,
            flag: Flag::Guard
        }
    );
    situation.recipes[0].flags.insert(Flag::Guard);
    assert!(is_planned(&situation, "R1"));
}
