use std::collections::{BTreeMap, BTreeSet};

use super::scale::Scale;
use super::spans::Spans;
use super::supply::{Supplies, Supply, supplied};
use crate::planner::rules::{CellRule, OperationRule, OptionRule, Rules, WorkRule};

/// Which rules a bound goes by.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::planner) enum View {
    /// All that it can reckon with.
    Whole,
    /// Those that hold for operations laid out in the order of their starts alone: not what set-up shares,
    /// what is kept between operations, and when lots expire.
    ByStart,
}

/// A problem as the bound sees it: what jobs take, each as if alone.
#[derive(Debug)]
pub(super) struct Model {
    pub horizon: i64,
    /// What is shared and given back: crew, stations, limits, then each cell.
    pub shared: Vec<Shared>,
    pub supplies: Vec<Supply>,
    /// What tasks hold together, each combination once, as `(shared, amount)`.
    pub holds: Vec<Vec<(usize, i64)>>,
    /// The ways to do jobs; jobs of one kind have the same.
    pub chains: Vec<Chain>,
    /// By job: its ways, as positions of chains.
    pub jobs: Vec<Vec<usize>>,
}

/// Something of which so much is there at a time: `(from, amount)`, until the next.
#[derive(Debug)]
pub(super) struct Shared(Vec<(i64, i64)>);

/// An option: what is done in which order.
#[derive(Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Chain {
    pub ready: i64,
    pub debt: i64,
    pub tasks: Vec<Task>,
}

/// An operation.
#[derive(Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Task {
    pub minutes: i64,
    pub after: i64,
    /// Where it can be done: one for each cell of a stage, one for a step.
    pub places: Vec<TaskPlace>,
    /// By way to draw: what it takes, as `(supply, amount)`.
    pub ways: Vec<Vec<(usize, i64)>>,
}

#[derive(Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct TaskPlace {
    /// What it holds, from its set-up on: a position of `holds`.
    pub hold: usize,
    /// The least set-up before it.
    pub set_up: i64,
    /// When it could start, set-up not counted, if it had the site to itself.
    pub starts: Spans,
}

impl Shared {
    /// How much of it there is, times minutes, in each bucket of so many minutes up to the horizon.
    pub fn in_buckets(&self, bucket: i64, horizon: i64) -> Vec<i64> {
        let count = (horizon + bucket - 1) / bucket;
        let mut sums = vec![0; usize::try_from(count).unwrap_or(0)];
        for (n, (from, amount)) in self.0.iter().enumerate() {
            let to = self
                .0
                .get(n + 1)
                .map_or(horizon, |next| next.0.min(horizon));
            let mut at = (*from).max(0);
            while at < to && *amount > 0 {
                let n = at / bucket;
                let until = to.min((n + 1) * bucket);
                sums[usize::try_from(n).unwrap_or(0)] += amount * (until - at);
                at = until;
            }
        }
        sums
    }

    fn at_least(&self, amount: i64) -> Spans {
        let ends = self.0.iter().skip(1).map(|next| next.0 - 1);
        let steps = self.0.iter().zip(ends.chain(std::iter::once(i64::MAX / 4)));
        let enough = steps.filter(|((_, free), _)| *free >= amount);
        Spans::of(enough.map(|((from, _), last)| (*from, last)))
    }
}

impl Model {
    /// As much of the rules as `view` tells.
    pub fn new(rules: &Rules, scale: Scale, view: View) -> Self {
        let cells: Vec<_> = rules.cells.iter().map(|cell| open(rules, cell)).collect();
        let rooms = rules.shared.iter().map(|room| Shared(room.steps()));
        let of_cells = cells.iter().map(|open| {
            let ends = open
                .iter()
                .flat_map(|(first, last)| [(first, 1), (last + 1, 0)]);
            Shared(std::iter::once((i64::MIN / 4, 0)).chain(ends).collect())
        });
        let supplies = Supplies::new(rules, view == View::Whole);
        let mut maker = Maker {
            rules,
            scale,
            view,
            shared: rooms.chain(of_cells).collect(),
            open: cells,
            supplies: &supplies,
            sprayed: sprayed(rules),
            holds: BTreeMap::new(),
            chains: BTreeMap::new(),
        };
        let jobs = (0..rules.jobs.len()).map(|job| maker.job(job)).collect();
        let Maker {
            shared,
            holds,
            chains,
            ..
        } = maker;
        Self {
            horizon: rules.horizon,
            shared,
            holds: by_position(holds),
            chains: by_position(chains),
            jobs,
            supplies: supplies.all,
        }
    }
}

/// Things numbered as they came, in that order.
fn by_position<T>(numbered: BTreeMap<T, usize>) -> Vec<T> {
    let mut all: Vec<_> = numbered.into_iter().collect();
    all.sort_by_key(|(_, n)| *n);
    all.into_iter().map(|(it, _)| it).collect()
}

/// When a cell can be used but for warming up: no stage of a period, with the change of powder before it,
/// begins before the first of them is warm.
fn open(rules: &Rules, cell: &CellRule) -> Spans {
    let in_periods = rules
        .periods
        .iter()
        .map(|(from, to)| (from.max(&cell.free_from) + cell.warm_up, to - 1));
    // A period that touches the next one would be one with it, so that none is joined here.
    Spans::of(in_periods).without(&cell.closed)
}

/// By cell and powder: the jobs that may spray it there.
fn sprayed(rules: &Rules) -> Vec<BTreeMap<usize, BTreeSet<usize>>> {
    let mut sprayed = vec![BTreeMap::<usize, BTreeSet<usize>>::new(); rules.cells.len()];
    for (n, job) in rules.jobs.iter().enumerate() {
        for operation in job.options.iter().flat_map(|option| &option.operations) {
            if let WorkRule::Stage { cells, powder, .. } = &operation.work {
                for cell in cells {
                    sprayed[*cell].entry(*powder).or_default().insert(n);
                }
            }
        }
    }
    sprayed
}

struct Maker<'a> {
    rules: &'a Rules,
    scale: Scale,
    view: View,
    shared: Vec<Shared>,
    /// By cell.
    open: Vec<Spans>,
    supplies: &'a Supplies,
    sprayed: Vec<BTreeMap<usize, BTreeSet<usize>>>,
    holds: BTreeMap<Vec<(usize, i64)>, usize>,
    chains: BTreeMap<Chain, usize>,
}

impl Maker<'_> {
    fn job(&mut self, job: usize) -> Vec<usize> {
        let options = self.rules.jobs[job].options.iter();
        let chains: Vec<_> = options
            .map(|option| Chain {
                ready: option.ready,
                debt: self.scale.down(option.debt),
                tasks: (0..option.operations.len())
                    .map(|at| self.task(job, option, at))
                    .collect(),
            })
            .collect();
        chains
            .into_iter()
            .map(|chain| {
                let next = self.chains.len();
                *self.chains.entry(chain).or_insert(next)
            })
            .collect()
    }

    fn task(&mut self, job: usize, option: &OptionRule, at: usize) -> Task {
        let operation = &option.operations[at];
        let fed = supplied(self.rules, operation);
        let mut held: BTreeMap<usize, i64> = BTreeMap::new();
        for share in &operation.shares.held {
            *held.entry(share.of).or_default() += share.amount;
        }
        if matches!(operation.work, WorkRule::Step) && self.view == View::Whole {
            // Not for a stage: its set-up may begin before the operation that took it.
            for carried in &operation.shares.carried {
                *held.entry(carried.share.of).or_default() += carried.share.amount;
            }
        }
        held.retain(|_, amount| *amount > 0);
        let places = match &operation.work {
            WorkRule::Step => {
                let duty = self.rules.periods.iter().map(|(from, to)| (*from, to - 1));
                let starts = fed.and(&Spans::of(duty));
                vec![self.place(held, 0, operation.minutes, &starts)]
            }
            WorkRule::Stage { cells, powder, .. } => cells
                .iter()
                .map(|cell| {
                    let set_up = self.least_set_up(job, option, at, *cell, *powder);
                    let busy = self.open[*cell].room_for(set_up + operation.minutes);
                    let mut held = match self.view {
                        View::Whole => held.clone(),
                        View::ByStart => BTreeMap::new(),
                    };
                    held.insert(self.rules.shared.len() + cell, 1);
                    self.place(
                        held,
                        set_up,
                        operation.minutes,
                        &fed.and(&busy.later(set_up)),
                    )
                })
                .collect(),
        };
        Task {
            minutes: operation.minutes,
            after: operation.after,
            places,
            ways: self.supplies.ways(operation),
        }
    }

    fn place(
        &mut self,
        held: BTreeMap<usize, i64>,
        set_up: i64,
        minutes: i64,
        starts: &Spans,
    ) -> TaskPlace {
        let mut starts = starts.and(&Spans::of([(0, self.rules.horizon - minutes)]));
        for (of, amount) in &held {
            let free = self.shared[*of].at_least(*amount);
            starts = starts.and(&free.room_for(set_up + minutes).later(set_up));
        }
        let next = self.holds.len();
        let hold = *self.holds.entry(held.into_iter().collect()).or_insert(next);
        TaskPlace {
            hold,
            set_up,
            starts,
        }
    }

    /// The shortest set-up behind anything that may be sprayed before it in that cell.
    fn least_set_up(
        &self,
        job: usize,
        option: &OptionRule,
        at: usize,
        cell: usize,
        powder: usize,
    ) -> i64 {
        let rule = &self.rules.cells[cell];
        let first = rule
            .powder
            .map_or(rule.from_clean, |before| rule.set_up[before][powder]);
        let by_others = self.sprayed[cell]
            .iter()
            .filter(|(_, jobs)| jobs.iter().any(|n| *n != job));
        let by_itself = option.operations[..at]
            .iter()
            .filter_map(|before| sprays_in(before, cell));
        let before = by_others.map(|(powder, _)| *powder).chain(by_itself);
        before
            .map(|before| rule.set_up[before][powder])
            .fold(first, i64::min)
    }
}

fn sprays_in(operation: &OperationRule, cell: usize) -> Option<usize> {
    match &operation.work {
        WorkRule::Stage { cells, powder, .. } if cells.contains(&cell) => Some(*powder),
        _ => None,
    }
}
