//! More of something, put into a planning problem.

use crate::code::{BankCode, PowderCode};
use crate::lineup::bank_store;
use crate::lineup::hold::counts;
use crate::lineup::qualified::ABLE;
use crate::lineup::supply::{FUEL, FULL_BOTTLE_MBAR, content_g, stores};
use crate::planner::{self, Draw, Problem};
use crate::situation::{Bank, Situation};

/// More of something than the site has.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum More {
    /// A lot of its own, released and fresh.
    Powder {
        /// What.
        powder: PowderCode,
        /// How much, in grams.
        grams: i64,
    },
    /// Full bottles that stand open together with those of a bank. What must be left in the bank then
    /// grows with its bottles.
    Gas {
        /// Which bank.
        bank: BankCode,
        /// How many bottles.
        bottles: i64,
    },
    /// Fuel, of which steady use takes first what it lacks.
    Fuel {
        /// How much, in millilitres.
        ml: i64,
    },
    /// The crew of the attended period that ends next stays longer, at most until the next one.
    Duty {
        /// By how many minutes.
        minutes: i64,
    },
}

/// The problem with all these, at hand from that minute on; duty is longer whatever the minute.
///
/// A bank that gets bottles later must keep more from the begin, so that their worth is not overstated.
pub(super) fn with(situation: &Situation, problem: &Problem, more: &[More], from: i64) -> Problem {
    let mut given = problem.clone();
    for (n, more) in more.iter().enumerate() {
        match more {
            More::Powder { powder, grams } => {
                given.lots.push(planner::Lot {
                    id: format!("one-more/{n}"),
                    powder: powder.to_string(),
                    grams: *grams,
                    from: from.max(0),
                    until: given.horizon,
                });
                put(&mut given, |id| counts(id, powder.as_str()), *grams, from);
            }
            More::Gas { bank, bottles } => {
                let mut banks = situation.banks.iter();
                if let Some(stand) = banks.find(|b| b.code == *bank) {
                    join(&mut given, stand, *bottles, from);
                }
            }
            More::Fuel { ml } => {
                let ml = if from > 0 { *ml } else { free(situation, *ml) };
                put(&mut given, |id| id == FUEL, ml, from);
            }
            More::Duty { minutes } => stay_on(&mut given, *minutes),
        }
    }
    given
}

/// Of so much more fuel on hand, what is left when steady use has its share.
fn free(situation: &Situation, ml: i64) -> i64 {
    let level = |situation: &Situation| {
        let stores = stores(situation);
        let fuel = stores.iter().find(|store| store.id == FUEL);
        fuel.map_or(0, |store| store.level)
    };
    let mut richer = situation.clone();
    richer.fuel.on_hand_ml += ml;
    level(&richer) - level(situation)
}

fn put(problem: &mut Problem, into: impl Fn(&str) -> bool, amount: i64, from: i64) {
    for store in problem.stores.iter_mut().filter(|store| into(&store.id)) {
        if from > 0 {
            store.arrivals.push((from, amount));
            store.arrivals.sort_unstable();
        } else {
            store.level += amount;
        }
    }
}

/// Puts full bottles beside those of a bank. Each must keep what one of the others keeps; from more bottles
/// a build takes less of each, so that this is rather too much.
fn join(problem: &mut Problem, stand: &Bank, bottles: i64, from: i64) {
    let full = Bank {
        bottles,
        pressure_mbar: FULL_BOTTLE_MBAR,
        ..stand.clone()
    };
    let id = bank_store(&stand.code);
    put(problem, |store| store == id, content_g(&full), from);
    let (before, after) = (stand.bottles.max(1), stand.bottles.max(1) + bottles);
    let options = problem.jobs.iter_mut().flat_map(|job| &mut job.options);
    let operations = options.flat_map(|option| &mut option.operations);
    for draw in operations.flat_map(|operation| &mut operation.draws) {
        let choices = match draw {
            Draw::Of(of) => std::slice::from_mut(of),
            Draw::AnyOf(choices) => choices.as_mut_slice(),
        };
        for choice in choices.iter_mut().filter(|choice| choice.store == id) {
            choice.floor = (choice.floor * after + before - 1).div_euclid(before);
        }
    }
}

/// The minute at which the attended period ends that ends first: until then longer duty is worth nothing. None
/// if somebody is on duty throughout, or nobody ever is.
#[must_use]
pub fn duty_ends(problem: &Problem) -> Option<i64> {
    let last = last_of_first_period(problem)?;
    Some(problem.windows[last].to)
}

fn last_of_first_period(problem: &Problem) -> Option<usize> {
    let ends = |n: &usize| next_duty(problem, *n) != problem.windows[*n].to;
    (0..problem.windows.len()).find(ends)
}

/// When duty goes on after a window, at the end of the plan at the latest.
fn next_duty(problem: &Problem, window: usize) -> i64 {
    let next = problem.windows.get(window + 1);
    next.map_or(problem.horizon, |next| next.from)
}

fn stay_on(problem: &mut Problem, minutes: i64) {
    let Some(last) = last_of_first_period(problem) else {
        return;
    };
    let (to, longest) = (problem.windows[last].to, next_duty(problem, last));
    let longer = longest.min(to + minutes);
    problem.windows[last].to = longer;
    let limits = problem.limits.iter_mut().filter(|l| l.id.starts_with(ABLE));
    for able in limits.flat_map(|limit| &mut limit.windows) {
        if able.1 == to {
            able.1 = longer;
        }
    }
}
