use super::chain::{Laid, NEVER, Tables};
use super::grid::Grid;
use super::group::{Group, groups};
use super::model::Model;
use super::prices::{Layout, PriceLists, real};
use super::scale::Scale;
use crate::planner::rules::Rules;

/// When an asset is back: behind the first minute, and by the second.
pub(super) type Span = (i64, i64);

/// What the least of loss and price takes.
pub(super) struct Taken {
    /// Laid out as the prices are.
    pub used: Vec<f64>,
    /// By asset: when it is back.
    pub back: Vec<i64>,
}

/// What a problem loses at least by given prices, on one grid.
pub(super) struct Dual<'a> {
    rules: &'a Rules,
    pub model: &'a Model,
    pub layout: Layout,
    laid: Laid,
    groups: Vec<Group>,
    /// What there is of what is shared, laid out as the prices are.
    there: Vec<i64>,
}

impl<'a> Dual<'a> {
    pub fn new(rules: &'a Rules, model: &'a Model, scale: Scale, grid: Grid) -> Self {
        let bucket = grid.price_minutes;
        Self {
            rules,
            model,
            layout: Layout::new(model, bucket),
            laid: Laid::new(model, grid),
            groups: groups(rules, scale, grid),
            there: there(model, bucket),
        }
    }

    /// Roughly how many operations one value takes.
    pub fn work(&self) -> usize {
        self.laid.work() + self.groups.iter().map(Group::work).sum::<usize>()
    }

    /// The least of loss and price, less what all costs that there is, each asset back within its span: no
    /// such plan loses less.
    pub fn value(&self, prices: &[i64], spans: &[Span]) -> i128 {
        self.reckon(prices, spans, None)
    }

    /// The same, with what is then taken.
    pub fn taken(&self, prices: &[i64], spans: &[Span]) -> (i128, Taken) {
        let mut taken = Taken {
            used: vec![0.0; self.layout.size],
            back: vec![0; self.rules.assets.len()],
        };
        (self.reckon(prices, spans, Some(&mut taken)), taken)
    }

    fn reckon(&self, prices: &[i64], spans: &[Span], mut taken: Option<&mut Taken>) -> i128 {
        let grid = self.laid.grid;
        let lists = PriceLists::new(self.model, &self.layout, prices, grid);
        let tables = self.laid.tables(self.model, &lists);
        let mut sum = -price_of_all(self.model, &self.layout, &self.there, prices);
        for group in &self.groups {
            let price = |asset: &usize| self.asset_price(*asset, spans[*asset], &tables);
            let price: Vec<_> = group.assets.iter().map(price).collect();
            let (least, back) = group.least(&price, taken.is_some());
            sum += i128::from(least);
            let Some(taken) = &mut taken else { continue };
            for (asset, step) in group.assets.iter().zip(back) {
                taken.back[*asset] = grid.first_minute(step);
                if step > grid.last {
                    continue;
                }
                for job in &self.rules.assets[*asset].jobs {
                    if let Some(chosen) = self.cheapest(*job, step, &tables) {
                        self.laid
                            .trace(self.model, &lists, &tables, chosen, &mut taken.used);
                    }
                }
            }
        }
        sum
    }

    pub fn grid(&self) -> Grid {
        self.laid.grid
    }

    /// Each asset with jobs that is reckoned with, and what it adds to the loss per hour on the average.
    pub fn rates(&self) -> impl Iterator<Item = (usize, f64)> {
        let assets = self.groups.iter().flat_map(|group| &group.assets);
        assets.map(|asset| {
            let capabilities = self.rules.assets[*asset].capabilities.iter();
            let rate = capabilities.map(|n| {
                let it = &self.rules.capabilities[*n];
                let most = it.loss_per_hour.iter().copied().max().unwrap_or(0);
                real(most) / real(i64::try_from(it.assets.len()).unwrap_or(1))
            });
            (*asset, rate.sum())
        })
    }

    /// By step: the least price of having all jobs of an asset finished by then; nothing for none of them.
    fn asset_price(&self, asset: usize, span: Span, tables: &Tables) -> Vec<i64> {
        let last = self.laid.grid.last;
        let mut price = vec![0; last + 2];
        let mut of_job = vec![NEVER; last + 1];
        for job in &self.rules.assets[asset].jobs {
            of_job.fill(NEVER);
            for chain in &self.model.jobs[*job] {
                let (row, late) = self.laid.finish(tables, *chain);
                for (here, price) in of_job[late.min(last)..].iter_mut().zip(row) {
                    *here = (*here).min(*price);
                }
            }
            for (price, of_job) in price.iter_mut().zip(&of_job) {
                *price = (*price + of_job).min(NEVER);
            }
        }
        let (first, end) = self.laid.grid.steps_within(span);
        price[..first].fill(NEVER);
        price[end..].fill(NEVER);
        price
    }

    /// The chain of a job that is finished by a step at the least price, and the step of its own.
    fn cheapest(&self, job: usize, step: usize, tables: &Tables) -> Option<(usize, usize)> {
        let chains = self.model.jobs[job].iter().filter_map(|chain| {
            let (row, late) = self.laid.finish(tables, *chain);
            let step = step.checked_sub(late)?;
            Some((row[step], (*chain, step)))
        });
        chains.min().map(|(_, chosen)| chosen)
    }

    /// What there is, laid out as the prices are; a parcel of a supply in the stretches where it is dearest.
    pub fn supplied(&self, prices: &[f64]) -> Vec<f64> {
        let mut there: Vec<_> = self.there.iter().map(|amount| real(*amount)).collect();
        there.resize(self.layout.size, 0.0);
        for (n, supply) in self.model.supplies.iter().enumerate() {
            let at = self.layout.supply(self.model, n).start;
            for (amount, good) in supply.parcels() {
                let good = at + good.start..at + good.end;
                let top = good.clone().map(|n| prices[n]).fold(0.0, f64::max);
                let dearest: Vec<_> = good.filter(|n| prices[*n] >= top).collect();
                for n in &dearest {
                    there[*n] += real(amount) / dearest.len() as f64;
                }
            }
        }
        there
    }
}

/// What all that there is costs; `there` is what there is of what is shared, laid out as the prices are.
pub(super) fn price_of_all(model: &Model, layout: &Layout, there: &[i64], prices: &[i64]) -> i128 {
    let product = |(a, b): (&i64, &i64)| i128::from(*a) * i128::from(*b);
    let shared: i128 = there.iter().zip(prices).map(product).sum();
    let supplies = model.supplies.iter().enumerate().map(|(n, supply)| {
        let prices = &prices[layout.supply(model, n)];
        let parcels = supply.parcels().map(|(amount, good)| {
            i128::from(amount) * i128::from(prices[good].iter().copied().max().unwrap_or(0))
        });
        parcels.sum::<i128>()
    });
    shared + supplies.sum::<i128>()
}

/// What there is of what is shared, by bucket.
pub(super) fn there(model: &Model, bucket: i64) -> Vec<i64> {
    let of_shared = model.shared.iter();
    of_shared
        .flat_map(|shared| shared.in_buckets(bucket, model.horizon))
        .collect()
}
