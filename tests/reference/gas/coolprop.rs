//! Runs `coolprop.py`.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use mendpost_core::gas::Gas;
use serde_json::{Value, json};

/// One question that `coolprop.py` answers with a number.
pub struct Question(Value);

impl Question {
    pub fn density(gas: Gas, bar: f64, celsius: f64) -> Self {
        Self(json!(["density", gas.as_str(), bar, celsius]))
    }

    pub fn drawn_fast(gas: Gas, bar: f64, celsius: f64, floor: f64) -> Self {
        Self(json!(["drawn_fast", gas.as_str(), bar, celsius, floor]))
    }

    pub fn drawn_at(gas: Gas, bar: f64, celsius: f64, floor: f64, pace: f64) -> Self {
        Self(json!(["drawn_at", gas.as_str(), bar, celsius, floor, pace]))
    }

    pub fn from_bank(gas: Gas, bank: f64, celsius: f64, bar: f64, to: f64) -> Self {
        Self(json!(["from_bank", gas.as_str(), bank, celsius, bar, to]))
    }

    pub fn critical_flux(gas: Gas, bar: f64, celsius: f64) -> Self {
        Self(json!(["critical_flux", gas.as_str(), bar, celsius]))
    }

    pub fn enthalpy_rise_from_zero(gas: Gas, bar: f64, celsius: f64) -> Self {
        Self(json!(["enthalpy_rise", gas.as_str(), bar, 0.0, celsius]))
    }

    pub fn beta_quantile(mean: f64, sd: f64, share: f64) -> Self {
        Self(json!(["beta_quantile", mean, sd, share]))
    }
}

/// The answers, one for each question; fails the test if Python or a package is missing.
pub fn answers(questions: &[Question]) -> Vec<f64> {
    let python = python();
    let mut child = Command::new(&python)
        .args(["-c", include_str!("coolprop.py")])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap_or_else(|error| panic!("{}: {error}; {REMEDY}", python.display()));
    let asked = Value::from_iter(questions.iter().map(|question| question.0.clone()));
    let mut stdin = child.stdin.take().expect("standard input was asked for");
    let sent = stdin.write_all(asked.to_string().as_bytes());
    drop(stdin);
    let output = child.wait_with_output().expect("the child was started");
    assert!(
        output.status.success() && sent.is_ok(),
        "{} could not answer ({}); {REMEDY}",
        python.display(),
        output.status,
    );
    let answers: Vec<f64> = serde_json::from_slice(&output.stdout).expect("a list of numbers");
    assert_eq!(
        answers.len(),
        questions.len(),
        "an answer for each question"
    );
    answers
}

const REMEDY: &str = "make the environment with `python3 -m venv target/venv && \
    target/venv/bin/pip install ortools CoolProp scipy` in the workspace root, \
    or name another Python in MENDPOST_PYTHON";

fn python() -> PathBuf {
    std::env::var_os("MENDPOST_PYTHON").map_or_else(
        || Path::new(env!("CARGO_MANIFEST_DIR")).join("../target/venv/bin/python"),
        PathBuf::from,
    )
}
