use std::collections::BTreeMap;

use super::decode::{Balance, BatchRule, DrawSize, Room};
use super::problem::{Cell, Draw, Job, JobOption, Operation, Problem, Store, StoreDraw, Work};
use super::shares::{SharedPlaces, SharesRule, rooms};

/// A problem made ready for the decoder: ids are positions, calendars and supplies are laid out in time.
#[derive(Debug)]
pub(super) struct Rules {
    pub horizon: i64,
    /// Stretches of touching windows, sorted.
    pub periods: Vec<(i64, i64)>,
    pub cells: Vec<CellRule>,
    /// What is held at the same time: the crew, then the slots of each station, then each limit.
    pub shared: Vec<Room>,
    /// How many stations hold batches.
    pub batch_stations: usize,
    /// Whether some operation may draw from one store or another.
    pub store_choices: bool,
    pub stores: Vec<Balance>,
    pub lots: Vec<LotRule>,
    /// Lots of each powder.
    pub lots_of: Vec<Vec<usize>>,
    pub assets: Vec<AssetRule>,
    pub capabilities: Vec<CapabilityRule>,
    pub jobs: Vec<JobRule>,
}

#[derive(Debug)]
pub(super) struct CellRule {
    pub free_from: i64,
    pub powder: Option<usize>,
    pub warm_up: i64,
    pub from_clean: i64,
    /// Set-up minutes, by powder before and powder after.
    pub set_up: Vec<Vec<i64>>,
    pub closed: Vec<(i64, i64)>,
}

#[derive(Debug)]
pub(super) struct LotRule {
    pub grams: i64,
    pub from: i64,
    pub until: i64,
}

#[derive(Debug)]
pub(super) struct AssetRule {
    pub down_from: i64,
    /// When it is back if it has no job.
    pub back: i64,
    pub jobs: Vec<usize>,
    pub capabilities: Vec<usize>,
}

#[derive(Debug, Clone)]
pub(super) struct CapabilityRule {
    pub from: i64,
    pub assets: Vec<usize>,
    pub loss_per_hour: Vec<i64>,
}

#[derive(Debug)]
pub(super) struct JobRule {
    pub asset: usize,
    pub options: Vec<OptionRule>,
}

#[derive(Debug)]
pub(super) struct OptionRule {
    /// When the job is ready by this option.
    pub ready: i64,
    pub debt: i64,
    pub operations: Vec<OperationRule>,
}

impl OptionRule {
    /// Whether an operation may wait for the one before it only so long.
    pub fn limits_waits(&self) -> bool {
        self.operations.iter().any(|it| it.within.is_some())
    }

    /// Whether an operation and the one before it may be placed apart: not where the wait between them has
    /// a limit, since the one before may have to be placed anew.
    pub fn may_part(&self, at: usize) -> bool {
        self.operations
            .get(at)
            .is_none_or(|operation| operation.within.is_none())
    }
}

#[derive(Debug)]
pub(super) struct OperationRule {
    pub work: WorkRule,
    pub minutes: i64,
    pub after: i64,
    pub within: Option<i64>,
    /// It starts no sooner, though it could; 0 unless a plan is kept.
    pub not_before: i64,
    /// The batch that it needs; none elsewhere than at a batch station.
    pub batch: Option<BatchRule>,
    pub shares: SharesRule,
    /// The ways to draw what it needs, in the order of the file; one where no draw has a choice.
    pub ways: Vec<WayRule>,
}

impl OperationRule {
    /// Grams that it sprays of a powder.
    pub fn grams_of(&self, powder: usize) -> i64 {
        match self.work {
            WorkRule::Stage {
                powder: sprayed,
                grams,
                ..
            } if sprayed == powder => grams,
            _ => 0,
        }
    }

    /// How much it draws from a store by the way that draws least.
    pub fn drawn_from(&self, store: usize) -> i64 {
        let by_way = self.ways.iter().map(|way| {
            let draws = way.draws.iter().filter(|draw| draw.store == store);
            draws.map(|draw| draw.size.amount).sum()
        });
        by_way.min().unwrap_or(0)
    }
}

#[derive(Debug)]
pub(super) enum WorkRule {
    Stage {
        cells: Vec<usize>,
        powder: usize,
        grams: i64,
        one_lot: bool,
    },
    Step,
}

#[derive(Debug, Clone, Copy)]
pub(super) struct DrawRule {
    pub store: usize,
    pub size: DrawSize,
}

/// One choice of a store for each draw of an operation.
#[derive(Debug, Clone, Default)]
pub(super) struct WayRule {
    /// At most one for each store.
    pub draws: Vec<DrawRule>,
    /// By draw of the operation: the store chosen, none where there is no choice; empty if there is none
    /// for the whole operation.
    pub chosen: Vec<Option<usize>>,
}

impl WayRule {
    fn add(&mut self, store: usize, size: DrawSize) {
        match self.draws.iter_mut().find(|draw| draw.store == store) {
            Some(draw) => {
                draw.size.amount += size.amount;
                draw.size.floor = draw.size.floor.max(size.floor);
            }
            None => self.draws.push(DrawRule { store, size }),
        }
    }
}

/// Positions of ids in their lists; a fault-free problem refers to nothing outside them.
struct Places<'a> {
    cells: BTreeMap<&'a str, usize>,
    shared: SharedPlaces<'a>,
    batch_stations: BTreeMap<&'a str, usize>,
    cycles: BTreeMap<&'a str, usize>,
    stores: BTreeMap<&'a str, usize>,
    powders: BTreeMap<&'a str, usize>,
    assets: BTreeMap<&'a str, usize>,
}

impl Rules {
    /// Lays out a problem that is free of faults.
    pub fn new(problem: &Problem) -> Self {
        let places = Places::of(problem);
        let mut lots_of = vec![Vec::new(); places.powders.len()];
        for (n, lot) in problem.lots.iter().enumerate() {
            lots_of[places.powders[lot.powder.as_str()]].push(n);
        }
        let jobs: Vec<JobRule> = problem.jobs.iter().map(|job| places.job(job)).collect();
        let store_choices = operations(&jobs).any(|operation| operation.ways.len() > 1);
        Self {
            horizon: problem.horizon,
            periods: attended_periods(problem),
            cells: problem.cells.iter().map(|cell| places.cell(cell)).collect(),
            shared: rooms(problem),
            batch_stations: places.batch_stations.len(),
            store_choices,
            stores: problem
                .stores
                .iter()
                .enumerate()
                .map(|(n, store)| balance(store, n, &jobs))
                .collect(),
            lots: problem
                .lots
                .iter()
                .map(|l| LotRule {
                    grams: l.grams,
                    from: l.from,
                    until: l.until,
                })
                .collect(),
            lots_of,
            assets: places.assets(problem),
            capabilities: problem
                .capabilities
                .iter()
                .map(|c| CapabilityRule {
                    from: c.from.clamp(0, problem.horizon),
                    assets: c.assets.iter().map(|a| places.assets[a.as_str()]).collect(),
                    loss_per_hour: c.loss_per_hour.clone(),
                })
                .collect(),
            jobs,
        }
    }

    /// The operations of all jobs, by whichever option.
    pub fn operations(&self) -> impl Iterator<Item = &OperationRule> + Clone {
        operations(&self.jobs)
    }

    /// No plan loses more: everything down until the horizon, by the dearest options.
    pub fn worst_loss(&self) -> i64 {
        let top = |it: &CapabilityRule| it.loss_per_hour.iter().copied().max().unwrap_or(0);
        let debts = self
            .jobs
            .iter()
            .flat_map(|job| &job.options)
            .map(|option| option.debt);
        self.capabilities.iter().map(top).sum::<i64>() * self.horizon + debts.sum::<i64>()
    }

    /// The first minute from `minute` on at which somebody is on duty.
    pub fn on_duty(&self, minute: i64) -> Option<i64> {
        let at = self.period_from(minute);
        self.periods.get(at).map(|(from, _)| minute.max(*from))
    }

    /// The first attended period that ends after `minute`.
    pub fn period_from(&self, minute: i64) -> usize {
        self.periods.partition_point(|(_, to)| *to <= minute)
    }
}

fn attended_periods(problem: &Problem) -> Vec<(i64, i64)> {
    let mut periods: Vec<(i64, i64)> = Vec::new();
    for window in &problem.windows {
        match periods.last_mut() {
            Some(last) if last.1 == window.from => last.1 = window.to,
            _ => periods.push((window.from, window.to)),
        }
    }
    periods
}

fn operations(jobs: &[JobRule]) -> impl Iterator<Item = &OperationRule> + Clone {
    let options = jobs.iter().flat_map(|job| &job.options);
    options.flat_map(|option| &option.operations)
}

fn balance(store: &Store, n: usize, jobs: &[JobRule]) -> Balance {
    let ways = || operations(jobs).flat_map(|operation| &operation.ways);
    let draws = ways()
        .flat_map(|way| &way.draws)
        .filter(|draw| draw.store == n)
        .map(|draw| draw.size);
    if ways().any(|way| way.chosen.contains(&Some(n))) {
        Balance::exact(store.level, &store.arrivals, draws)
    } else {
        Balance::new(store.level, &store.arrivals, draws)
    }
}

impl<'a> Places<'a> {
    fn of(problem: &'a Problem) -> Self {
        let operations = problem
            .jobs
            .iter()
            .flat_map(|j| &j.options)
            .flat_map(|o| &o.operations);
        let sprayed = operations
            .clone()
            .filter_map(|operation| match &operation.work {
                Work::Stage { powder, .. } => Some(powder),
                Work::Step { .. } => None,
            });
        let cycles = operations.filter_map(|operation| match &operation.work {
            Work::Stage { .. } => None,
            Work::Step { cycle, .. } => cycle.as_ref(),
        });
        let batch_stations = problem.stations.iter().filter(|station| station.batch);
        let in_feeders = problem.cells.iter().filter_map(|c| c.powder.as_ref());
        let in_lots = problem.lots.iter().map(|l| &l.powder);
        let of_jobs = problem.jobs.iter().map(|j| &j.asset);
        let of_capabilities = problem.capabilities.iter().flat_map(|c| &c.assets);
        Self {
            cells: numbered(problem.cells.iter().map(|c| &c.id)),
            shared: SharedPlaces::of(problem),
            batch_stations: numbered(batch_stations.map(|s| &s.id)),
            cycles: numbered(cycles),
            stores: numbered(problem.stores.iter().map(|s| &s.id)),
            powders: numbered(in_lots.chain(in_feeders).chain(sprayed)),
            assets: numbered(of_capabilities.chain(of_jobs)),
        }
    }

    fn cell(&self, cell: &Cell) -> CellRule {
        let minutes = |before: &str, after: &str| {
            if before == after {
                return cell.same_powder;
            }
            let named = cell.changeover.get(before).and_then(|row| row.get(after));
            named.copied().unwrap_or(cell.default_changeover)
        };
        let mut set_up = vec![vec![0; self.powders.len()]; self.powders.len()];
        for (before, i) in &self.powders {
            for (after, j) in &self.powders {
                set_up[*i][*j] = minutes(before, after);
            }
        }
        CellRule {
            free_from: cell.free_from,
            powder: cell.powder.as_ref().map(|p| self.powders[p.as_str()]),
            warm_up: cell.warm_up,
            from_clean: cell.same_powder,
            set_up,
            closed: cell.closed.clone(),
        }
    }

    fn assets(&self, problem: &Problem) -> Vec<AssetRule> {
        let mut rules: Vec<_> = (0..self.assets.len())
            .map(|_| AssetRule {
                down_from: 0,
                back: problem.horizon,
                jobs: Vec::new(),
                capabilities: Vec::new(),
            })
            .collect();
        for (id, asset) in &problem.assets {
            let Some(at) = self.assets.get(id.as_str()) else {
                continue;
            };
            rules[*at].down_from = asset.down_from.unwrap_or(0);
            rules[*at].back = asset.back.unwrap_or(problem.horizon).min(problem.horizon);
        }
        for (n, job) in problem.jobs.iter().enumerate() {
            rules[self.assets[job.asset.as_str()]].jobs.push(n);
        }
        for (n, capability) in problem.capabilities.iter().enumerate() {
            for asset in &capability.assets {
                rules[self.assets[asset.as_str()]].capabilities.push(n);
            }
        }
        rules
    }

    fn job(&self, job: &Job) -> JobRule {
        let options = job
            .options
            .iter()
            .map(|option| self.option(job, option))
            .collect();
        JobRule {
            asset: self.assets[job.asset.as_str()],
            options,
        }
    }

    fn option(&self, job: &Job, option: &JobOption) -> OptionRule {
        let positions = 0..option.operations.len();
        OptionRule {
            ready: job.release.max(option.earliest),
            debt: option.debt,
            operations: positions
                .map(|at| self.operation(&option.operations, at))
                .collect(),
        }
    }

    fn operation(&self, operations: &[Operation], at: usize) -> OperationRule {
        let operation = &operations[at];
        let work = match &operation.work {
            Work::Stage {
                cells,
                powder,
                grams,
                one_lot,
            } => WorkRule::Stage {
                cells: cells.iter().map(|c| self.cells[c.as_str()]).collect(),
                powder: self.powders[powder.as_str()],
                grams: *grams,
                one_lot: *one_lot,
            },
            Work::Step { .. } => WorkRule::Step,
        };
        OperationRule {
            work,
            minutes: operation.minutes,
            after: operation.after,
            within: operation.within,
            not_before: 0,
            batch: self.batch(operation),
            shares: SharesRule::new(operations, at, &self.shared),
            ways: self.ways(&operation.draws),
        }
    }

    fn batch(&self, operation: &Operation) -> Option<BatchRule> {
        let Work::Step { station, cycle } = &operation.work else {
            return None;
        };
        Some(BatchRule {
            station: *self.batch_stations.get(station.as_deref()?)?,
            cycle: cycle.as_ref().map(|cycle| self.cycles[cycle.as_str()]),
            minutes: operation.minutes,
        })
    }

    /// Every choice of stores, the last draw's changing first.
    fn ways(&self, draws: &[Draw]) -> Vec<WayRule> {
        let mut ways = vec![WayRule::default()];
        for draw in draws {
            let with = |way: &WayRule, of: &StoreDraw| {
                let mut way = way.clone();
                let store = self.stores[of.store.as_str()];
                let (amount, floor) = (of.amount, of.floor);
                way.add(store, DrawSize { amount, floor });
                way.chosen
                    .push(matches!(draw, Draw::AnyOf(_)).then_some(store));
                way
            };
            let longer = ways
                .iter()
                .flat_map(|way| draw.choices().iter().map(|of| with(way, of)));
            ways = longer.collect();
        }
        for way in &mut ways {
            way.draws.sort_by_key(|draw| draw.store);
            if way.chosen.iter().all(Option::is_none) {
                way.chosen.clear();
            }
        }
        ways
    }
}

pub(super) fn numbered<'a>(ids: impl Iterator<Item = &'a String>) -> BTreeMap<&'a str, usize> {
    let mut places = BTreeMap::new();
    for id in ids {
        let next = places.len();
        places.entry(id.as_str()).or_insert(next);
    }
    places
}
