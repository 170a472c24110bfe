//! The first load-out: a cell about to leave, with nothing in it yet, and the case for powder in figures.

use super::failure::Rate;
use super::worth::{Setting, Yardstick};
use super::{Content, FailureRecord, Item, NextTrip, Trip};
use crate::code::PartCode;
use crate::situation::Situation;
use chrono::TimeDelta;
use std::collections::BTreeMap;

/// Pressure in a bottle that is empty, absolute, in millibar.
const EMPTY_MBAR: i64 = 1_013;

/// What a cell that leaves is judged by: nothing is there, nothing is broken, what it takes along is all until the
/// days alone are over.
#[must_use]
pub fn first_setting(
    site: &Situation,
    vehicle: &Trip,
    items: Vec<Item>,
    failures: Vec<FailureRecord>,
    days_alone: i64,
) -> Setting {
    let mut bare = site.clone();
    bare.requests.clear();
    bare.lots.clear();
    bare.deliveries.clear();
    bare.keep_backs.clear();
    bare.cell.free_from = None;
    bare.cell.feeder = None;
    bare.cell.feeder_g = None;
    bare.fuel.on_hand_ml = 0;
    bare.banks
        .iter_mut()
        .for_each(|bank| bank.pressure_mbar = EMPTY_MBAR);
    for asset in &mut bare.assets {
        (asset.down_from, asset.back) = (None, None);
    }
    bare.site.receiving_min = 0;
    let items = items
        .into_iter()
        .map(|item| unstocked(item, bare.now))
        .collect();
    Setting {
        trip: Trip {
            earliest: bare.now,
            usual: bare.now,
            latest: bare.now,
            closes: bare.now,
            must_go: Vec::new(),
            ..vehicle.clone()
        },
        next: NextTrip::At(bare.now + TimeDelta::days(days_alone)),
        situation: bare,
        items,
        failures,
    }
}

/// A consumable of which there is none yet.
fn unstocked(mut item: Item, now: chrono::DateTime<chrono::Utc>) -> Item {
    if let Content::Consumable(consumed) = &mut item.content {
        consumed.counted = Some(super::Counted {
            units: 0,
            at: now,
            by: String::new(),
        });
        (consumed.builds_since, consumed.spray_min_since) = (0, 0);
    }
    item
}

/// Finished spares that would give the same chance as a load.
#[derive(Debug, Clone, PartialEq)]
pub struct Spares {
    /// How many of each part, where any.
    pub count: BTreeMap<PartCode, i64>,
    /// What they weigh, in grams, without packing.
    pub mass_g: i64,
    /// The chance that none of them lacks when it is asked for.
    pub chance: f64,
}

/// The lightest finished spares found that no failure exhausts with at least this chance: spare by spare, each time
/// the one that raises the logarithm of the chance most for its mass.
///
/// Without a limit on single parts that is the usual marginal allocation (Barlow & Proschan, Mathematical Theory of
/// Reliability, chapter 6, from memory): what it finds is undominated, so that nothing lighter has a greater chance.
/// Parts that this cell cannot make are left out on both sides; failures of different parts are independent.
#[must_use]
pub fn spares_for(yardstick: &Yardstick, chance: f64) -> Spares {
    let days = yardstick.end() as f64 / 1440.0;
    let site = yardstick.bare();
    let made = |part: &PartCode| {
        yardstick
            .rebuilds()
            .get(part)
            .is_some_and(|it| !it.is_empty())
    };
    let mut stocks: Vec<Stock> = yardstick
        .setting()
        .failures
        .iter()
        .filter_map(|record| {
            let part = site.part(&record.part)?;
            let rate = record
                .rate()
                .filter(|_| !part.assets.is_empty() && made(&part.code))?;
            Some(Stock::new(
                part.code.clone(),
                part.mass_g.max(1),
                rate,
                days,
            ))
        })
        .collect();
    let all = |stocks: &[Stock]| stocks.iter().map(|it| it.enough).product::<f64>();
    while all(&stocks) < chance && stocks.iter().any(|it| it.count < MOST_SPARES) {
        let gain = |it: &Stock| ((it.enough + it.next).ln() - it.enough.ln()) / it.mass_g as f64;
        let best = stocks.iter_mut().filter(|it| it.count < MOST_SPARES);
        let Some(best) = best.max_by(|a, b| gain(a).total_cmp(&gain(b))) else {
            break;
        };
        best.add();
    }
    Spares {
        mass_g: stocks.iter().map(|it| it.mass_g * it.count).sum(),
        chance: all(&stocks),
        count: stocks
            .into_iter()
            .filter(|it| it.count > 0)
            .map(|it| (it.part, it.count))
            .collect(),
    }
}

/// More spares of one part are not reckoned.
const MOST_SPARES: i64 = 200;

/// Spares of one part, whose failures follow a negative binomial distribution.
struct Stock {
    part: PartCode,
    mass_g: i64,
    shape: f64,
    /// days / (days behind the rate + days).
    share: f64,
    count: i64,
    /// The chance of no more failures than there are spares.
    enough: f64,
    /// The chance of exactly one more.
    next: f64,
}

impl Stock {
    fn new(part: PartCode, mass_g: i64, rate: Rate, days: f64) -> Self {
        let share = days / (rate.days + days);
        let none = (1.0 - share).powf(rate.shape);
        Self {
            part,
            mass_g,
            shape: rate.shape,
            share,
            count: 0,
            enough: none,
            next: none * rate.shape * share,
        }
    }

    fn add(&mut self) {
        self.count += 1;
        self.enough += self.next;
        let n = self.count as f64;
        self.next *= (self.shape + n) / (n + 1.0) * self.share;
    }
}
