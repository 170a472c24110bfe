//! A planted fault for every kind that the verifier knows.

use super::slow::is_sound;
use super::*;
use crate::planner::samples::drawing_any;

/// A fault: the rule it breaks, and how it is planted in the sound plan or in what the plan is held against.
struct Fault {
    /// As the planning contract numbers its rules; 0 is the loss and what a plan says of itself.
    rule: usize,
    variant: &'static str,
    plant: fn(&mut Problem, &mut Plan),
    is_it: fn(&Broken) -> bool,
}

/// Makes the list of faults from a table, and a match over all variants from the same table: a variant
/// without a row does not compile.
macro_rules! faults {
    ($($rule:literal $variant:ident $plant:expr;)*) => {
        fn faults() -> Vec<Fault> {
            vec![$(Fault {
                rule: $rule,
                variant: stringify!($variant),
                plant: $plant,
                is_it: |broken| matches!(broken, Broken::$variant { .. }),
            }),*]
        }

        fn rule_of(broken: &Broken) -> usize {
            match broken {
                $(Broken::$variant { .. } => $rule,)*
            }
        }
    };
}

faults! {
    1 UnknownJob |_, plan| plan.left_out.push("j9".into());
    1 PlannedTwice |_, plan| plan.jobs.push(plan.jobs[0].clone());
    1 UnknownOption |_, plan| plan.jobs[0].option = "other".into();
    1 OperationCount |_, plan| plan.jobs[1].operations.truncate(1);
    1 LeftOutButPlanned |_, plan| plan.left_out.push("j1".into());
    1 LeftOutTwice |_, plan| {
        plan.jobs.truncate(1);
        plan.left_out = vec!["j2".into(), "j2".into()];
    };
    1 Forgotten |_, plan| plan.jobs.truncate(1);
    2 NeverReady |problem, _| problem.jobs[0].release = 401;
    2 OutsideHorizon |_, plan| spot(plan, 1, 1).start = 381;
    2 TooEarly |problem, _| problem.jobs[0].release = 16;
    2 TooLate |problem, _| problem.jobs[0].options[0].operations[0].within = Some(14);
    3 OffDuty |problem, _| problem.windows[0].to = 85;
    4 Crew |problem, _| problem.windows[0].crew = 1;
    5 StepSprays |_, plan| spot(plan, 0, 1).cell = Some("cell".into());
    5 NoSetup |_, plan| spot(plan, 0, 0).setup_from = None;
    5 SetupAfterStart |_, plan| spot(plan, 0, 0).setup_from = Some(16);
    5 CellNotAllowed |_, plan| spot(plan, 0, 0).cell = None;
    5 CellBusy |_, plan| spot(plan, 1, 0).setup_from = Some(44);
    5 SetupTooShort |problem, _| problem.cells[0].same_powder = 11;
    5 SplitBySleep |problem, _| {
        problem.windows[0].to = 84;
        problem.windows[1].from = 85;
    };
    5 CellClosed |problem, _| problem.cells[0].closed = vec![(84, 90)];
    6 Station |_, plan| spot(plan, 0, 1).start = 66;
    6 Batches |problem, plan| {
        problem.stations[0].batch = true;
        problem.stations[0].slots = 2;
        spot(plan, 0, 1).start = 66;
    };
    7 LotSum |_, plan| spot(plan, 0, 0).lots[0].grams = 41;
    7 LotGrams |_, plan| spot(plan, 0, 0).lots.push(LotDraw { lot: "al-2".into(), grams: 0 });
    7 NotOneLot |_, plan| {
        spot(plan, 0, 0).lots[0].grams = 39;
        spot(plan, 0, 0).lots.push(LotDraw { lot: "al-2".into(), grams: 1 });
    };
    7 LotPowder |_, plan| spot(plan, 0, 0).lots[0].lot = "cu-1".into();
    7 LotTime |problem, _| problem.lots[0].from = 16;
    7 LotOverdrawn |problem, _| problem.lots[0].grams = 39;
    8 Floor |problem, _| problem.stores[0].level = 89;
    8 FromCount |_, plan| spot(plan, 0, 0).from = vec![None];
    8 FromMissing |problem, plan| choose(problem, plan, None);
    8 FromWithoutChoice |problem, plan| {
        choose(problem, plan, Some("gas"));
        spot(plan, 0, 0).from[0] = Some("gas".into());
    };
    8 FromNotAllowed |problem, plan| choose(problem, plan, Some("air"));
    9 Limit |problem, _| {
        problem.limits = vec![limit("power", 1)];
        let operation = &mut problem.jobs[0].options[0].operations[0];
        *operation = loading(operation.clone(), "power", 2, None);
    };
    0 Loss |_, plan| plan.loss += 1;
    0 Bound |_, plan| plan.bound = Some(plan.loss + 1);
    0 Proven |_, plan| plan.proven = Some(true);
}

/// Gives j1 a second draw, of nothing, from the gas or from a bundle; the plan takes it from this store.
fn choose(problem: &mut Problem, plan: &mut Plan, store: Option<&str>) {
    let operation = &mut problem.jobs[0].options[0].operations[0];
    *operation = drawing_any(operation.clone(), &["gas", "bundle"], 0, 0);
    problem
        .stores
        .push(crate::planner::samples::store("bundle", 0, &[]));
    spot(plan, 0, 0).from = vec![None, store.map(str::to_owned)];
}

/// Each fault is found by name. One planted in the figures of a plan is all that is found; the others are
/// planted with the loss restated, so that they are not found by that alone. The slow checker finds them too.
#[test]
fn a_planted_fault_of_every_kind_is_found() {
    for fault in faults() {
        let (mut problem, mut plan) = sound();
        (fault.plant)(&mut problem, &mut plan);
        if fault.rule > 0 {
            plan.loss = crate::planner::loss(&problem, &plan);
        }
        assert_eq!(problem.faults(), [], "{}", fault.variant);
        assert!(!is_sound(&problem, &plan), "{}", fault.variant);
        let found = check(&problem, &plan);
        assert!(
            found.iter().any(fault.is_it),
            "{}: {found:?}",
            fault.variant
        );
        if fault.rule == 0 {
            assert!(found.iter().all(|it| rule_of(it) == 0), "{found:?}");
        }
    }
}

/// The contract has nine rules, and the loss.
#[test]
fn no_rule_of_the_contract_is_without_a_planted_fault() {
    for rule in 0..=9 {
        assert!(faults().iter().any(|fault| fault.rule == rule), "{rule}");
    }
}
