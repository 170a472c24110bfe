use std::ops::Range;

use super::chain::NEVER;
use super::dual::{Dual, Span};
use super::prices::real;
use super::scale::BITS;

/// Raises prices where jobs take more than there is, and lowers them where they take less.
///
/// A subgradient method with steps by Polyak's rule towards a value that is still to be reached: B. T.
/// Polyak, 'Minimization of unsmooth functionals', USSR Computational Mathematics and Mathematical Physics
/// 9 (1969). Whatever it finds, the values are true bounds.
///
/// It moves *parts* that prices are the sum of: each price has one of its own, and those of all stretches of
/// a supply have one in common, since what is dear in one stretch alone is taken in another.
pub(super) struct Ascent<'a> {
    dual: &'a Dual<'a>,
    /// The prices that have a part in common: those of each supply.
    common: Vec<Range<usize>>,
    /// By part: what it can be raised to.
    most: Vec<f64>,
    /// By part: how fast it moves; for a minute, its share of all there is of its kind.
    weight: Vec<f64>,
    /// By part: how much there is of what it is for, never 0.
    size: Vec<f64>,
}

/// What an ascent came to.
pub(super) struct Summit {
    pub prices: Vec<f64>,
    pub value: i128,
    /// The asset on whose return it depends most, and a minute before and behind which it was by turns.
    pub doubt: Option<(usize, i64)>,
}

/// The first step aims at a value higher by this part of what is known.
const REACH: f64 = 0.5;
/// The same, from prices that have been found by shorter steps already.
const NEAR: f64 = 0.05;
/// It aims no lower than if the value were this part of the largest loss, scaled.
const LEAST: f64 = real(1 << (BITS - 6));
/// So much of the last direction is kept.
const KEEP: f64 = 0.3;
/// A gain of this part of what is aimed at is worth having; ...
const GAIN: f64 = 0.05;
/// ... after so many rounds without one, ...
const PATIENCE: usize = 10;
/// ... or with a value below the best by so many times what is aimed at, ...
const ASTRAY: f64 = 4.0;
/// ... it goes back to the best and aims lower, by this factor.
const LOWER: f64 = 0.6;
/// After a gain of this part of what is aimed at, ...
const WELL: f64 = 0.5;
/// ... it aims higher, by this factor.
const HIGHER: f64 = 1.5;

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
            let pace = dual.model.supplies[supply].pace;
            weight.extend(there.iter().map(|it| pace * (it / total + 0.1)));
        }
        let mut most = highest(dual);
        let supplies = (0..dual.model.supplies.len()).map(|n| dual.layout.supply(dual.model, n));
        let common: Vec<_> = supplies.collect();
        for (supply, set) in common.iter().enumerate() {
            size.push(there[set.clone()].iter().sum::<f64>().max(1.0));
            weight.push(dual.model.supplies[supply].pace);
            most.push(most[set.start]);
        }
        // A price has two parts at the most.
        most.iter_mut().for_each(|most| *most /= 2.0);
        Self {
            dual,
            common,
            most,
            weight,
            size,
        }
    }

    /// The best prices of so many rounds, each asset back within its span, and what is lost at least.
    pub fn climb(&self, from: Vec<f64>, spans: &[Span], rounds: usize) -> Summit {
        let begun = from.iter().any(|price| *price > 0.0);
        let mut at = self.parts_of(&from);
        let mut course = vec![0.0; at.len()];
        let (mut best, mut prices) = (0, from);
        let mut best_at = at.clone();
        let mut backs = Vec::new();
        let (mut reach, mut stuck) = (0.0, 0);
        for round in 0..rounds {
            let asked = self.prices_of(&at);
            let (value, taken) = self.dual.taken(&whole(&asked), spans);
            backs.push(taken.back);
            if round == 0 {
                reach = number(value).max(LEAST) * if begun { NEAR } else { REACH };
            }
            stuck += 1;
            if value > best || round == 0 {
                let gain = number(value - best) / reach;
                if gain > GAIN {
                    stuck = 0;
                }
                if gain > WELL && round > 0 {
                    reach *= HIGHER;
                }
                (best, prices) = (value, asked);
                best_at.clone_from(&at);
            }
            if stuck >= PATIENCE || number(best - value) > ASTRAY * reach {
                (reach, stuck) = (reach * LOWER, 0);
                at.clone_from(&best_at);
                course.fill(0.0);
                continue;
            }
            let lacking = number(best - value) + reach;
            if !self.step(&mut at, &mut course, &taken.used, lacking) {
                break;
            }
        }
        Summit {
            prices,
            value: best,
            doubt: self
                .doubt(&backs)
                .or_else(|| self.guess(backs.last()?, spans)),
        }
    }

    /// Moves parts along their course so far that the value would rise by what is lacking if it rose evenly;
    /// says no if there is nowhere to go.
    fn step(&self, at: &mut [f64], course: &mut [f64], used: &[f64], lacking: f64) -> bool {
        let there = self.with_sums(self.dual.supplied(&self.prices_of(at)));
        let used = self.with_sums(used.to_vec());
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

    fn prices_of(&self, parts: &[f64]) -> Vec<f64> {
        let (own, common) = parts.split_at(self.dual.layout.size);
        let mut prices = own.to_vec();
        for (set, part) in self.common.iter().zip(common) {
            prices[set.clone()]
                .iter_mut()
                .for_each(|price| *price += part);
        }
        prices
    }

    /// Parts that prices are the sum of, as much as possible of each in common.
    fn parts_of(&self, prices: &[f64]) -> Vec<f64> {
        let (mut own, mut common) = (prices.to_vec(), Vec::new());
        for set in &self.common {
            let part = own[set.clone()].iter().copied().fold(f64::MAX, f64::min);
            own[set.clone()].iter_mut().for_each(|price| *price -= part);
            common.push(part);
        }
        own.extend(common);
        own
    }

    /// Amounts by price, and behind them the sum of each set that has a part in common.
    fn with_sums(&self, mut amounts: Vec<f64>) -> Vec<f64> {
        for set in &self.common {
            let sum = amounts[set.clone()].iter().sum();
            amounts.push(sum);
        }
        amounts
    }

    /// Where nothing differs: the asset that could lose most between when it is back and when it could be.
    fn guess(&self, back: &[i64], spans: &[Span]) -> Option<(usize, i64)> {
        let of_asset = self.dual.rates().map(|(asset, rate)| {
            let (from, by) = (back[asset], spans[asset].1);
            (real(by - from) * rate, asset, from + (by - from) / 2)
        });
        let most = of_asset.max_by(|one, other| one.0.total_cmp(&other.0))?;
        let (behind, by) = spans[most.1];
        (behind < most.2 && most.2 < by).then_some((most.1, most.2))
    }

    /// The asset whose times back differ most over the later rounds, by what it loses meanwhile.
    fn doubt(&self, rounds: &[Vec<i64>]) -> Option<(usize, i64)> {
        let rounds = &rounds[rounds.len() / 3..];
        let count = i64::try_from(rounds.len())
            .ok()
            .filter(|count| *count > 1)?;
        let of_asset = self.dual.rates().map(|(asset, rate)| {
            let mean = rounds.iter().map(|back| back[asset]).sum::<i64>() / count;
            let apart: i64 = rounds.iter().map(|back| (back[asset] - mean).abs()).sum();
            (real(apart) * rate, asset, mean)
        });
        let most = of_asset.max_by(|one, other| one.0.total_cmp(&other.0))?;
        let minute = self
            .dual
            .grid()
            .end_of(most.2)
            .min(self.dual.model.horizon - 1);
        (most.0 > 0.0).then_some((most.1, minute))
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
    let kinds = model.holds.iter().chain(ways.iter().copied()).map(Vec::len);
    let kinds = i64::try_from(kinds.max().unwrap_or(1).max(1)).unwrap_or(1);
    let top = real(NEVER / 2 / kinds);
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
