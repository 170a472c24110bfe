//! What is still to come costs at least, loss and price together, by the minute from which it may go on.
//!
//! For any prices no plan loses less than the least of loss and price over what it may still do, less what
//! all costs that there is. What is placed so far has its price paid, so that only the rest is open: that is
//! told here minute by minute, for a search through orders.

mod lost;

use super::ascent::whole;
use super::cases::Case;
use super::chain::NEVER;
use super::dual::{Span, price_of_all, there};
use super::grid::{Grid, index};
use super::model::Task;
use super::prices::{Layout, PriceLists};
use super::{Scale, Setting};
use crate::planner::rules::Rules;
use lost::{FEW, Group, Lost, always_lost, groups};

/// What is the same for all cases of a problem.
pub(in crate::planner) struct Rests<'a> {
    rules: &'a Rules,
    setting: &'a Setting,
    layout: Layout,
    grid: Grid,
    groups: Vec<Group>,
    there: Vec<i64>,
}

/// What a case costs from each minute on.
pub(in crate::planner) struct Rest<'a> {
    scale: Scale,
    horizon: i64,
    groups: &'a [Group],
    /// By asset: when it is back.
    spans: Vec<Span>,
    /// By job and option: its operations.
    priced: Vec<Vec<Vec<Priced>>>,
    /// By what is held: the price of the minutes before each.
    holds: Vec<Vec<i64>>,
    /// By job and option.
    debts: Vec<Vec<i64>>,
    /// By job, then by place in which its asset comes back and part of what that loses.
    open: Vec<Vec<Share>>,
    /// Lost whatever is done, less the price of all there is.
    base: i64,
}

/// By option and operation: what is left to pay and lose, by the minute from which the operation may start;
/// behind the last one, what is lost by its end.
type Share = Vec<Vec<Vec<i64>>>;

/// An operation with its prices.
struct Priced {
    minutes: i64,
    /// From its end to the next one's start at least.
    until_next: i64,
    /// What it holds, by place.
    holds: Vec<usize>,
    /// By minute of its start: what it takes costs so much.
    fed: Vec<i64>,
    /// All that it costs, more than anything where it cannot start.
    whole: Vec<i64>,
}

/// What is known of a job within an order.
#[derive(Debug, Clone, Copy)]
pub(in crate::planner) enum Stand {
    Open,
    /// The option, the next operation, and the minute from which it may start.
    Begun(usize, usize, i64),
    Finished(i64),
}

/// Where an operation is placed: the begin of its set-up, its start, and the position of its cell among those
/// that it may use, 0 for a step.
pub(in crate::planner) type Placed = (i64, i64, usize);

/// Of what a machine loses, so many parts are told among its jobs.
const PARTS: usize = 4;

impl<'a> Rests<'a> {
    pub fn new(rules: &'a Rules, setting: &'a Setting) -> Self {
        Self {
            rules,
            setting,
            layout: Layout::new(&setting.model, setting.short),
            grid: Grid::new(rules.horizon, 1, setting.short),
            groups: groups(rules),
            there: there(&setting.model, setting.short),
        }
    }

    /// No plan of a case loses less.
    pub fn value(&self, case: &Case) -> i64 {
        self.setting.scale.up(case.summit.value)
    }

    /// The rest at the prices of a case.
    pub fn of(&self, case: &Case) -> Rest<'_> {
        let (rules, model) = (self.rules, &self.setting.model);
        let prices = whole(&case.summit.prices);
        let lists = PriceLists::new(model, &self.layout, &prices, self.grid);
        let minutes = || 0..=self.grid.last;
        let debts = |chains: &[usize]| chains.iter().map(|it| model.chains[*it].debt).collect();
        let holds = lists.holds.iter();
        let holds = holds.map(|list| minutes().map(|minute| list.before(minute)).collect());
        let all = price_of_all(model, &self.layout, &self.there, &prices);
        let mut rest = Rest {
            scale: self.setting.scale,
            horizon: rules.horizon,
            groups: &self.groups,
            spans: case.spans.clone(),
            priced: Vec::new(),
            debts: model.jobs.iter().map(|chains| debts(chains)).collect(),
            holds: holds.collect(),
            open: vec![Vec::new(); rules.jobs.len()],
            // Beyond what can be counted no order is given up.
            base: i64::try_from(all).map_or(i64::MIN / 4, |all| {
                self.setting.scale.down(always_lost(rules)) - all
            }),
        };
        let priced = model.jobs.iter().map(|chains| {
            let chains = chains.iter().map(|chain| &model.chains[*chain].tasks);
            chains.map(|tasks| rest.price_all(tasks, &lists)).collect()
        });
        rest.priced = priced.collect();
        for group in &self.groups {
            for asset in &group.assets {
                for job in &rules.assets[*asset].jobs {
                    rest.open[*job] = rest.shares(rules, group, *asset, *job);
                }
            }
        }
        rest
    }
}

impl Rest<'_> {
    fn price_all(&self, tasks: &[Task], lists: &PriceLists<'_>) -> Vec<Priced> {
        let afters = tasks.iter().skip(1).map(|task| task.after).chain([0]);
        let priced = tasks.iter().zip(afters).map(|(task, until_next)| {
            let mut fed = vec![0; index(self.horizon) + 1];
            lists.feed(task, false, &mut fed);
            let mut whole = vec![NEVER; fed.len()];
            for place in &task.places {
                let list = &self.holds[place.hold];
                for (first, last) in place.starts.iter() {
                    for start in first.max(0)..=last.min(self.horizon - task.minutes) {
                        let held = list[index(start + task.minutes)];
                        let price = held - list[index(start - place.set_up)] + fed[index(start)];
                        let here = &mut whole[index(start)];
                        *here = (*here).min(price);
                    }
                }
            }
            Priced {
                minutes: task.minutes,
                until_next,
                holds: task.places.iter().map(|place| place.hold).collect(),
                fed,
                whole,
            }
        });
        priced.collect()
    }

    /// A job's share of each part of what its asset loses, by place in which that comes back.
    fn shares(&self, rules: &Rules, group: &Group, asset: usize, job: usize) -> Vec<Share> {
        let (behind, by) = self.spans[asset];
        let whole_only = rules.assets[asset].jobs.len() == 1;
        let parts = (0..=PARTS).filter(|parts| !whole_only || *parts == PARTS);
        let share = |lost: &Lost, parts: usize| {
            let end = |end: i64| {
                let lost = self.scale.down(lost.by(end.max(behind + 1)));
                let share = lost / whole_number(PARTS) * whole_number(parts);
                if end > by { NEVER } else { share }
            };
            let ends: Vec<i64> = (0..=self.horizon).map(end).collect();
            let options = self.priced[job].iter();
            options
                .map(|priced| from_then_on(priced, ends.clone()))
                .collect()
        };
        let places = group.places.iter();
        places
            .flat_map(|lost| parts.clone().map(move |parts| (lost, parts)))
            .map(|(lost, parts)| share(lost, parts))
            .collect()
    }

    /// What an operation placed costs.
    pub fn price(&self, (job, option, at): (usize, usize, usize), placed: Placed) -> i64 {
        let (begin, start, place) = placed;
        let priced = &self.priced[job][option][at];
        let list = &self.holds[priced.holds[place]];
        let held = list[index(start + priced.minutes)] - list[index(begin)];
        held + priced.fed[index(start)]
    }

    /// No order that goes on from here loses less, with `paid` for what is placed already, debts not counted;
    /// `begin` says from when a job that is not begun may be, by option.
    pub fn least(
        &self,
        rules: &Rules,
        paid: i64,
        stand: impl Fn(usize) -> Stand,
        begin: impl Fn(usize, usize) -> i64,
    ) -> i64 {
        let mut sum = self.base + paid;
        let mut costs = [[0; FEW]; FEW];
        for group in self.groups {
            let count = group.places.len();
            for (asset, costs) in group.assets.iter().zip(&mut costs) {
                self.asset(
                    rules,
                    (group, *asset),
                    (&stand, &begin),
                    &mut costs[..count],
                );
            }
            sum += cheapest(&costs, count, 0, 0);
        }
        self.scale.up(i128::from(sum))
    }

    /// By place in which it comes back: what an asset costs and loses.
    fn asset(
        &self,
        rules: &Rules,
        (group, asset): (&Group, usize),
        (stand, begin): (&impl Fn(usize) -> Stand, &impl Fn(usize, usize) -> i64),
        costs: &mut [i64],
    ) {
        let rule = &rules.assets[asset];
        let (behind, by) = self.spans[asset];
        let (mut back, mut open) = (None, false);
        for job in &rule.jobs {
            match stand(*job) {
                Stand::Finished(end) => back = back.max(Some(end)),
                Stand::Open | Stand::Begun(..) => open = true,
            }
        }
        let lost_by = |lost: &Lost, end: i64| {
            let end = end.min(self.horizon).max(behind + 1);
            self.scale.down(lost.by(end))
        };
        for (place, (cost, lost)) in costs.iter_mut().zip(&group.places).enumerate() {
            if !open {
                let end = back.unwrap_or(rule.back);
                let too_late = !rule.jobs.is_empty() && end.min(self.horizon) > by;
                *cost = if too_late { NEVER } else { lost_by(lost, end) };
                continue;
            }
            let (done, begun) = self.all_done(&rule.jobs, place, (stand, begin));
            let done = done.max(back.map_or(0, |end| lost_by(lost, end)));
            let never = if by >= self.horizon {
                lost_by(lost, self.horizon) + begun
            } else {
                NEVER
            };
            *cost = done.min(never).min(NEVER);
        }
    }

    /// What it costs that all jobs of an asset get done, and what that those do that are begun, without loss.
    ///
    /// The asset is back with the last of them, so that whichever parts of its loss are told to each, all
    /// together lose no more than it does: the dearest way to tell them counts.
    fn all_done(
        &self,
        jobs: &[usize],
        place: usize,
        (stand, begin): (&impl Fn(usize) -> Stand, &impl Fn(usize, usize) -> i64),
    ) -> (i64, i64) {
        let shares = if jobs.len() == 1 { 1 } else { PARTS + 1 };
        let (mut dearest, mut begun) = ([0; PARTS + 1], 0);
        let mut first = true;
        for job in jobs {
            let stand = stand(*job);
            if matches!(stand, Stand::Finished(_)) {
                continue;
            }
            let mut costs = [0; PARTS + 1];
            let of = &self.open[*job][place * shares..(place + 1) * shares];
            for (cost, rows) in costs[PARTS + 1 - shares..].iter_mut().zip(of) {
                *cost = match stand {
                    Stand::Begun(option, at, from) => rows[option][at][self.minute(from)],
                    Stand::Open | Stand::Finished(_) => {
                        let by_option = rows.iter().enumerate();
                        let by_option = by_option.map(|(option, rows)| {
                            self.debts[*job][option] + rows[0][self.minute(begin(*job, option))]
                        });
                        by_option.min().unwrap_or(NEVER)
                    }
                };
            }
            if matches!(stand, Stand::Begun(..)) {
                begun += costs[0];
            }
            if std::mem::take(&mut first) {
                dearest = costs;
                continue;
            }
            for parts in (0..=PARTS).rev() {
                let sums = (0..=parts).map(|more| dearest[parts - more] + costs[more]);
                dearest[parts] = sums.max().unwrap_or(0);
            }
        }
        (dearest[PARTS], begun)
    }

    fn minute(&self, minute: i64) -> usize {
        index(minute.min(self.horizon))
    }
}

/// The least sum with each machine in a place of its own.
fn cheapest(costs: &[[i64; FEW]; FEW], count: usize, machine: usize, taken: u32) -> i64 {
    let places = (0..count).filter(|place| taken & 1 << place == 0);
    let sums = places.map(|place| {
        let others = cheapest(costs, count, machine + 1, taken | 1 << place);
        costs[machine][place] + others
    });
    sums.min().unwrap_or(0)
}

/// By operation, and last behind them all: by minute, the least of what a start from then on costs and of
/// what is open behind it.
fn from_then_on(priced: &[Priced], ends: Vec<i64>) -> Vec<Vec<i64>> {
    let mut rows = vec![ends];
    for operation in priced.iter().rev() {
        let behind = &rows[rows.len() - 1];
        let wait = index(operation.minutes + operation.until_next);
        let mut row = vec![NEVER; behind.len()];
        let mut least = NEVER;
        for start in (0..row.len()).rev() {
            let rest = behind.get(start + wait).copied().unwrap_or(NEVER);
            least = least.min(operation.whole[start] + rest);
            row[start] = least;
        }
        rows.push(row);
    }
    rows.reverse();
    rows
}

fn whole_number(n: usize) -> i64 {
    i64::try_from(n).unwrap_or(i64::MAX)
}
