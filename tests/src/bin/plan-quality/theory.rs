//! Shapes whose optimum follows from published theory, at sizes beyond those of the core's tests.

use std::collections::BTreeMap;
use std::num::NonZeroUsize;

use crate::facts::{Fact, generated, worked};
use crate::figures::{head, over, row};
use crate::planned::plan;
use crate::problems::one_in;

const SIZES: [usize; 5] = [10, 20, 50, 100, 200];
const SEEDS: std::ops::RangeInclusive<u64> = 1..=5;
const COLUMNS: [&str; 7] = [
    "fact",
    "jobs",
    "problems",
    "at the optimum after 1 s",
    "after 5 s",
    "worst after 1 s",
    "after 5 s",
];

/// How far those of a row are over the optimum after 1 s and after 5 s.
#[derive(Default)]
struct Row {
    facts: usize,
    at_optimum: [usize; 2],
    worst: [f64; 2],
}

pub fn print(every: NonZeroUsize) -> Result<(), String> {
    let mut rows: BTreeMap<(&str, usize), Row> = BTreeMap::new();
    let mut sources = Vec::new();
    let of_sizes = SIZES
        .into_iter()
        .flat_map(|jobs| SEEDS.flat_map(move |seed| generated(jobs, seed)));
    let facts = worked().into_iter().chain(of_sizes).collect();
    for fact in one_in(every, facts) {
        let row = rows.entry((fact.name, fact.problem.jobs.len()));
        row.or_default().add(&fact);
        if !sources.contains(&(fact.name, fact.source)) {
            sources.push((fact.name, fact.source));
        }
    }
    head(&COLUMNS);
    for ((name, jobs), it) in rows {
        row(&[
            name.to_owned(),
            jobs.to_string(),
            it.facts.to_string(),
            it.at_optimum[0].to_string(),
            it.at_optimum[1].to_string(),
            format!("{:+.3} %", it.worst[0]),
            format!("{:+.3} %", it.worst[1]),
        ]);
    }
    println!();
    for (name, source) in sources {
        println!("- {name}: {source}");
    }
    Ok(())
}

impl Row {
    /// What is at its optimum after 1 s is so after 5 s.
    fn add(&mut self, fact: &Fact) {
        self.facts += 1;
        let mut gap = f64::INFINITY;
        for (n, seconds) in [1.0, 5.0].into_iter().enumerate() {
            if gap > 0.0 {
                gap = over(plan(&fact.problem, seconds).plan.loss, fact.optimum);
            }
            self.at_optimum[n] += usize::from(gap == 0.0);
            self.worst[n] = self.worst[n].max(gap);
        }
    }
}
