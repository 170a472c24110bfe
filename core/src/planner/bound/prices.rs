use std::ops::Range;

use super::grid::{Grid, index};
use super::model::{Model, Task};

/// Where the price of each thing at each time stands in a list: by what is shared and bucket of minutes, for
/// a unit and a minute; then by supply and stretch, for a unit.
#[derive(Debug)]
pub(super) struct Layout {
    bucket: i64,
    buckets: usize,
    /// By supply: where its stretches stand.
    supplies: Vec<usize>,
    pub size: usize,
}

impl Layout {
    pub fn new(model: &Model, bucket: i64) -> Self {
        let buckets = index((model.horizon + bucket - 1) / bucket);
        let mut size = buckets * model.shared.len();
        let supplies = model.supplies.iter().map(|supply| {
            let at = size;
            size += supply.cuts.len();
            at
        });
        Self {
            bucket,
            buckets,
            supplies: supplies.collect(),
            size,
        }
    }

    /// The prices of something shared, bucket by bucket.
    pub fn shared(&self, shared: usize) -> Range<usize> {
        shared * self.buckets..(shared + 1) * self.buckets
    }

    /// The prices of a supply, stretch by stretch.
    pub fn supply(&self, model: &Model, supply: usize) -> Range<usize> {
        let at = self.supplies[supply];
        at..at + model.supplies[supply].cuts.len()
    }

    /// The buckets of a stretch of minutes, each with how many of these lie in it.
    pub fn buckets(&self, from: i64, to: i64) -> impl Iterator<Item = (usize, i64)> {
        let (first, last) = (from.max(0) / self.bucket, (to - 1) / self.bucket);
        (first..=last).map(move |n| {
            let begin = from.max(n * self.bucket);
            (index(n), to.min((n + 1) * self.bucket) - begin)
        })
    }

    /// The same prices where buckets are so many times longer or, here, shorter.
    pub fn finer(&self, model: &Model, coarse: &Self, prices: &[f64]) -> Vec<f64> {
        let mut finer = Vec::with_capacity(self.size);
        for shared in 0..model.shared.len() {
            let list = &prices[coarse.shared(shared)];
            let of = |n: usize| {
                let minute = i64::try_from(n).unwrap_or(0) * self.bucket;
                list.get(index(minute / coarse.bucket))
                    .copied()
                    .unwrap_or(0.0)
            };
            finer.extend((0..self.buckets).map(of));
        }
        finer.extend_from_slice(&prices[model.shared.len() * coarse.buckets..]);
        finer
    }
}

/// Prices summed up over a grid.
#[derive(Debug)]
pub(super) struct PriceLists<'a> {
    model: &'a Model,
    layout: &'a Layout,
    prices: &'a [i64],
    pub unit: i64,
    pub holds: Vec<PriceList>,
    /// By supply and cell of the grid: the least price within.
    supplies: Vec<Vec<i64>>,
    /// Cells in which another price of some supply holds than in the one before.
    changes: Vec<usize>,
}

/// By cell of the grid: what the minutes before it cost, what a minute in it does, and whether that is
/// another price than in the cell before.
#[derive(Debug)]
pub(super) struct PriceList(Vec<(i64, i64, bool)>);

/// A stretch of minutes seen from a step of the grid: how many steps, and minutes more, lie between the
/// step and its begin and its end.
#[derive(Debug, Clone, Copy)]
pub(super) struct Stretch {
    pub begin: (isize, i64),
    pub end: (isize, i64),
}

impl PriceList {
    /// What the minutes before a step cost.
    pub fn before(&self, step: usize) -> i64 {
        self.0[step].0
    }

    #[inline]
    pub fn of(&self, stretch: Stretch, step: usize) -> i64 {
        self.until(stretch.end, step) - self.until(stretch.begin, step)
    }

    /// What the minutes up to one cost; before minute 0, nothing.
    #[inline]
    fn until(&self, (steps, minutes): (isize, i64), step: usize) -> i64 {
        let cell = self.0.get(step.wrapping_add_signed(steps));
        cell.map_or(0, |(before, minute, _)| before + minutes * minute)
    }

    /// From a step on: what a stretch costs, and whether the price may change in it while its end moves on
    /// to that step from the one before.
    #[inline]
    pub fn each(&self, stretch: Stretch, step: usize) -> impl Iterator<Item = (i64, bool)> {
        let from = |steps| self.0[step.saturating_add_signed(steps)..].iter();
        let (ends, begins) = (from(stretch.end.0), from(stretch.begin.0));
        ends.zip(begins).map(move |(end, begin)| {
            let until_end = end.0 + stretch.end.1 * end.1;
            let until_begin = begin.0 + stretch.begin.1 * begin.1;
            (until_end - until_begin, end.2 || begin.2)
        })
    }
}

impl<'a> PriceLists<'a> {
    pub fn new(model: &'a Model, layout: &'a Layout, prices: &'a [i64], grid: Grid) -> Self {
        let mut lists = Self {
            model,
            layout,
            prices,
            unit: grid.unit,
            holds: Vec::new(),
            supplies: Vec::new(),
            changes: vec![0],
        };
        let holds = model.holds.iter().map(|hold| lists.hold(grid, hold));
        lists.holds = holds.collect();
        for supply in 0..model.supplies.len() {
            let cells = lists.supply(grid, supply);
            lists.supplies.push(cells);
        }
        lists.changes.sort_unstable();
        lists.changes.dedup();
        lists
    }

    fn hold(&self, grid: Grid, hold: &[(usize, i64)]) -> PriceList {
        let (mut before, mut price) = (0, 0);
        let cells = (0..=grid.last).map(|cell| {
            let of = |(shared, amount): &(usize, i64)| {
                amount * self.prices[self.layout.shared(*shared)][cell / grid.steps_per_price]
            };
            let open = cell < grid.last;
            let minute: i64 = if open { hold.iter().map(of).sum() } else { 0 };
            let here = (before, minute, minute != price);
            before += minute * grid.unit;
            price = minute;
            here
        });
        PriceList(cells.collect())
    }

    fn supply(&mut self, grid: Grid, supply: usize) -> Vec<i64> {
        let prices = &self.prices[self.layout.supply(self.model, supply)];
        let mut cells = vec![i64::MAX; grid.last + 1];
        let cuts = &self.model.supplies[supply].cuts;
        let ends = cuts.iter().skip(1).copied().chain([i64::MAX]);
        for ((from, to), price) in cuts.iter().zip(ends).zip(prices) {
            let first = index(from / grid.unit).min(grid.last);
            let last = index((to - 1) / grid.unit).min(grid.last);
            for here in &mut cells[first..=last] {
                *here = (*here).min(*price);
            }
            // In its first cell another price may hold too, and the next one counts both.
            let changes = [first, first + 1, first + 2, last + 1];
            self.changes
                .extend(changes.iter().filter(|cell| **cell <= grid.last));
        }
        cells
    }

    /// By cell in which a task may start, or in the one before if `two`: the least price of what it takes.
    pub fn feed(&self, task: &Task, two: bool, fed: &mut [i64]) {
        let ends = self.changes.iter().skip(1).copied().chain([fed.len()]);
        for (first, end) in self.changes.iter().zip(ends) {
            let before = first.saturating_sub(usize::from(two));
            let price = |way: &Vec<(usize, i64)>| -> i64 {
                let of = |(supply, amount): &(usize, i64)| {
                    let list = &self.supplies[*supply];
                    amount * list[*first].min(list[before])
                };
                way.iter().map(of).sum()
            };
            fed[*first..end].fill(task.ways.iter().map(price).min().unwrap_or(0));
        }
    }

    /// What a task that starts at a minute takes for the least price, each with its place in the list.
    pub fn cheapest_way(&self, task: &Task, minute: i64) -> impl Iterator<Item = (usize, i64)> {
        let place = move |(supply, amount): &(usize, i64)| {
            let stretch = self.model.supplies[*supply].stretch_of(minute);
            (self.layout.supplies[*supply] + stretch, *amount)
        };
        let price = move |way: &&Vec<(usize, i64)>| -> i64 {
            let places = way.iter().map(place);
            places.map(|(at, amount)| amount * self.prices[at]).sum()
        };
        let way = task.ways.iter().min_by_key(price);
        way.into_iter().flatten().map(place)
    }

    /// Adds what is held from one minute to another to a list that is laid out as the prices are.
    pub fn add_held(&self, hold: usize, (from, to): (i64, i64), used: &mut [f64]) {
        for (bucket, minutes) in self.layout.buckets(from, to) {
            for (shared, amount) in &self.model.holds[hold] {
                used[self.layout.shared(*shared).start + bucket] += real(amount * minutes);
            }
        }
    }
}

/// A count as a number to steer by; never for what must be exact.
#[expect(
    clippy::cast_precision_loss,
    reason = "only the course of the ascent depends on it"
)]
pub(super) const fn real(count: i64) -> f64 {
    count as f64
}
