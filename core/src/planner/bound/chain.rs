use std::ops::Range;

use super::grid::{Grid, index};
use super::model::{Chain, Model, Task};
use super::prices::{PriceLists, Stretch, real};

/// More than anything costs, so that sums of a few stay countable.
pub(super) const NEVER: i64 = 1 << 56;

/// The chains of a model laid out over a grid.
///
/// The ends of each task fall on steps of their own: those of the grid, moved by its *phase*, so that a
/// task done right behind the one before it loses nothing to rounding.
#[derive(Debug)]
pub(super) struct Laid {
    pub grid: Grid,
    chains: Vec<LaidChain>,
    /// Entries of all tables.
    size: usize,
}

#[derive(Debug)]
struct LaidChain {
    /// The step at which it is ready, and how many minutes later.
    ready: i64,
    debt: i64,
    tasks: Vec<LaidTask>,
    /// Where its tables begin.
    at: usize,
}

#[derive(Debug)]
struct LaidTask {
    /// So many steps lie between an end of the task before and the end that it allows.
    steps: usize,
    /// Its ends come so many minutes behind a step's.
    phase: i64,
    /// A start lies in the cell of the grid so many steps before the end's...
    start_back: isize,
    /// ... and, since its step may reach back, in the one before too.
    start_two: bool,
    minutes: i64,
    places: Vec<LaidPlace>,
}

#[derive(Debug)]
struct LaidPlace {
    hold: usize,
    set_up: i64,
    /// The steps at which it can end.
    ends: Vec<(usize, usize)>,
    from_end: Stretch,
    from_step: Stretch,
    to_step: Stretch,
}

impl Laid {
    pub fn new(model: &Model, grid: Grid) -> Self {
        let mut size = 0;
        let chains = model.chains.iter().map(|chain| {
            let at = size;
            size += (grid.last + 1) * (chain.tasks.len() + 1);
            LaidChain::new(chain, grid, at)
        });
        Self {
            grid,
            chains: chains.collect(),
            size,
        }
    }

    /// Roughly how much work one evaluation is.
    pub fn work(&self) -> usize {
        let tasks = self.chains.iter().flat_map(|chain| &chain.tasks);
        let ends = tasks
            .flat_map(|task| &task.places)
            .flat_map(|place| &place.ends);
        self.size
            + ends
                .map(|(first, last)| 8 * (last + 1 - first))
                .sum::<usize>()
    }

    /// For each chain and each step the least price of finishing it by then.
    pub fn tables(&self, model: &Model, lists: &PriceLists) -> Tables {
        let width = self.grid.last + 1;
        let mut least = vec![NEVER; self.size];
        let mut fed = vec![0; width];
        for (chain, laid) in model.chains.iter().zip(&self.chains) {
            let mut rows = least[laid.at..].chunks_exact_mut(width);
            let Some(mut before) = rows.next() else {
                continue;
            };
            let (step, _) = self.grid.split(laid.ready);
            if index(step) < width {
                before[index(step)..].fill(laid.debt);
            }
            for ((task, laid), row) in chain.tasks.iter().zip(&laid.tasks).zip(rows) {
                laid.fill(task, lists, before, row, &mut fed);
                before = row;
            }
        }
        Tables { least, width }
    }

    fn row<'a>(&self, tables: &'a Tables, chain: usize, task: usize) -> &'a [i64] {
        let at = self.chains[chain].at + task * tables.width;
        &tables.least[at..at + tables.width]
    }

    /// By step: the least price of finishing a chain by then.
    pub fn finish<'a>(&self, tables: &'a Tables, chain: usize) -> (&'a [i64], usize) {
        let laid = &self.chains[chain];
        let row = self.row(tables, chain, laid.tasks.len());
        // Without a task it is finished when ready, which may be behind the step.
        let late = laid.tasks.is_empty() && self.grid.split(laid.ready).1 > 0;
        (row, usize::from(late))
    }

    /// Adds what a chain takes that is finished by a step at the least price to a list that is laid out
    /// as the prices are.
    pub fn trace(
        &self,
        model: &Model,
        lists: &PriceLists,
        tables: &Tables,
        (chain, mut step): (usize, usize),
        used: &mut [f64],
    ) {
        let tasks = model.chains[chain]
            .tasks
            .iter()
            .zip(&self.chains[chain].tasks);
        for (n, (task, laid)) in tasks.enumerate().rev() {
            let row = self.row(tables, chain, n + 1);
            let price = row[step];
            if price >= NEVER {
                return;
            }
            step = row[..step].partition_point(|other| *other > price);
            let end = self.grid.minute(step) + laid.phase;
            let start = (end - laid.minutes).max(0);
            if let Some(place) = laid.cheapest_place(lists, step) {
                lists.add_held(place.hold, (end - laid.minutes - place.set_up, end), used);
            }
            for (at, amount) in lists.cheapest_way(task, start) {
                used[at] += real(amount);
            }
            step -= laid.steps;
        }
    }
}

#[derive(Debug)]
pub(super) struct Tables {
    least: Vec<i64>,
    width: usize,
}

impl LaidChain {
    fn new(chain: &Chain, grid: Grid, at: usize) -> Self {
        let mut phase = grid.split(chain.ready).1;
        let tasks = chain.tasks.iter().map(|task| {
            let (steps, after) = grid.split(phase + task.after + task.minutes);
            phase = after;
            LaidTask::new(task, grid, index(steps), phase)
        });
        Self {
            ready: chain.ready,
            debt: chain.debt,
            tasks: tasks.collect(),
            at,
        }
    }
}

impl LaidTask {
    fn new(task: &Task, grid: Grid, steps: usize, phase: i64) -> Self {
        let (start_back, into) = grid.split(phase - task.minutes);
        let places = task.places.iter().map(|place| {
            let held = place.set_up + task.minutes;
            let (begin, late) = grid.split(phase - held);
            let back = grid.split(-held);
            let (over, rest) = grid.split(held);
            let end = |start: i64| grid.step_by(start + task.minutes, phase);
            LaidPlace {
                hold: place.hold,
                set_up: place.set_up,
                ends: place
                    .starts
                    .iter()
                    .map(|(first, last)| (end(first), end(last).min(grid.last)))
                    .collect(),
                from_end: Stretch {
                    end: (0, phase),
                    begin: (begin, late),
                },
                from_step: Stretch {
                    end: (0, 0),
                    begin: back,
                },
                to_step: Stretch {
                    end: (begin + over, rest),
                    begin: (begin, 0),
                },
            }
        });
        Self {
            steps,
            phase,
            start_back,
            start_two: into + 1 < grid.unit,
            minutes: task.minutes,
            places: places.collect(),
        }
    }

    fn cheapest_place(&self, lists: &PriceLists, step: usize) -> Option<&LaidPlace> {
        let open = |place: &&LaidPlace| {
            let mut ends = place.ends.iter();
            ends.any(|(first, last)| (*first..=*last).contains(&step))
        };
        self.places
            .iter()
            .filter(open)
            .min_by_key(|place| place.price(lists, step))
    }

    /// For each step the least price of ending this task by then.
    fn fill(
        &self,
        task: &Task,
        lists: &PriceLists,
        before: &[i64],
        row: &mut [i64],
        fed: &mut [i64],
    ) {
        let open = before.partition_point(|price| *price >= NEVER) + self.steps;
        lists.feed(task, self.start_two, fed);
        for place in &self.places {
            for (first, last) in &place.ends {
                let steps = (*first).max(open)..last + 1;
                if steps.is_empty() {
                    continue;
                }
                let start = steps.start.saturating_add_signed(self.start_back);
                let before = &before[steps.start - self.steps..];
                let prices = place.prices(lists, steps.clone());
                let whole = prices.zip(before).zip(&fed[start..]);
                for (here, ((price, before), fed)) in row[steps].iter_mut().zip(whole) {
                    *here = (*here).min(before + price + fed);
                }
            }
        }
        let mut least = NEVER;
        for price in row {
            least = least.min(*price);
            *price = least;
        }
    }
}

impl LaidPlace {
    /// By step: the least price of what is held if the task ends within that step.
    ///
    /// By the minute of the end the price is a line that bends only where end or begin cross a step of
    /// the grid, so that it is least at one of these or at the step's own ends.
    #[inline]
    fn prices<'a>(
        &'a self,
        lists: &'a PriceLists,
        steps: Range<usize>,
    ) -> impl Iterator<Item = i64> + 'a {
        let list = &lists.holds[self.hold];
        let mut before = list.of(self.from_end, steps.start.wrapping_sub(1));
        let bends = move |step| {
            let (from, to) = (list.of(self.from_step, step), list.of(self.to_step, step));
            from.min(to)
        };
        let at_ends = list.each(self.from_end, steps.start);
        steps.zip(at_ends).map(move |(step, (here, changes))| {
            if lists.unit == 1 {
                return here;
            }
            let ends = std::mem::replace(&mut before, here).min(here);
            if changes { ends.min(bends(step)) } else { ends }
        })
    }

    fn price(&self, lists: &PriceLists, step: usize) -> i64 {
        self.prices(lists, step..step + 1).next().unwrap_or(NEVER)
    }
}
