//! Plans a folder of problems and prints how good the plans are, as Markdown.
//!
//! `plan-quality FOLDER...`: each holds problems (`planning-problem/1`). Where `best-known.json` lies beside
//! them, `{problem: {"loss", "bound"}}`, each problem has a row of its own; else each set of problems that carry
//! the loss known for them (`known`) has one. A set is what stands before the last hyphen of their names.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::atomic::AtomicBool;
use std::time::Instant;

use mendpost_core::planner::{Plan, Problem, bound, check};
use mendpost_server::solve::{Limits, solve};
use serde::Deserialize;

/// What is known of a problem.
#[derive(Deserialize)]
struct Known {
    loss: i64,
    bound: i64,
}

/// Seconds that each problem is planned for.
const SECONDS: [f64; 2] = [1.0, 5.0];

fn main() {
    println!("Two threads, seed 1; losses as rate x minutes.");
    for folder in std::env::args().skip(1).map(PathBuf::from) {
        let problems = problems(&folder);
        let known = [&folder, &folder.join("..")].map(|it| it.join("best-known.json"));
        match known
            .iter()
            .find_map(|path| std::fs::read_to_string(path).ok())
        {
            Some(text) => {
                let known: BTreeMap<String, Known> =
                    serde_json::from_str(&text).expect("best-known.json");
                one_by_one(&problems, &known);
            }
            None => by_set(&problems),
        }
        println!("\n{:.0} CPU-seconds so far.", cpu_seconds());
    }
}

fn problems(folder: &Path) -> BTreeMap<String, Problem> {
    let files = std::fs::read_dir(folder).expect("a folder of problems");
    let paths = files.map(|file| file.expect("a file").path());
    let problems = paths.filter(|path| path.extension().is_some_and(|it| it == "json"));
    problems
        .filter(|path| !path.ends_with("best-known.json"))
        .map(|path| {
            let text = std::fs::read_to_string(&path).expect("a text");
            let problem = Problem::from_json(&text);
            let name = path.file_stem().expect("a name").to_string_lossy();
            let problem = problem.unwrap_or_else(|faults| panic!("{name}: {}", faults[0]));
            (name.into_owned(), problem)
        })
        .collect()
}

fn plan(problem: &Problem, seconds: f64) -> Plan {
    let limits = Limits {
        seconds: Some(seconds),
        iterations: None,
        threads: 2,
        seed: 1,
    };
    let plan = solve(problem, &limits, &AtomicBool::new(false), &mut |_| {});
    assert_eq!(check(problem, &plan), [], "a plan breaks a rule");
    plan
}

fn one_by_one(problems: &BTreeMap<String, Problem>, known: &BTreeMap<String, Known>) {
    println!(
        "\n| problem | best known | 1 s | 5 s | bound | of the best known | bound known | bound takes |"
    );
    println!("| --- | ---: | ---: | ---: | ---: | ---: | ---: | ---: |");
    let mut gaps = [0.0; SECONDS.len()];
    let (mut rows, mut below) = (0.0, 0);
    for (name, problem) in problems {
        let Some(known) = known.get(name) else {
            continue;
        };
        let plans = SECONDS.map(|seconds| plan(problem, seconds));
        let begin = Instant::now();
        let least = bound(problem);
        let took = begin.elapsed().as_secs_f64() * 1000.0;
        for (sum, plan) in gaps.iter_mut().zip(&plans) {
            *sum += over(plan.loss, known.loss);
        }
        rows += 1.0;
        below += usize::from(least < known.bound);
        let loss = |plan: &Plan| format!("{} ({:+.2} %)", plan.loss, over(plan.loss, known.loss));
        let proven = if plans[1].proven == Some(true) {
            ", proven"
        } else {
            ""
        };
        println!(
            "| {name} | {} | {} | {}{proven} | {least} | {:.1} % | {} | {took:.0} ms |",
            known.loss,
            loss(&plans[0]),
            loss(&plans[1]),
            100.0 + over(least, known.loss),
            known.bound,
        );
    }
    println!(
        "\nOn the average {:+.2} % over the best known after 1 s and {:+.2} % after 5 s; the bound is below the known one {below} times.",
        gaps[0] / rows,
        gaps[1] / rows
    );
}

fn by_set(problems: &BTreeMap<String, Problem>) {
    let mut sets: BTreeMap<&str, Vec<&Problem>> = BTreeMap::new();
    for (name, problem) in problems {
        let set = name.rsplit_once('-').map_or(name.as_str(), |(set, _)| set);
        sets.entry(set).or_default().push(problem);
    }
    println!(
        "\n| set | seconds | problems | at the known loss | proven | sum over the sum known | mean gap | worst gap |"
    );
    println!("| --- | ---: | ---: | ---: | ---: | ---: | ---: | ---: |");
    for (set, problems) in sets {
        SECONDS
            .iter()
            .for_each(|seconds| set_row(set, &problems, *seconds));
    }
}

fn set_row(set: &str, problems: &[&Problem], seconds: f64) {
    let (mut hits, mut proven, mut sums, mut gaps) = (0, 0, (0, 0), Vec::new());
    for problem in problems {
        let known = problem.known.expect("the loss known of the problem");
        let plan = plan(problem, seconds);
        hits += usize::from(plan.loss == known);
        proven += usize::from(plan.proven == Some(true));
        sums = (sums.0 + plan.loss, sums.1 + known);
        if known > 0 {
            gaps.push(over(plan.loss, known));
        }
    }
    let worst = gaps.iter().copied().fold(0.0, f64::max);
    println!(
        "| {set} | {seconds} | {} | {hits} | {proven} | {:+.3} % | {:+.3} % | {worst:+.2} % |",
        problems.len(),
        over(sums.0, sums.1),
        gaps.iter().sum::<f64>() / share(gaps.len()),
    );
}

/// By how many per cent of `known` a figure is over it.
#[expect(clippy::cast_precision_loss, reason = "a figure for people")]
fn over(figure: i64, known: i64) -> f64 {
    100.0 * (figure - known) as f64 / known.max(1) as f64
}

#[expect(clippy::cast_precision_loss, reason = "a figure for people")]
fn share(count: usize) -> f64 {
    count.max(1) as f64
}

/// Of this process so far, by the kernel's hundredths.
fn cpu_seconds() -> f64 {
    let stat = std::fs::read_to_string("/proc/self/stat").unwrap_or_default();
    let behind_name = stat.rsplit_once(')').map_or("", |(_, rest)| rest);
    let fields = behind_name.split_whitespace().skip(11).take(2);
    fields
        .filter_map(|field| field.parse::<f64>().ok())
        .sum::<f64>()
        / 100.0
}
