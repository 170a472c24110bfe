//! Each problem of a folder, by us and by CP-SAT: two threads and two workers, one after the other, for the
//! same time and for longer. The time in which the solver's model is built is not counted, its presolve is.

use std::cmp::Ordering;
use std::ffi::OsStr;
use std::num::NonZeroUsize;
use std::path::Path;

use serde::Deserialize;

use crate::figures::{head, over, row};
use crate::planned::plan;
use crate::problems::{Named, instances};
use crate::python::answer;

/// From so many jobs on, who is better in the same time is counted; below, who reaches the proven optimum.
const LARGE: usize = 15;
/// How long the solver may take to prove the optimum of a smaller problem.
const PROOF: &str = "60";
/// Our seconds and the solver's for larger problems: the same twice, then a minute, as it often has no plan in
/// less.
const TIMES: [(u32, &str); 3] = [(1, "1"), (5, "5"), (5, "60")];
const COLUMNS: [&str; 6] = [
    "problem",
    "jobs",
    "seconds",
    "ours",
    "CP-SAT",
    "ours over it",
];

#[derive(Deserialize)]
struct Answer {
    /// None if the solver found no plan in its time.
    loss: Option<i64>,
    proven: bool,
}

#[derive(Default)]
struct Count {
    wins: usize,
    ties: usize,
    losses: usize,
    /// Won because the solver has no plan.
    without: usize,
}

pub fn print(folder: &Path, every: NonZeroUsize) -> Result<(), String> {
    let problems = instances(folder, every)?;
    let (small, large): (Vec<Named>, Vec<Named>) =
        problems.into_iter().partition(|it| it.jobs() < LARGE);
    head(&COLUMNS);
    let (mut proven, mut equal) = (0, 0);
    for named in &small {
        let theirs = cp_sat(named, PROOF)?;
        let ours = compared(named, 5.0, &theirs, &format!("5 and {PROOF}"));
        if theirs.proven {
            proven += 1;
            equal += usize::from(ours == Ordering::Equal);
        }
    }
    let mut counts = TIMES.map(|_| Count::default());
    for named in &large {
        for (count, (ours, theirs)) in counts.iter_mut().zip(TIMES) {
            let answer = cp_sat(named, theirs)?;
            let said = format!("{ours} and {theirs}");
            match compared(named, f64::from(ours), &answer, &said) {
                Ordering::Less => count.wins += 1,
                Ordering::Equal => count.ties += 1,
                Ordering::Greater => count.losses += 1,
            }
            count.without += usize::from(answer.loss.is_none());
        }
    }
    println!("\nBelow {LARGE} jobs: {equal} of {proven} equal to the optimum that CP-SAT proves.");
    for (count, (ours, theirs)) in counts.iter().zip(TIMES) {
        println!(
            "From {LARGE} jobs on, {ours} s and {theirs} s: {} better than CP-SAT ({} of them where it has no plan), {} equal, {} worse.",
            count.wins, count.without, count.ties, count.losses
        );
    }
    Ok(())
}

fn cp_sat(named: &Named, seconds: &str) -> Result<Answer, String> {
    answer(
        "cpsat.py",
        &[
            named.file.as_os_str(),
            OsStr::new(seconds),
            OsStr::new("--any"),
        ],
    )
}

/// Prints a row; less is better for us.
fn compared(named: &Named, seconds: f64, theirs: &Answer, said: &str) -> Ordering {
    let ours = plan(&named.problem, seconds).plan.loss;
    let proven = if theirs.proven { ", proven" } else { "" };
    row(&[
        named.name.clone(),
        named.jobs().to_string(),
        said.to_owned(),
        ours.to_string(),
        theirs
            .loss
            .map_or_else(|| "no plan".to_owned(), |loss| format!("{loss}{proven}")),
        theirs
            .loss
            .map_or_else(String::new, |loss| format!("{:+.2} %", over(ours, loss))),
    ]);
    theirs.loss.map_or(Ordering::Less, |loss| ours.cmp(&loss))
}
