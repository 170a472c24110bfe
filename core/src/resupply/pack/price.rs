//! Prices on the limits, and what can be worth at most at them (Lagrangian relaxation; Fisher 1981,
//! Management Science 27:1-18, from memory).
//!
//! At given prices, no lower than 0, each block can be packed for itself: what it is worth less what it takes
//! at the prices. The sum over all blocks and the limits themselves at their prices is no less than any
//! packing is worth.

use super::model::{Model, Span};
use std::ops::AddAssign;

/// Prices of the limits, and what the search reckons with.
pub(super) struct Pricer<'a> {
    model: &'a Model,
    /// What one unit of a line takes of each limit, as a share of it; line by line.
    shares: Vec<f64>,
    worth: Vec<Vec<f64>>,
}

/// What prices say of a span.
pub(super) struct Priced<'a> {
    whole: Whole<'a>,
    total: i128,
    /// Nothing in the span is worth more.
    pub bound: i64,
    /// What each block would take at the prices.
    pub take: Vec<u32>,
}

/// How much the number of units of each line went to and fro while prices were settled.
pub(super) struct Swing {
    mean: Vec<f64>,
    square: Vec<f64>,
}

impl Swing {
    /// Mean and variance of a line's units.
    pub fn of(&self, line: usize) -> (f64, f64) {
        let mean = self.mean[line];
        (mean, self.square[line] - mean * mean)
    }

    /// The newest count for a fifth, so that the last ones count most (the mean of a volume algorithm;
    /// Barahona and Anbil 2000, Mathematical Programming 87:385-399, from memory).
    fn add(&mut self, line: usize, units: u32, first: bool) {
        let (units, share) = (f64::from(units), if first { 1.0 } else { 0.2 });
        self.mean[line] += share * (units - self.mean[line]);
        self.square[line] += share * (units * units - self.square[line]);
    }
}

impl<'a> Pricer<'a> {
    pub fn new(model: &'a Model) -> Pricer<'a> {
        let share = |uses: i64, limit: i64| match limit {
            // Whatever takes of such a limit is never taken.
            ..=0 => 0.0,
            limit => uses as f64 / limit as f64,
        };
        let shares = model.lines.iter().flat_map(|line| {
            let each = line.uses.iter().zip(&model.limits);
            each.map(|(uses, limit)| share(*uses, *limit))
        });
        let worth = |worth: &[i64]| worth.iter().map(|it| *it as f64).collect();
        Pricer {
            model,
            shares: shares.collect(),
            worth: model.lines.iter().map(|it| worth(&it.worth)).collect(),
        }
    }

    fn limits(&self) -> usize {
        self.model.limits.len()
    }

    pub fn shares(&self, line: usize) -> &[f64] {
        &self.shares[line * self.limits()..][..self.limits()]
    }

    /// What one unit of a line takes at the prices.
    pub fn cost(&self, line: usize, prices: &[f64]) -> f64 {
        let each = self.shares(line).iter().zip(prices);
        each.map(|(share, price)| share * price).sum()
    }

    /// Moves the prices towards those that bound best, in so many rounds, or until the bound is below
    /// `enough`.
    ///
    /// Deflected subgradients with Polyak's step towards `enough` (Camerini, Fratta and Maffioli 1975, from
    /// memory).
    pub fn settle(&self, span: &Span, prices: &mut [f64], enough: f64, rounds: usize) -> Swing {
        let view = View::of(self, span);
        let mut take = span.least.clone();
        let none = vec![0.0; take.len()];
        let mut swing = Swing {
            mean: none.clone(),
            square: none,
        };
        let mut direction = vec![0.0; self.limits()];
        let (mut at, mut best) = (prices.to_vec(), f64::INFINITY);
        let (mut stride, mut failed) = (1.0, 0);
        for round in 0..rounds {
            let reached = view.value(&at, &mut take);
            for line in &view.lines {
                swing.add(*line, take[*line], round == 0);
            }
            if reached < best {
                (best, failed) = (reached, 0);
                prices.copy_from_slice(&at);
            } else {
                failed += 1;
                if failed == 3 {
                    (stride, failed) = (stride / 2.0, 0);
                }
            }
            if best < enough {
                break;
            }
            let slope = view.slope(&take);
            if !deflect(&mut direction, &slope, &at) {
                break;
            }
            let length: f64 = direction.iter().map(|it| it * it).sum();
            let step = stride * (reached - enough).max(1e-9 * reached.abs()) / length;
            for (price, direction) in at.iter_mut().zip(&direction) {
                *price = (*price - step * direction).max(0.0);
            }
        }
        swing
    }

    /// The bound at the prices, in whole numbers.
    pub fn bound(&self, span: &Span, prices: &[f64]) -> Priced<'a> {
        let whole = Whole::of(self.model, prices);
        let mut take = span.least.clone();
        let total = whole.total(span, &mut take);
        Priced {
            bound: whole.down(total),
            take,
            whole,
            total,
        }
    }
}

impl Priced<'_> {
    /// Takes out of the span that was priced what can't be worth `wanted` or more.
    pub fn tighten(&self, span: &mut Span, wanted: i64) {
        let spare = self.total - (i128::from(wanted) << self.whole.shift);
        for block in &self.whole.model.blocks {
            let lines = block.iter().flat_map(|it| &self.whole.model.groups[*it]);
            let mut lines = lines.map(|line| span.least[*line] == span.most[*line]);
            if !lines.all(|decided| decided) {
                self.whole.tighten(span, block, spare);
            }
        }
    }
}

/// Turns the slope away from where the last direction led; false at a point where nothing leads on.
fn deflect(direction: &mut [f64], slope: &[f64], at: &[f64]) -> bool {
    let dot: f64 = direction.iter().zip(slope).map(|(d, s)| d * s).sum();
    let length: f64 = direction.iter().map(|it| it * it).sum();
    let keep = if dot < 0.0 { -1.5 * dot / length } else { 0.0 };
    for ((direction, slope), price) in direction.iter_mut().zip(slope).zip(at) {
        *direction = slope + keep * *direction;
        if *price <= 0.0 && *direction > 0.0 {
            *direction = 0.0;
        }
    }
    direction.iter().any(|it| it.abs() > 1e-12)
}

/// What is open in a span, with what is decided added up.
struct View<'a> {
    pricer: &'a Pricer<'a>,
    span: &'a Span,
    blocks: Vec<&'a [usize]>,
    lines: Vec<usize>,
    decided: f64,
    /// What is left of each limit, as a share of it.
    left: Vec<f64>,
}

impl<'a> View<'a> {
    fn of(pricer: &'a Pricer<'a>, span: &'a Span) -> View<'a> {
        let mut view = View {
            pricer,
            span,
            blocks: Vec::new(),
            lines: Vec::new(),
            decided: 0.0,
            left: vec![1.0; pricer.limits()],
        };
        let model = pricer.model;
        for block in &model.blocks {
            let lines = || block.iter().flat_map(|group| &model.groups[*group]);
            if lines().all(|line| span.least[*line] == span.most[*line]) {
                lines().for_each(|line| view.decide(*line));
            } else {
                view.blocks.push(block);
                view.lines.extend(lines());
            }
        }
        view
    }

    fn decide(&mut self, line: usize) {
        let units = self.span.least[line];
        self.decided += self.pricer.worth[line][units as usize];
        for (left, share) in self.left.iter_mut().zip(self.pricer.shares(line)) {
            *left -= f64::from(units) * share;
        }
    }

    fn value(&self, prices: &[f64], take: &mut [u32]) -> f64 {
        let each = self.left.iter().zip(prices);
        let mut sum = self.decided + each.map(|(left, price)| left * price).sum::<f64>();
        let cost = |line| self.pricer.cost(line, prices);
        let worth = |line: usize, units, cost| {
            self.pricer.worth[line][units as usize] - f64::from(units) * cost
        };
        for block in &self.blocks {
            sum += best_of(self.pricer.model, self.span, block, cost, worth, take);
        }
        sum
    }

    fn slope(&self, take: &[u32]) -> Vec<f64> {
        let mut slope = self.left.clone();
        for line in self.lines.iter().filter(|line| take[**line] > 0) {
            for (left, share) in slope.iter_mut().zip(self.pricer.shares(*line)) {
                *left -= f64::from(take[*line]) * share;
            }
        }
        slope
    }
}

/// The best that a block reaches for itself, with what it takes for that.
fn best_of<T: Copy + PartialOrd + AddAssign + Default>(
    model: &Model,
    span: &Span,
    block: &[usize],
    cost: impl Fn(usize) -> T,
    worth: impl Fn(usize, u32, T) -> T,
    take: &mut [u32],
) -> T {
    let mut best = T::default();
    let mut taken: &[usize] = &[];
    for lines in block.iter().map(|group| &model.groups[*group]) {
        lines.iter().for_each(|line| take[*line] = 0);
        if span.most[lines[0]] == 0 {
            continue;
        }
        let mut sum = T::default();
        for line in lines {
            let (units, line_best) = best_units(span, *line, cost(*line), &worth);
            take[*line] = units;
            sum += line_best;
        }
        let beaten = if span.least[lines[0]] > 0 || sum > best {
            best = sum;
            std::mem::replace(&mut taken, lines)
        } else {
            lines
        };
        beaten.iter().for_each(|line| take[*line] = 0);
    }
    best
}

/// The best number of units of a line that is taken at all.
fn best_units<T: Copy + PartialOrd>(
    span: &Span,
    line: usize,
    cost: T,
    worth: &impl Fn(usize, u32, T) -> T,
) -> (u32, T) {
    let from = span.least[line].max(1);
    let mut best = (from, worth(line, from, cost));
    for units in from + 1..=span.most[line] {
        let reached = worth(line, units, cost);
        if reached > best.1 {
            best = (units, reached);
        }
    }
    best
}

/// Prices as whole numbers, in parts of a worth of 1.
struct Whole<'a> {
    model: &'a Model,
    /// A worth of 1 is two to the power of this.
    shift: u32,
    /// What one unit of each limit costs.
    prices: Vec<i128>,
    /// What one unit of each line costs.
    costs: Vec<i128>,
}

impl<'a> Whole<'a> {
    /// As fine as it goes: a price stays below 2^60 and a share of 1 within 2^60, so that amounts up to 2^50
    /// and worths up to 2^62 times as many fit.
    fn of(model: &'a Model, prices: &[f64]) -> Whole<'a> {
        let each = prices.iter().zip(&model.limits);
        let prices: Vec<f64> = each
            .map(|(it, limit)| it / (*limit).max(1) as f64)
            .collect();
        let most = prices.iter().copied().fold(0.0, f64::max);
        let mut shift = 60;
        while shift > 0 && most * 2f64.powi(shift) >= 2f64.powi(60) {
            shift -= 1;
        }
        #[expect(clippy::cast_possible_truncation, reason = "a float cast saturates")]
        let whole = |price: f64| (price * 2f64.powi(shift)).min(2f64.powi(60)) as i128;
        let prices = prices.into_iter().map(whole);
        let prices: Vec<i128> = prices.collect();
        let cost = |uses: &[i64]| {
            let each = uses.iter().zip(&prices);
            each.map(|(uses, price)| i128::from(*uses) * price).sum()
        };
        Whole {
            model,
            shift: shift.unsigned_abs(),
            costs: model.lines.iter().map(|it| cost(&it.uses)).collect(),
            prices,
        }
    }

    fn worth(&self, line: usize, units: u32, cost: i128) -> i128 {
        (i128::from(self.model.lines[line].worth[units as usize]) << self.shift)
            - i128::from(units) * cost
    }

    fn total(&self, span: &Span, take: &mut [u32]) -> i128 {
        let each = self.prices.iter().zip(&self.model.limits);
        let limits: i128 = each.map(|(price, limit)| price * i128::from(*limit)).sum();
        let blocks = self.model.blocks.iter().map(|block| {
            let cost = |line: usize| self.costs[line];
            let worth = |line, units, cost| self.worth(line, units, cost);
            best_of(self.model, span, block, cost, worth, take)
        });
        limits + blocks.sum::<i128>()
    }

    /// The next whole worth down: a worth is a whole number.
    fn down(&self, total: i128) -> i64 {
        let bound = total >> self.shift;
        i64::try_from(bound).unwrap_or(i64::MAX)
    }

    /// Takes out what is more than `spare` below the best of the block.
    fn tighten(&self, span: &mut Span, block: &[usize], spare: i128) {
        let of = |line: usize, units: u32| self.worth(line, units, self.costs[line]);
        let worth = |line, units, cost| self.worth(line, units, cost);
        let best_line = |span: &Span, line| best_units(span, line, self.costs[line], &worth).1;
        let lines_of = |group: &usize| &self.model.groups[*group];
        let open = block.iter().map(lines_of);
        let open: Vec<&Vec<usize>> = open.filter(|lines| span.most[lines[0]] > 0).collect();
        let each = open.iter().map(|lines| {
            let lines = lines.iter().map(|line| best_line(span, *line));
            lines.sum::<i128>()
        });
        let sums: Vec<i128> = each.collect();
        let forced = open.iter().any(|lines| span.least[lines[0]] > 0);
        let top = sums.iter().copied().max().unwrap_or(0);
        let best = if forced { top } else { top.max(0) };
        for (n, lines) in open.iter().enumerate() {
            let others = sums.iter().enumerate().filter(|(k, _)| *k != n);
            let without = others.map(|(_, sum)| *sum).max().unwrap_or(0).max(0);
            let must = span.least[lines[0]] > 0 || best - without > spare;
            for line in *lines {
                // What is lost by so many units, beside the best that the others of the group reach.
                let top = best_line(span, *line);
                let lost = |units| best - (sums[n] - top + of(*line, units));
                while span.most[*line] > span.least[*line] && lost(span.most[*line]) > spare {
                    span.most[*line] -= 1;
                }
                if !must {
                    continue;
                }
                span.least[*line] = span.least[*line].max(1);
                while span.least[*line] < span.most[*line] && lost(span.least[*line]) > spare {
                    span.least[*line] += 1;
                }
            }
        }
    }
}
