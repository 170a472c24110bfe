//! A loss that no plan can go below, by prices on everything that is scarce.
//!
//! Whatever a minute of a cell, of a person, of a slot or of a limit, a gram of a powder and a unit of a
//! store is priced at (never below nothing, and minute by minute), a plan takes no more of each than there
//! is, so that what it takes costs no more than all that there is: for each plan
//!
//! > loss >= loss + price of what it takes - price of all that there is.
//!
//! On the right side nothing is shared any longer: each job can be done as if it were alone, when it is
//! cheapest for it, and only the machines of one capability hang together, since their number counts. The
//! least of that is therefore found machine by machine ([`chain`], [`group`]) and is a bound for any
//! prices; [`ascent`] looks for prices that make it large (Lagrangian relaxation; M. L. Fisher, 'The
//! Lagrangian relaxation method for solving integer programming problems', Management Science 27 (1981)).
//! Where few large parts compete for one supply, [`cases`] of when a machine is back get prices of their own.
//!
//! The figures are whole numbers throughout, and everything is rounded to the side that makes the bound
//! lower; floating point only steers the ascent.
//!
//! Left out, since it only restricts further: which stage follows which, beyond the least set-up and the
//! first warming of a day; batches and the longest waits; how lots and stores are divided over stages, beyond
//! what each can give of whole draws ([`sums`]); all but a few floors of a store; what a job holds while it
//! waits between its operations; and that minutes of one price are taken by jobs as wholes.

mod ascent;
mod cases;
mod chain;
mod dual;
mod grid;
mod group;
mod lots;
mod model;
mod prices;
mod rest;
mod scale;
mod spans;
mod sums;
mod supply;
#[cfg(test)]
mod tests;

use ascent::Ascent;
pub(super) use cases::{Case, Cases};
use dual::Dual;
use grid::Grid;
use model::Model;
pub(super) use model::View;
pub(super) use rest::{Rest, Rests, Stand};
use scale::Scale;

use super::decode::{Toll, earliest_finishes};
use super::problem::Problem;
use super::rules::Rules;

/// A loss that no plan can go below, as rate x minutes.
///
/// It is the larger of two: of each job finished as early as it could be with the whole site to itself, and
/// of the bound by prices.
#[must_use]
pub fn bound(problem: &Problem) -> i64 {
    let rules = Rules::new(problem);
    let alone = Toll::new(&rules, &earliest_finishes(&rules)).total();
    alone.max(by_prices(&rules))
}

/// So many steps of the grid while prices are looked for, at most, ...
const COARSE: i64 = 256;
/// ... and to reckon with them in the end.
const FINE: i64 = 2048;
/// So many steps of all tasks together, at most, so that memory suffices.
const ENTRIES: i64 = 4_000_000;
/// So many rounds of an ascent from nothing, at most.
const ROUNDS: usize = 150;
/// So many operations in all, roughly, ...
const WORK: usize = 16_000_000;
/// ... and so many more for each job.
const WORK_PER_JOB: usize = 200_000;
/// ... up to so many.
const MANY: usize = 200;

/// Climbs with prices that each hold for long, then with shorter ones, all on a coarse grid; reckons with the
/// last of them on a fine one; and takes cases apart while there is work left.
fn by_prices(rules: &Rules) -> i64 {
    let setting = Setting::new(rules, View::Whole);
    setting.with_cases(rules, |cases, least| {
        cases.take_apart(setting.work / 3);
        setting.scale.up(cases.least().max(least))
    })
}

/// How a problem is laid out for prices to be looked for.
pub(super) struct Setting {
    scale: Scale,
    model: Model,
    /// Minutes of a step of the grid, ...
    coarse: i64,
    fine: i64,
    /// ... and for which one price holds.
    long: i64,
    short: i64,
    work: usize,
}

impl Setting {
    pub fn new(rules: &Rules, view: View) -> Self {
        let horizon = rules.horizon;
        let scale = Scale::for_loss(rules.worst_loss());
        let model = Model::new(rules, scale, view);
        let tasks = model.chains.iter().map(|chain| chain.tasks.len() + 1);
        let room = ENTRIES
            / i64::try_from(tasks.sum::<usize>())
                .unwrap_or(ENTRIES)
                .max(1);
        let coarse = grid::length_for(horizon, COARSE.min(room).max(8));
        let long = grid::length_within((horizon / 14).min(720)).max(coarse);
        let short = grid::length_within(long / 2).max(coarse);
        Self {
            scale,
            model,
            coarse,
            fine: grid::length_for(horizon, FINE.min(room).max(8)).min(short),
            long,
            short,
            work: WORK + WORK_PER_JOB * rules.jobs.len().min(MANY),
        }
    }

    fn dual<'a>(&'a self, rules: &'a Rules, unit: i64, minutes: i64) -> Dual<'a> {
        let grid = Grid::new(rules.horizon, unit, minutes);
        Dual::new(rules, &self.model, self.scale, grid)
    }

    /// Works with all plans as one case, and with what prices that hold for long came to.
    pub fn with_cases<T>(&self, rules: &Rules, work: impl FnOnce(&mut Cases, i128) -> T) -> T {
        let (second, last) = (
            self.dual(rules, self.coarse, self.short),
            self.dual(rules, self.fine, self.short),
        );
        let (summit, least) = self.climb(rules, &second);
        work(
            &mut Cases::new(&second, &last, summit, self.always(rules)),
            least,
        )
    }

    /// Each asset back at any time, or never.
    fn always(&self, rules: &Rules) -> Vec<dual::Span> {
        vec![(-1, rules.horizon); rules.assets.len()]
    }

    /// The best prices found for a dual with short ones, and the most that prices came to.
    fn climb(&self, rules: &Rules, second: &Dual) -> (ascent::Summit, i128) {
        let always = self.always(rules);
        let first = self.dual(rules, self.coarse, self.long);
        let rounds = |dual: &Dual| (self.work / 3 / dual.work().max(1)).clamp(2, ROUNDS);
        let prices = vec![0.0; first.layout.size];
        let found = Ascent::new(&first).climb(prices, &always, rounds(&first));
        let prices = second
            .layout
            .finer(&self.model, &first.layout, &found.prices);
        let summit = Ascent::new(second).climb(prices, &always, rounds(second));
        (summit, found.value)
    }
}
