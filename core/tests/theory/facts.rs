//! Problems whose best plan is known from published theory: worked examples, and generated ones of any size
//! whose optimum follows from a theorem.
//!
//! The optimum is reckoned here without the planner: the theorem says the order, and the sum goes by it.

use std::cmp::Reverse;
use std::collections::BTreeMap;

use mendpost_core::planner::{
    Capability, Cell, Draw, Job, JobOption, Lot, Operation, Problem, ProblemSchema, Store, Window,
    Work,
};

/// A problem with the loss that no plan can be below, and that one has.
pub struct Fact {
    pub name: &'static str,
    /// Where it is published.
    pub source: &'static str,
    pub problem: Problem,
    pub optimum: i64,
}

/// A part that takes `minutes` in the only cell and `takes` of the only store, for a machine that loses
/// `weight` a minute from minute `due` on.
#[derive(Clone, Copy)]
struct Part {
    minutes: i64,
    weight: i64,
    due: i64,
    takes: i64,
}

/// The shape that is hardest for the search: what is best to begin with is worst to end with.
pub const RISING: &str = "supplies over time, p and w equal: by rising a";

/// The textbook examples, each with its sum in a comment.
pub fn worked() -> Vec<Fact> {
    vec![
        weighted_completion(),
        weighted_tardiness(),
        weighted_tardiness_of_a_course(),
        total_tardiness(),
        number_late(
            "number of late jobs, 5 jobs",
            &[7, 8, 4, 6, 6],
            &[9, 17, 18, 19, 21],
        ),
        number_late(
            "number of late jobs, 10 jobs",
            &[19, 23, 5, 31, 17, 8, 32, 41, 26, 18],
            &[48, 75, 170, 215, 205, 240, 85, 67, 100, 95],
        ),
        whole_orders(&[(&[2, 3], 3), (&[4], 5), (&[1, 1, 1], 2)], 70),
    ]
}

/// By w/p: jobs 4, 1, 3, 2, 5: 2x4 + 5x6 + 9x5 + 10x1 + 15x2 = 8 + 30 + 45 + 10 + 30 = 123.
fn weighted_completion() -> Fact {
    Fact {
        name: "weighted completion, 5 jobs",
        source: "W. E. Smith, Naval Research Logistics Quarterly 3 (1956)",
        problem: one_cell(&parts(&[3, 1, 4, 2, 5], &[6, 1, 5, 4, 2], &[0; 5]), None),
        optimum: 123,
    }
}

/// Sequence 1, 2, 4, 3: 0 + 0 + (29-27)x5 + (44-25)x3 = 67.
fn weighted_tardiness() -> Fact {
    let of = parts(&[12, 8, 15, 9], &[4, 5, 3, 5], &[16, 26, 25, 27]);
    Fact {
        name: "weighted tardiness, 4 jobs",
        source: "M. Pinedo, 'Scheduling: Theory, Algorithms, and Systems', chapter 3",
        problem: one_cell(&of, None),
        optimum: 67,
    }
}

/// Sequence 1, 3, 4, 2: (37-35)x6 + (47-40)x3 + (79-30)x2 = 12 + 21 + 98 = 131.
fn weighted_tardiness_of_a_course() -> Fact {
    let of = parts(&[12, 32, 25, 10], &[4, 2, 6, 3], &[20, 30, 35, 40]);
    Fact {
        name: "weighted tardiness, 4 jobs of a course",
        source: "course notes on scheduling, Wroclaw University of Science and Technology; sum reckoned here",
        problem: one_cell(&of, None),
        optimum: 131,
    }
}

/// Sequence 1, 2, 4, 5, 3 ends at 121, 200, 283, 413 and 560: (413-337) + (560-266) = 76 + 294 = 370.
fn total_tardiness() -> Fact {
    let due = [260, 266, 266, 336, 337];
    Fact {
        name: "total tardiness, 5 jobs",
        source: "E. L. Lawler, Annals of Discrete Mathematics 1 (1977), as in Pinedo, chapter 3",
        problem: one_cell(&parts(&[121, 79, 147, 83, 130], &[1; 5], &due), None),
        optimum: 370,
    }
}

/// The fewest late jobs: in the order of due dates, and whenever one would be late the longest so far is
/// taken out. Of the five (due 9, 17, 18, 19, 21), job 2 goes when job 3 would end at 19, and job 1 when
/// job 5 would end at 23: 2 late.
///
/// A job that may not be late has powder that is usable until its due minute. One that is left out is missing
/// from the last due minute to the horizon, twice as far: each costs as much as that minute counts.
fn number_late(name: &'static str, minutes: &[i64], due: &[i64]) -> Fact {
    let last = due.iter().copied().max().unwrap_or(0);
    let of = parts(minutes, &vec![1; due.len()], &vec![last; due.len()]);
    let mut problem = one_cell(&of, None);
    problem.horizon = 2 * last;
    problem.windows[0].to = 2 * last;
    problem.lots.clear();
    for (n, job) in problem.jobs.iter_mut().enumerate() {
        let name = format!("powder-{n}");
        if let Work::Stage { powder, .. } = &mut job.options[0].operations[0].work {
            powder.clone_from(&name);
        }
        problem.lots.push(lot(&name, due[n]));
    }
    Fact {
        name,
        source: "J. M. Moore, Management Science 15 (1968), as in Pinedo, chapter 3",
        problem,
        optimum: fewest_late(minutes, due) * last,
    }
}

/// By the rule of Moore and Hodgson.
fn fewest_late(minutes: &[i64], due: &[i64]) -> i64 {
    let mut jobs: Vec<(i64, i64)> = due.iter().copied().zip(minutes.iter().copied()).collect();
    jobs.sort_unstable();
    let mut early: Vec<i64> = Vec::new();
    for (due, minutes) in &jobs {
        early.push(*minutes);
        early.sort_unstable();
        if early.iter().sum::<i64>() > *due {
            early.pop();
        }
    }
    count(jobs.len() - early.len())
}

/// Orders of parts, each (minutes of its parts, weight), of which only the last part counts.
///
/// With one cell the parts of an order go together and the orders by weight over total minutes, as each
/// part moved back to the last one of its order delays nothing that counts (exchange as in Smith's rule).
fn whole_orders(orders: &[(&[i64], i64)], optimum: i64) -> Fact {
    let mut problem = one_cell(&[], None);
    for (order, (minutes, weight)) in orders.iter().enumerate() {
        let asset = format!("machine-{order}");
        problem.capabilities.push(capability(&asset, *weight, 0));
        for length in *minutes {
            let part = Part {
                minutes: *length,
                weight: 0,
                due: 0,
                takes: 0,
            };
            let number = problem.jobs.len();
            problem.jobs.push(job(number, &asset, part));
        }
    }
    let total = orders.iter().flat_map(|order| order.0).sum::<i64>();
    problem.horizon = total;
    problem.windows[0].to = total;
    Fact {
        name: "whole orders on one cell",
        source: "W. E. Smith (1956), on whole orders; order scheduling as in Leung, Li, Pinedo, \
                 Discrete Applied Mathematics 155 (2007), with one machine",
        problem,
        optimum,
    }
}

/// One problem of each shape with this many parts.
pub fn generated(jobs: usize, seed: u64) -> Vec<Fact> {
    let mut random = fastrand::Rng::with_seed(seed);
    vec![
        generated_orders(jobs, &mut random),
        supplied(
            "supplies over time, p and a equal: by falling w",
            jobs,
            &mut random,
            |random| Part {
                minutes: 20,
                weight: random.i64(1..100),
                due: 0,
                takes: 10,
            },
            |part| Reverse(part.weight),
        ),
        supplied(
            RISING,
            jobs,
            &mut random,
            |random| Part {
                minutes: 20,
                weight: 3,
                due: 0,
                takes: random.i64(1..50),
            },
            |part| Reverse(-part.takes),
        ),
        supplied(
            "supplies over time, a equal and w = 2 p: by falling p",
            jobs,
            &mut random,
            |random| {
                let minutes = random.i64(5..60);
                Part {
                    minutes,
                    weight: 2 * minutes,
                    due: 0,
                    takes: 10,
                }
            },
            |part| Reverse(part.minutes),
        ),
    ]
}

fn generated_orders(jobs: usize, random: &mut fastrand::Rng) -> Fact {
    let mut orders: Vec<(Vec<i64>, i64)> = Vec::new();
    let mut left = jobs;
    while left > 0 {
        let parts = random.usize(1..=5).min(left);
        left -= parts;
        let minutes = (0..parts).map(|_| random.i64(5..60)).collect();
        orders.push((minutes, random.i64(1..100)));
    }
    let mut by_rule: Vec<(i64, i64)> = orders
        .iter()
        .map(|(minutes, weight)| (minutes.iter().sum(), *weight))
        .collect();
    by_rule.sort_by(|one, other| (one.0 * other.1).cmp(&(other.0 * one.1)));
    let ends = by_rule.iter().scan(0, |clock, (minutes, weight)| {
        *clock += minutes;
        Some(*clock * weight)
    });
    let optimum = ends.sum();
    let orders: Vec<(&[i64], i64)> = orders.iter().map(|it| (&it.0[..], it.1)).collect();
    whole_orders(&orders, optimum)
}

/// Parts that draw on a store which is filled at dates in time, and the order that is best by the theorem.
///
/// A part takes of the store as it starts, after what has come by then: the paper's inventory.
fn supplied(
    name: &'static str,
    jobs: usize,
    random: &mut fastrand::Rng,
    part: impl Fn(&mut fastrand::Rng) -> Part,
    rule: impl Fn(&Part) -> Reverse<i64>,
) -> Fact {
    let parts: Vec<Part> = (0..jobs).map(|_| part(random)).collect();
    let store = supplies(&parts, random);
    let mut best = parts.clone();
    best.sort_by_key(rule);
    Fact {
        name,
        source: "P. Gyorgyi, T. Kis, Journal of Scheduling 22 (2019) 623-634, theorem 1",
        optimum: weighted_completion_of(&best, &store),
        problem: one_cell(&parts, Some(store)),
    }
}

/// A fifth of what all parts take is there, and the rest comes in six deliveries, some of them late.
fn supplies(parts: &[Part], random: &mut fastrand::Rng) -> Store {
    let minutes: i64 = parts.iter().map(|part| part.minutes).sum();
    let wanted: i64 = parts.iter().map(|part| part.takes).sum();
    let mut left = wanted - wanted / 5;
    let mut arrivals = Vec::new();
    for _ in 0..5 {
        let amount = random.i64(0..=left / 2);
        arrivals.push((random.i64(minutes / 5..=minutes * 6 / 5), amount));
        left -= amount;
    }
    arrivals.push((random.i64(minutes / 5..=minutes * 6 / 5), left));
    arrivals.sort_unstable();
    Store {
        id: "store".to_owned(),
        level: wanted / 5,
        arrivals,
    }
}

/// The sum of weight times completion if the parts go in this order, each as early as the store allows.
fn weighted_completion_of(parts: &[Part], store: &Store) -> i64 {
    let (mut clock, mut taken, mut sum) = (0, 0, 0);
    for part in parts {
        taken += part.takes;
        let mut there = store.level;
        for (minute, amount) in &store.arrivals {
            if there >= taken {
                break;
            }
            there += amount;
            clock = clock.max(*minute);
        }
        clock += part.minutes;
        sum += clock * part.weight;
    }
    sum
}

fn parts(minutes: &[i64], weights: &[i64], due: &[i64]) -> Vec<Part> {
    let of = minutes.iter().zip(weights).zip(due);
    of.map(|((minutes, weight), due)| Part {
        minutes: *minutes,
        weight: *weight,
        due: *due,
        takes: 0,
    })
    .collect()
}

/// One cell without set-up, attended throughout, with a machine for each part.
fn one_cell(parts: &[Part], store: Option<Store>) -> Problem {
    let dates = store.iter().flat_map(|store| &store.arrivals);
    let last = dates.map(|(minute, _)| *minute).max().unwrap_or(0);
    let horizon = parts.iter().map(|part| part.minutes).sum::<i64>() + last;
    let asset = |n: usize| format!("machine-{n}");
    let numbered = || parts.iter().enumerate();
    Problem {
        schema: ProblemSchema::V1,
        name: None,
        known: None,
        horizon,
        windows: vec![Window {
            from: 0,
            to: horizon,
            crew: 1,
        }],
        cells: vec![cell()],
        stations: Vec::new(),
        stores: store.into_iter().collect(),
        limits: Vec::new(),
        lots: vec![lot("powder", 10_000_000)],
        capabilities: numbered()
            .map(|(n, part)| capability(&asset(n), part.weight, part.due))
            .collect(),
        assets: BTreeMap::new(),
        jobs: numbered()
            .map(|(n, part)| job(n, &asset(n), *part))
            .collect(),
    }
}

fn cell() -> Cell {
    Cell {
        id: "cell".to_owned(),
        free_from: 0,
        powder: None,
        warm_up: 0,
        same_powder: 0,
        default_changeover: 0,
        changeover: BTreeMap::new(),
        closed: Vec::new(),
    }
}

fn lot(powder: &str, until: i64) -> Lot {
    Lot {
        id: format!("lot of {powder}"),
        powder: powder.to_owned(),
        grams: 1_000_000,
        from: 0,
        until,
    }
}

fn capability(asset: &str, weight: i64, due: i64) -> Capability {
    Capability {
        id: format!("needs {asset}"),
        from: due,
        assets: vec![asset.to_owned()],
        loss_per_hour: vec![0, weight],
    }
}

fn job(number: usize, asset: &str, part: Part) -> Job {
    let draws = match part.takes {
        0 => Vec::new(),
        takes => vec![Draw::of("store", takes, 0)],
    };
    let operation = Operation {
        work: Work::Stage {
            cells: vec!["cell".to_owned()],
            powder: "powder".to_owned(),
            grams: 1,
            one_lot: true,
        },
        minutes: part.minutes,
        crew: 1,
        after: 0,
        within: None,
        draws,
        loads: Vec::new(),
    };
    Job {
        id: format!("part-{number}"),
        asset: asset.to_owned(),
        release: 0,
        options: vec![JobOption {
            id: "spray".to_owned(),
            earliest: 0,
            debt: 0,
            operations: vec![operation],
        }],
    }
}

fn count(number: usize) -> i64 {
    i64::try_from(number).unwrap_or(i64::MAX)
}
