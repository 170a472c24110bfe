use super::prices::Prices;
use super::real;
use crate::planner::rules::{CapabilityRule, JobRule, OptionRule, Rules, WayRule, WorkRule};

/// An order built machine by machine: next comes the capability that stops the most loss for its work, set-ups
/// included, with the work in each place at its price.
///
/// Smith's ratio is taken over the best number of machines of a capability, since a loss table may make the
/// first machine cheap and the last dear. `patience` is the share of the horizon within which a loss that
/// counts from later on is still urgent; a machine whose powder or bulk supply is used up goes last.
pub(super) fn dispatch(rules: &Rules, prices: &Prices, patience: f64) -> Vec<(usize, usize)> {
    let mut so_far = SoFar::new(rules, prices, patience);
    let mut order = Vec::new();
    while let Some(asset) = so_far.next_asset() {
        so_far.open[asset] = false;
        let picked = so_far.pick(asset);
        if so_far.suffices(&picked) {
            so_far.use_up(asset, &picked);
            order.extend(picked);
        } else {
            so_far.last.extend(picked);
        }
    }
    order.append(&mut so_far.last);
    order
}

struct SoFar<'a> {
    rules: &'a Rules,
    prices: &'a Prices,
    patience: f64,
    /// By asset: whether it is still to be ordered.
    open: Vec<bool>,
    /// By capability: machines of it that are not ordered yet.
    down: Vec<usize>,
    powder_now: Option<usize>,
    /// What is ordered so far costs so much.
    work: f64,
    powder_left: Vec<i64>,
    store_left: Vec<i64>,
    last: Vec<(usize, usize)>,
}

impl<'a> SoFar<'a> {
    fn new(rules: &'a Rules, prices: &'a Prices, patience: f64) -> Self {
        let grams = |lots: &Vec<usize>| lots.iter().map(|lot| rules.lots[*lot].grams).sum();
        Self {
            rules,
            prices,
            patience,
            open: rules
                .assets
                .iter()
                .map(|asset| !asset.jobs.is_empty())
                .collect(),
            down: rules
                .capabilities
                .iter()
                .map(|capability| capability.assets.len())
                .collect(),
            powder_now: rules.cells.first().and_then(|cell| cell.powder),
            work: 0.0,
            powder_left: rules.lots_of.iter().map(grams).collect(),
            store_left: rules
                .stores
                .iter()
                .map(crate::planner::decode::Balance::in_all)
                .collect(),
            last: Vec::new(),
        }
    }

    fn next_asset(&self) -> Option<usize> {
        let of_capabilities =
            (0..self.rules.capabilities.len()).filter_map(|capability| self.best_of(capability));
        let best = of_capabilities.max_by(|a, b| a.0.total_cmp(&b.0).then(b.1.cmp(&a.1)));
        best.map(|(_, asset)| asset)
            .or_else(|| self.open.iter().position(|open| *open))
    }

    /// The best ratio of a capability, and the machine of it that goes first: the one with least work.
    fn best_of(&self, capability: usize) -> Option<(f64, usize)> {
        let rule = &self.rules.capabilities[capability];
        let open = rule.assets.iter().filter(|a| self.open[**a]);
        let mut assets: Vec<_> = open.map(|a| (self.work_of(*a), *a)).collect();
        assets.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        let down = self.down[capability];
        let urgency = self.urgency(rule);
        let mut sum = 0.0;
        let ratios = assets.iter().enumerate().map(|(n, (work, _))| {
            sum += work;
            let fall = rule.loss_per_hour[down] - rule.loss_per_hour[down - (n + 1).min(down)];
            real(fall) / sum * urgency
        });
        ratios
            .max_by(f64::total_cmp)
            .map(|ratio| (ratio, assets[0].1))
    }

    /// 1 where the loss counts already by the time that is ordered so far, less the later it begins.
    fn urgency(&self, rule: &CapabilityRule) -> f64 {
        let horizon = real(self.rules.horizon);
        let now = horizon * (self.work / self.prices.in_all).min(1.0);
        let slack = (real(rule.from) - now).max(0.0);
        let patience = horizon / self.patience;
        patience / (patience + slack)
    }

    fn work_of(&self, asset: usize) -> f64 {
        let jobs = self.rules.assets[asset].jobs.iter();
        let least = |job: &usize| {
            let options = self.rules.jobs[*job].options.iter();
            options
                .map(|option| self.work(option))
                .min_by(f64::total_cmp)
        };
        jobs.filter_map(least).sum::<f64>().max(f64::MIN_POSITIVE)
    }

    /// The priced work of an option after what was sprayed last.
    fn work(&self, option: &OptionRule) -> f64 {
        let Some(cell) = self.rules.cells.first() else {
            return self.prices.of(option, 0);
        };
        let mut before = self.powder_now;
        let mut set_up = 0;
        for operation in &option.operations {
            if let WorkRule::Stage { powder, .. } = operation.work {
                set_up += before.map_or(cell.from_clean, |before| cell.set_up[before][powder]);
                before = Some(powder);
            }
        }
        self.prices.of(option, set_up)
    }

    fn pick(&self, asset: usize) -> Vec<(usize, usize)> {
        let quickest = |job: &JobRule| {
            let ready_now = |n: &usize| {
                job.options[*n]
                    .ready
                    .saturating_sub(self.rules.horizon / 4)
                    .max(0)
            };
            let work = |n: &usize| self.work(&job.options[*n]);
            let sooner = |a: &usize, b: &usize| {
                let by_work = || work(a).total_cmp(&work(b));
                ready_now(a).cmp(&ready_now(b)).then_with(by_work)
            };
            (0..job.options.len()).min_by(sooner)
        };
        let jobs = self.rules.assets[asset].jobs.iter();
        jobs.filter_map(|job| quickest(&self.rules.jobs[*job]).map(|option| (*job, option)))
            .collect()
    }

    fn needs(&self, picked: &[(usize, usize)]) -> (Vec<i64>, Vec<i64>) {
        let mut powder = vec![0; self.powder_left.len()];
        let mut store = vec![0; self.store_left.len()];
        for (job, option) in picked {
            for operation in &self.rules.jobs[*job].options[*option].operations {
                if let WorkRule::Stage {
                    powder: kind,
                    grams,
                    ..
                } = operation.work
                {
                    powder[kind] += grams;
                }
                let suffices = |way: &&WayRule| {
                    let mut draws = way.draws.iter();
                    draws.all(|d| store[d.store] + d.size.amount <= self.store_left[d.store])
                };
                let way = operation.ways.iter().find(suffices);
                for draw in &way.unwrap_or(&operation.ways[0]).draws {
                    store[draw.store] += draw.size.amount;
                }
            }
        }
        (powder, store)
    }

    fn suffices(&self, picked: &[(usize, usize)]) -> bool {
        let (powder, store) = self.needs(picked);
        powder
            .iter()
            .zip(&self.powder_left)
            .chain(store.iter().zip(&self.store_left))
            .all(|(need, left)| need <= left)
    }

    fn use_up(&mut self, asset: usize, picked: &[(usize, usize)]) {
        let (powder, store) = self.needs(picked);
        self.powder_left
            .iter_mut()
            .zip(powder)
            .for_each(|(left, need)| *left -= need);
        self.store_left
            .iter_mut()
            .zip(store)
            .for_each(|(left, need)| *left -= need);
        for (job, option) in picked {
            let option = &self.rules.jobs[*job].options[*option];
            self.work += self.work(option);
            let last = option
                .operations
                .iter()
                .rev()
                .find_map(|operation| match operation.work {
                    WorkRule::Stage { powder, .. } => Some(powder),
                    WorkRule::Step => None,
                });
            self.powder_now = last.or(self.powder_now);
        }
        for capability in &self.rules.assets[asset].capabilities {
            self.down[*capability] = self.down[*capability].saturating_sub(1);
        }
    }
}
