//! Our best plan of small problems against the optimum that a general solver proves.
//!
//! The solver is CP-SAT of Google OR-Tools (package `ortools` from PyPI); the model in `cpsat.py` states the
//! rules a second time, in another language and by another method.

use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::atomic::AtomicBool;

use mendpost_core::planner::{CrewOrder, Problem, check, crew_plan};
use mendpost_server::solve::{Limits, solve};
use serde_json::Value;

/// Plans a file of `tests/data/planner` and asserts that no plan is better.
fn assert_optimal(name: &str) {
    let file = workspace()
        .join("tests/data/planner")
        .join(name)
        .with_extension("json");
    let text = std::fs::read_to_string(&file)
        .unwrap_or_else(|error| panic!("{}: {error}", file.display()));
    let problem = Problem::from_json(&text).unwrap_or_else(|faults| panic!("{name}: {faults:?}"));
    let limits = Limits {
        seconds: None,
        iterations: Some(20_000),
        threads: 2,
        seed: 1,
    };
    let plan = solve(&problem, &limits, &AtomicBool::new(false), &mut |_| {});
    assert_eq!(check(&problem, &plan), []);
    let proven = proven_optimum(&file);
    assert_eq!(plan.loss, proven, "{name}: ours and the proven optimum");
    assert!(
        plan.bound.is_some_and(|bound| bound <= proven),
        "{name}: the bound holds"
    );
    for order in [CrewOrder::OldestFirst, CrewOrder::LargestRateFirst] {
        assert!(
            proven < crew_plan(&problem, order).loss,
            "{name}: the problem is no trap for {order:?}"
        );
    }
}

fn proven_optimum(problem: &Path) -> i64 {
    let python = std::env::var_os("MENDPOST_PYTHON")
        .map_or_else(|| workspace().join("target/venv/bin/python"), PathBuf::from);
    assert!(
        python.exists(),
        "no Python at {}; create it with: python3 -m venv target/venv && target/venv/bin/pip install ortools CoolProp scipy trimesh",
        python.display()
    );
    let model = workspace().join("tests/reference/planner/cpsat.py");
    let output = Command::new(&python)
        .arg(model)
        .arg(problem)
        .output()
        .expect("the interpreter starts");
    assert!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    let answer: Value = serde_json::from_slice(&output.stdout).expect("the model prints JSON");
    assert_eq!(answer["proven"], true, "the solver proves its optimum");
    answer["loss"].as_i64().expect("a loss is an integer")
}

fn workspace() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .parent()
        .expect("the crate lies in the workspace")
}

#[test]
fn powder_in_lots_that_totals_would_hide() {
    assert_optimal("one-lot-trap");
}

#[test]
fn losses_by_number_down() {
    assert_optimal("k-of-n");
}

#[test]
fn heat_treatment_through_the_night() {
    assert_optimal("night-furnace");
}

#[test]
fn supplies_that_come_and_expire() {
    assert_optimal("delivery");
}

#[test]
fn changeovers_that_depend_on_the_order() {
    assert_optimal("set-up-grouping");
}

#[test]
fn gas_above_the_pressure_of_the_recipe() {
    assert_optimal("high-pressure-first");
}

#[test]
fn closures_and_machines_that_run_on() {
    assert_optimal("outages");
}

#[test]
fn gas_from_one_of_several_bundles() {
    assert_optimal("gas-bundles");
}

#[test]
fn kilowatts_and_plates_that_are_shared() {
    assert_optimal("kilowatts");
}

#[test]
fn parts_that_share_a_furnace_and_may_not_wait_for_it() {
    assert_optimal("furnace-batches");
}

#[test]
fn stand_ins_that_cost_something_later() {
    assert_optimal("stand-ins");
}
