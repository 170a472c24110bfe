//! Demand against a Fourier transform with numpy and scipy, and packing against published problems.

use std::fs;
use std::path::Path;

use mendpost_core::resupply::demand::{Distribution, Part, Rate};
use mendpost_core::resupply::pack::{Packing, check, pack};
use serde_json::{Value, json};

use crate::python;

/// Failures a day, the shape of that rate or 0 if it is known, mean and spread of what one takes in grams.
type Row = (f64, f64, f64, f64);

/// Parts and days.
const CASES: [(&[Row], f64); 7] = [
    (&[(0.05, 0.0, 5000.0, 0.0)], 10.0),
    (&[(0.2, 0.0, 3500.0, 1200.0)], 11.0),
    (&[(0.02, 0.5, 6000.0, 3000.0)], 30.0),
    (&[(0.3, 4.0, 2000.0, 0.0)], 14.0),
    (&[(0.05, 0.0, 5000.0, 0.0), (0.4, 0.0, 1500.0, 800.0)], 12.0),
    (
        &[(0.1, 1.5, 4000.0, 1000.0), (0.1, 0.0, 4000.0, 6000.0)],
        15.0,
    ),
    // So many failures that exp(-900) is no number of 64 bits.
    (&[(30.0, 0.0, 400.0, 200.0)], 30.0),
];
const AMOUNTS: [i64; 6] = [2500, 7500, 15_000, 22_500, 45_000, 360_000];

fn part(&(per_day, shape, grams_mean, grams_sd): &Row) -> Part {
    let rate = match shape {
        0.0 => Rate::Known { per_day },
        failures => Rate::Learned {
            failures,
            days: failures / per_day,
        },
    };
    Part {
        rate,
        grams_mean,
        grams_sd,
    }
}

/// What is enough lies within a step of theirs; a spread of sizes on our coarser lattice moves a chance by no
/// more than the mass of a cell. It also adds to a size's variance, a sixth of the step squared: of the 900
/// failures, with a step of 59 g, 900 x 59^2 / 6 = 0.5 kg^2 beside 180 kg^2, which is 0.15 % of the spread.
#[test]
fn demand_agrees_with_a_fourier_transform() {
    type Answer = (f64, f64, [f64; 4], [f64; 6], [f64; 6]);
    let asked = Value::from_iter(
        CASES
            .iter()
            .map(|(parts, days)| json!([parts, days, AMOUNTS])),
    );
    let answers: Vec<Answer> = python::answers(include_str!("resupply.py"), &asked);
    assert_eq!(answers.len(), CASES.len());
    for ((rows, days), (mean, sd, enough, within, short)) in CASES.into_iter().zip(answers) {
        let parts: Vec<Part> = rows.iter().map(part).collect();
        let demand = Distribution::of_parts(&parts, days).expect("within bounds");
        assert!(
            (demand.mean() / mean - 1.0).abs() < 1e-4,
            "{rows:?}: {} {mean}",
            demand.mean()
        );
        assert!(
            (demand.sd() / sd - 1.0).abs() < 2e-3,
            "{rows:?}: {} {sd}",
            demand.sd()
        );
        for (permille, theirs) in [500, 800, 950, 990].into_iter().zip(enough) {
            let off = demand.quantile(permille) as f64 - theirs;
            assert!(
                off.abs() <= demand.step() as f64 + 5.0,
                "{rows:?} {permille}: {off}"
            );
        }
        for ((have, chance), theirs) in AMOUNTS.into_iter().zip(within).zip(short) {
            let off = demand.chance_enough(have) - chance;
            assert!(off.abs() < 0.006, "{rows:?} {have}: {off}");
            let off = demand.expected_short(have) - theirs;
            assert!(off.abs() < 1e-3 * mean, "{rows:?} {have}: {off}");
        }
    }
}

/// Chu and Beasley 1998, two problems of 100 items and five limits: packed to the proof, at the value
/// published.
#[test]
fn published_packings_are_proven() {
    for (file, best) in [("mknapcb1-10.json", 42_757), ("mknapcb1-20.json", 59_822)] {
        let path = Path::new(env!("CARGO_MANIFEST_DIR"))
            .join("data/packing")
            .join(file);
        let text = fs::read_to_string(&path).expect("a file of the repository");
        let packing = Packing::from_json(&text).expect("no faults");
        assert_eq!(packing.known, Some(best));
        let packed = pack(&packing, 200_000, &mut || false);
        assert_eq!(check(&packing, &packed), []);
        assert_eq!((packed.worth, packed.bound), (best, best), "{file}");
    }
}
