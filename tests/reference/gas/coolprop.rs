//! Runs `coolprop.py`.

use mendpost_core::gas::Gas;
use serde_json::{Value, json};

use crate::python;

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
    let asked = Value::from_iter(questions.iter().map(|question| question.0.clone()));
    let answers: Vec<f64> = python::answers(include_str!("coolprop.py"), &asked);
    assert_eq!(
        answers.len(),
        questions.len(),
        "an answer for each question"
    );
    answers
}
