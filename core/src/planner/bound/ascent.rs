use super::chain::NEVER;
use super::dual::Dual;
use super::prices::real;
use super::scale::BITS;

/// Raises prices where jobs take more than there is, and lowers them where they take less.
///
/// A subgradient method with steps by Polyak's rule towards a value that is still to be reached: B. T.
/// Polyak, 'Minimization of unsmooth functionals', USSR Computational Mathematics and Mathematical Physics
/// 9 (1969). Whatever it finds, the values are true bounds.
pub(super) struct Ascent<'a> {
    dual: &'a Dual<'a>,
    /// By price: what it can be raised to.
    most: Vec<f64>,
    /// By price: how fast it moves; the share that it has of all there is of its kind.
    weight: Vec<f64>,
    /// By price: how much there is of what it is for, never 0.
    size: Vec<f64>,
}

/// The first step aims at a value higher by this part of what is known.
const REACH: f64 = 0.5;
/// The same, from prices that have been found by shorter steps already.
const NEAR: f64 = 0.1;
/// It aims no lower than if the value were this part of the largest loss, scaled.
const LEAST: f64 = real(1 << (BITS - 6));
/// So much of the last direction is kept.
const KEEP: f64 = 0.3;
/// After so many rounds without a gain worth having, ...
const PATIENCE: usize = 10;
/// ... which is this part of what is aimed at, ...
const GAIN: f64 = 0.05;
/// ... it aims lower, by this factor.
const LOWER: f64 = 0.7;
/// Supplies move faster than what is there minute by minute: there are few prices, and each weighs more.
const SUPPLIES: f64 = 3.0;

impl<'a> Ascent<'a> {
    pub fn new(dual: &'a Dual<'a>) -> Self {
        let (mut size, mut weight) = (Vec::new(), Vec::new());
        let there = dual.supplied(&vec![0.0; dual.layout.size]);
        for shared in 0..dual.model.shared.len() {
            let there = &there[dual.layout.shared(shared)];
            let total = there.iter().sum::<f64>().max(1.0);
            // Where there is little or nothing, a price moves no faster for that.
            let least = 0.2 * total / real(i64::try_from(there.len()).unwrap_or(1).max(1));
            size.extend(there.iter().map(|it| it.max(least).max(1.0)));
            weight.extend(there.iter().map(|it| it.max(least) / total));
        }
        for supply in 0..dual.model.supplies.len() {
            let there = &there[dual.layout.supply(dual.model, supply)];
            let total = there.iter().sum::<f64>().max(1.0);
            size.extend(there.iter().map(|_| total));
            weight.extend(there.iter().map(|it| SUPPLIES * (it / total + 0.1)));
        }
        Self {
            dual,
            most: highest(dual),
            weight,
            size,
        }
    }

    /// The best prices of so many rounds, and what is lost at least by them.
    pub fn climb(&self, from: Vec<f64>, rounds: usize) -> (Vec<f64>, i128) {
        let begun = from.iter().any(|price| *price > 0.0);
        let mut at = from.clone();
        let mut course = vec![0.0; at.len()];
        let mut best = (from, 0);
        let (mut reach, mut stuck) = (0.0, 0);
        for round in 0..rounds {
            let mut used = vec![0.0; at.len()];
            let value = self.dual.value(&whole(&at), Some(&mut used));
            if round == 0 {
                reach = number(value).max(LEAST) * if begun { NEAR } else { REACH };
            }
            stuck += 1;
            if value > best.1 || round == 0 {
                if number(value - best.1) > GAIN * reach {
                    stuck = 0;
                }
                best = (at.clone(), value);
            }
            if stuck >= PATIENCE {
                (reach, stuck) = (reach * LOWER, 0);
                at.clone_from(&best.0);
                course.fill(0.0);
                continue;
            }
            let lacking = number(best.1 - value) + reach;
            if !self.step(&mut at, &mut course, &used, lacking) {
                break;
            }
        }
        best
    }

    /// Moves prices along their course so far that the value would rise by what is lacking if it rose
    /// evenly; says no if there is nowhere to go.
    fn step(&self, at: &mut [f64], course: &mut [f64], used: &[f64], lacking: f64) -> bool {
        let there = self.dual.supplied(at);
        let mut rise = 0.0;
        for n in 0..at.len() {
            let over = (used[n] - there[n]) / self.size[n];
            let kept = KEEP * course[n] + (1.0 - KEEP) * over;
            course[n] = if at[n] <= 0.0 { kept.max(0.0) } else { kept };
            rise += self.weight[n] * course[n] * course[n];
        }
        if rise <= 0.0 {
            return false;
        }
        let length = lacking / rise;
        for n in 0..at.len() {
            let moved = at[n] + length * course[n] * self.weight[n] / self.size[n];
            at[n] = moved.clamp(0.0, self.most[n]);
        }
        true
    }
}

/// Prices as whole numbers, rounded down.
#[expect(
    clippy::cast_possible_truncation,
    reason = "prices are never above what can be counted"
)]
pub(super) fn whole(prices: &[f64]) -> Vec<i64> {
    prices.iter().map(|price| *price as i64).collect()
}

/// A value as a number to steer by.
#[expect(
    clippy::cast_precision_loss,
    reason = "only the course of the ascent depends on it"
)]
fn number(value: i128) -> f64 {
    value as f64
}

/// By price: the highest by which what one task takes of all kinds together stays countable.
fn highest(dual: &Dual) -> Vec<f64> {
    let model = dual.model;
    let tasks = model.chains.iter().flat_map(|chain| &chain.tasks);
    let ways: Vec<_> = tasks.flat_map(|task| &task.ways).collect();
    let kinds = model
        .holds
        .iter()
        .chain(ways.iter().copied())
        .map(Vec::len)
        .max()
        .unwrap_or(1);
    let top = real(NEVER / 2 / i64::try_from(kinds.max(1)).unwrap_or(1));
    let mut shared = vec![1; model.shared.len()];
    for (n, amount) in model.holds.iter().flatten() {
        shared[*n] = *amount.max(&shared[*n]);
    }
    let mut supplies = vec![1; model.supplies.len()];
    for (n, amount) in ways.into_iter().flatten() {
        supplies[*n] = *amount.max(&supplies[*n]);
    }
    let mut most = vec![0.0; dual.layout.size];
    for (n, amount) in shared.into_iter().enumerate() {
        // All minutes together, since they are summed up.
        most[dual.layout.shared(n)].fill(top / real(amount) / real(model.horizon));
    }
    for (n, amount) in supplies.into_iter().enumerate() {
        most[dual.layout.supply(model, n)].fill(top / real(amount));
    }
    most
}
