use super::chain::{Laid, NEVER, Tables};
use super::grid::Grid;
use super::group::{Group, groups};
use super::model::Model;
use super::prices::{Layout, PriceLists, real};
use super::scale::Scale;
use crate::planner::rules::Rules;

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
        let of_shared = model.shared.iter();
        Self {
            rules,
            model,
            layout: Layout::new(model, bucket),
            laid: Laid::new(model, grid),
            groups: groups(rules, scale, grid),
            there: of_shared
                .flat_map(|shared| shared.in_buckets(bucket, rules.horizon))
                .collect(),
        }
    }

    /// Roughly how many operations one value takes.
    pub fn work(&self) -> usize {
        self.laid.work() + self.groups.iter().map(Group::work).sum::<usize>()
    }

    /// The least of loss and price, less what all costs that there is: no plan loses less. With `used`,
    /// what is then taken is added there.
    pub fn value(&self, prices: &[i64], mut used: Option<&mut [f64]>) -> i128 {
        let lists = PriceLists::new(self.model, &self.layout, prices, self.laid.grid);
        let tables = self.laid.tables(self.model, &lists);
        let mut sum = -self.price_of_all(prices);
        for group in &self.groups {
            let price: Vec<_> = group
                .assets
                .iter()
                .map(|it| self.asset_price(*it, &tables))
                .collect();
            let (least, back) = group.least(&price, used.is_some());
            sum += i128::from(least);
            let Some(used) = &mut used else { continue };
            let last = self.laid.grid.last;
            for (asset, step) in group
                .assets
                .iter()
                .zip(back)
                .filter(|(_, step)| *step <= last)
            {
                for job in &self.rules.assets[*asset].jobs {
                    if let Some(chosen) = self.cheapest(*job, step, &tables) {
                        self.laid.trace(self.model, &lists, &tables, chosen, used);
                    }
                }
            }
        }
        sum
    }

    /// By step: the least price of having all jobs of an asset finished by then; nothing for none of them.
    fn asset_price(&self, asset: usize, tables: &Tables) -> Vec<i64> {
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

    fn price_of_all(&self, prices: &[i64]) -> i128 {
        let product = |(a, b): (&i64, &i64)| i128::from(*a) * i128::from(*b);
        let shared: i128 = self.there.iter().zip(prices).map(product).sum();
        let supplies = self.model.supplies.iter().enumerate().map(|(n, supply)| {
            let prices = &prices[self.layout.supply(self.model, n)];
            let parcels = supply.parcels().map(|(amount, good)| {
                i128::from(amount) * i128::from(prices[good].iter().copied().max().unwrap_or(0))
            });
            parcels.sum::<i128>()
        });
        shared + supplies.sum::<i128>()
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
