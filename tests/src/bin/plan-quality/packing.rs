//! Packing problems: published ones of 100 items and five limits, and kits made up by seed.

use std::fs;
use std::num::NonZeroUsize;
use std::path::Path;
use std::time::Instant;

use fastrand::Rng;
use mendpost_core::resupply::pack::{PackItem, PackLimit, Packing, check, pack};

use crate::figures::{head, row};
use crate::problems::one_in;

/// So long each of the two may take.
const PUBLISHED_S: f64 = 10.0;
const KIT_S: f64 = 2.0;
/// As the command `mendpost pack` has it.
const MOST_NODES: u64 = 2_000_000;
const SEEDS: std::ops::RangeInclusive<u64> = 1..=20;
const COLUMNS: [&str; 7] = [
    "problem",
    "worth",
    "best known",
    "bound",
    "bound over worth",
    "proven",
    "seconds",
];

pub fn print(folder: &Path, every: NonZeroUsize) -> Result<(), String> {
    let published = published(&folder.join("published/knapsack/mknapcb1.txt"))?;
    let kits = SEEDS.map(|seed| (format!("kit of 60 lines, seed {seed}"), kit(seed)));
    head(&COLUMNS);
    for (name, packing) in one_in(every, published) {
        packing_row(&name, &packing, PUBLISHED_S)?;
    }
    for (name, packing) in one_in(every, kits.collect()) {
        packing_row(&name, &packing, KIT_S)?;
    }
    println!("\nPublished problems have {PUBLISHED_S} s each, kits {KIT_S} s; one thread.");
    Ok(())
}

#[expect(clippy::cast_precision_loss, reason = "a figure for people")]
fn packing_row(name: &str, packing: &Packing, seconds: f64) -> Result<(), String> {
    let begin = Instant::now();
    let packed = pack(packing, MOST_NODES, &mut || {
        begin.elapsed().as_secs_f64() >= seconds
    });
    let took = begin.elapsed().as_secs_f64();
    if let Some(fault) = check(packing, &packed).first() {
        return Err(format!("{name}: {fault}"));
    }
    let over = (packed.bound - packed.worth) as f64 / packed.worth.max(1) as f64;
    row(&[
        name.to_owned(),
        packed.worth.to_string(),
        packing
            .known
            .map_or_else(|| "-".to_owned(), |it| it.to_string()),
        packed.bound.to_string(),
        format!("{:.3} %", 100.0 * over),
        if packed.proven { "yes" } else { "no" }.to_owned(),
        format!("{took:.2}"),
    ]);
    Ok(())
}

/// The problems of a file of OR-Library's multidimensional knapsacks: how many there are, then of each the
/// number of items and of limits, the best worth known, worths, uses by limit, limits.
fn published(file: &Path) -> Result<Vec<(String, Packing)>, String> {
    let said = |error: &dyn ToString| format!("{}: {}", file.display(), error.to_string());
    let text = fs::read_to_string(file).map_err(|error| said(&error))?;
    let figures = text.split_whitespace().map(str::parse);
    let figures: Result<Vec<i64>, _> = figures.collect();
    let mut figures = figures.map_err(|error| said(&error))?.into_iter();
    let mut next = || figures.next().ok_or_else(|| said(&"ends too soon"));
    let problems = next()?;
    let mut found = Vec::new();
    for problem in 0..problems {
        let (items, limits, known) = (next()?, next()?, next()?);
        let mut list = |length: i64| (0..length).map(|_| next()).collect::<Result<Vec<_>, _>>();
        let worth = list(items)?;
        let uses = (0..limits).map(|_| list(items));
        let uses = uses.collect::<Result<Vec<_>, _>>()?;
        let packing = Packing {
            known: Some(known),
            limits: (0..).zip(list(limits)?).map(limit).collect(),
            items: worth
                .into_iter()
                .enumerate()
                .map(|(n, worth)| PackItem {
                    id: format!("i{n}"),
                    max: 1,
                    worth: vec![worth],
                    uses: (0..)
                        .zip(&uses)
                        .map(|(limit, uses)| (limit_id(limit), uses[n]))
                        .collect(),
                    must: 0,
                })
                .collect(),
            sets: Vec::new(),
            apart: Vec::new(),
        };
        found.push((format!("mknapcb1 #{problem}"), packing));
    }
    Ok(found)
}

fn limit_id(n: i64) -> String {
    format!("l{n}")
}

fn limit((n, limit): (i64, i64)) -> PackLimit {
    let id = limit_id(n);
    PackLimit { id, limit }
}

/// Sixty lines of two to six units, each unit worth less than the one before but for one line in four, whose
/// second unit is worth four times the first; five limits that hold a quarter, a third or half of all; a few
/// sets and a few lines kept apart.
fn kit(seed: u64) -> Packing {
    let mut rng = Rng::with_seed(seed);
    let items: Vec<PackItem> = (0..60).map(|n| kit_line(n, &mut rng)).collect();
    let limits = (0..5).map(|n| {
        let all: i64 = items.iter().map(|it| it.max * it.uses[&limit_id(n)]).sum();
        limit((n, all * [25, 33, 50][rng.usize(..3)] / 100))
    });
    let id = |n: i64| format!("i{n}");
    Packing {
        known: None,
        limits: limits.collect(),
        sets: [0, 10, 20, 30].map(|n| vec![id(n), id(n + 1)]).to_vec(),
        apart: [1, 12, 23, 34, 45].map(|n| (id(n), id(n + 5))).to_vec(),
        items,
    }
}

fn kit_line(n: i64, rng: &mut Rng) -> PackItem {
    let max = rng.i64(2..=6);
    let mut unit = rng.i64(20..=1000);
    let mut worth = Vec::new();
    for _ in 0..max {
        worth.push(unit);
        unit = unit * rng.i64(30..=90) / 100;
    }
    if rng.u8(..4) == 0 {
        (worth[0], worth[1]) = (worth[0] / 4, worth[0]);
    }
    PackItem {
        id: format!("i{n}"),
        max,
        worth,
        uses: (0..5).map(|it| (limit_id(it), rng.i64(1..=1000))).collect(),
        must: 0,
    }
}
