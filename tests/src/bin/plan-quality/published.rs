//! Sets of published problems with the loss known for each.

use std::collections::BTreeMap;
use std::num::NonZeroUsize;
use std::path::Path;

use mendpost_core::planner::Problem;

use crate::figures::{cpu_seconds, head, mean, most, over, row};
use crate::planned::plan;
use crate::problems::{one_in, problems};

const COLUMNS: [&str; 9] = [
    "set",
    "seconds",
    "CPU-s of each",
    "problems",
    "at the known loss",
    "proven",
    "sum over the sum known",
    "mean gap",
    "worst gap",
];

pub fn print(folder: Option<&Path>, every: NonZeroUsize) -> Result<(), String> {
    let folder = folder.ok_or("name the folder of published problems by --published FOLDER")?;
    let mut sets: BTreeMap<String, Vec<Problem>> = BTreeMap::new();
    for named in problems(folder)? {
        let set = named.name.rsplit_once('-').map_or(&*named.name, |it| it.0);
        let set = set.to_owned();
        sets.entry(set).or_default().push(named.problem);
    }
    set_head();
    for (set, problems) in sets {
        let problems: Vec<Problem> = one_in(every, problems).collect();
        // Set-up times make a set that takes longer.
        let has_set_up = |it: &Problem| it.cells.iter().any(|cell| !cell.changeover.is_empty());
        let seconds: &[f64] = if problems.iter().any(has_set_up) {
            &[1.0, 5.0]
        } else {
            &[1.0]
        };
        for seconds in seconds {
            set_row(&set, &problems, *seconds)?;
        }
    }
    println!("\nA gap is over a known loss above 0; the sums count all.");
    Ok(())
}

/// A row for problems that carry the loss known for them.
pub fn set_row(set: &str, problems: &[Problem], seconds: f64) -> Result<(), String> {
    let (mut hits, mut proven, mut sums) = (0, 0, (0, 0));
    let (mut gaps, mut cpu) = (Vec::new(), Vec::new());
    for problem in problems {
        let known = problem
            .known
            .ok_or_else(|| format!("{set}: no loss is known of a problem"))?;
        let begin = cpu_seconds();
        let planned = plan(problem, seconds);
        cpu.push(cpu_seconds() - begin);
        let loss = planned.plan.loss;
        hits += usize::from(loss == known);
        proven += usize::from(planned.is_proven());
        sums = (sums.0 + loss, sums.1 + known);
        if known > 0 {
            gaps.push(over(loss, known));
        }
    }
    row(&[
        set.to_owned(),
        seconds.to_string(),
        format!("{:.1}", mean(&cpu)),
        problems.len().to_string(),
        hits.to_string(),
        proven.to_string(),
        format!("{:+.3} %", over(sums.0, sums.1)),
        format!("{:+.3} %", mean(&gaps)),
        format!("{:+.2} %", most(&gaps)),
    ]);
    Ok(())
}

pub fn set_head() {
    head(&COLUMNS);
}
