//! Each problem of a folder: loss, bound, time, memory.

use std::num::NonZeroUsize;
use std::path::Path;

use crate::figures::{cpu_seconds, forget_peak_memory, head, mean, over, peak_memory, row};
use crate::planned::{Planned, first_plan, plan};
use crate::problems::{Known, Named, best_known, instances};

const COLUMNS: [&str; 12] = [
    "problem",
    "jobs",
    "best known",
    "1 s",
    "5 s",
    "CPU-s of both",
    "our bound",
    "5 s over it",
    "CP-SAT's bound, 60 s",
    "first plan, ms",
    "most memory, MiB",
    "proven after",
];

/// What the summary counts.
#[derive(Default)]
struct Sums {
    over_best: [Vec<f64>; 2],
    over_bound: Vec<f64>,
    proven: usize,
    weaker: usize,
}

pub fn print(folder: &Path, every: NonZeroUsize) -> Result<(), String> {
    let known = best_known(folder)?;
    let mut sums = Sums::default();
    head(&COLUMNS);
    for named in instances(folder, every)? {
        if let Some(known) = known.get(&named.name) {
            problem(&named, known, &mut sums);
        }
    }
    println!("\nThe first plan is a verified one, with the bound, before any search.");
    println!(
        "On the average {:+.2} % over the best known after 1 s and {:+.2} % after 5 s, then {:.1} % over the bound; {} proven best; the bound is below CP-SAT's {} times of {}.",
        mean(&sums.over_best[0]),
        mean(&sums.over_best[1]),
        mean(&sums.over_bound),
        sums.proven,
        sums.weaker,
        sums.over_bound.len(),
    );
    Ok(())
}

fn problem(named: &Named, known: &Known, sums: &mut Sums) {
    forget_peak_memory();
    let first = first_plan(&named.problem);
    let begin = cpu_seconds();
    let plans = [1.0, 5.0].map(|seconds| plan(&named.problem, seconds));
    let cpu = cpu_seconds() - begin;
    let least = plans[1].plan.bound.unwrap_or(0);
    for (list, planned) in sums.over_best.iter_mut().zip(&plans) {
        list.push(over(planned.plan.loss, known.loss));
    }
    let over_bound = over(plans[1].plan.loss, least);
    sums.over_bound.push(over_bound);
    sums.proven += usize::from(plans[1].is_proven());
    sums.weaker += usize::from(least < known.bound);
    let loss = |it: &Planned| {
        let loss = it.plan.loss;
        format!("{loss} ({:+.2} %)", over(loss, known.loss))
    };
    let proven = plans[1]
        .is_proven()
        .then(|| format!("{:.2} s", plans[1].seconds));
    let optimum = if known.bound == known.loss {
        ", proven"
    } else {
        ""
    };
    row(&[
        named.name.clone(),
        named.jobs().to_string(),
        format!("{}{optimum}", known.loss),
        loss(&plans[0]),
        loss(&plans[1]),
        format!("{cpu:.1}"),
        least.to_string(),
        format!("{over_bound:.1} %"),
        known.bound.to_string(),
        format!("{:.0}", first.seconds * 1000.0),
        peak_memory().map_or_else(String::new, |it| it.to_string()),
        proven.unwrap_or_else(|| "-".to_owned()),
    ]);
}
