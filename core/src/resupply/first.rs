//! The first load-out: a cell about to leave, with nothing in it yet, and the case for powder in figures.

use super::demand::{Count, Distribution};
use super::worth::{Setting, Yardstick};
use super::{Content, FailureRecord, Item, NextTrip, Trip};
use crate::code::PartCode;
use crate::situation::Situation;
use chrono::TimeDelta;
use std::collections::BTreeMap;

/// Pressure in a bottle that is empty, absolute, in millibar.
const EMPTY_MBAR: i64 = 1_013;

/// What a cell that leaves is judged by: nothing is there, nothing is broken, what it takes along is all
/// until the days alone are over.
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
    // What the set burns for the camp, whatever is built, is carried apart.
    bare.fuel.camp_w = 0;
    bare.fuel.idle_ml_per_h_kw = 0;
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

/// Finished spares that would serve as large a share of failures as a load does.
#[derive(Debug, Clone, PartialEq)]
pub struct Spares {
    /// How many of each part, where any.
    pub count: BTreeMap<PartCode, i64>,
    /// What they weigh, in grams, without packing.
    pub mass_g: i64,
    /// The share of failures that they serve.
    pub served: f64,
}

/// The lightest finished spares found that serve at least this share of failures: spare by spare, each time
/// the one that serves most more for its mass.
///
/// What is still asked for falls ever more slowly with each spare of a part, so that this marginal allocation
/// finds nothing that is dominated: nothing lighter serves more (Sherbrooke, Operations Research 16, 1968;
/// Feeney & Sherbrooke, Management Science 12, 1966). Parts that this cell cannot make are left out on both
/// sides.
#[must_use]
pub fn spares_for(yardstick: &Yardstick, share: f64) -> Spares {
    let days = yardstick.end() as f64 / 1440.0;
    let site = yardstick.bare();
    let made = |part: &PartCode| {
        let ways = yardstick.rebuilds().get(part);
        ways.is_some_and(|ways| !ways.is_empty())
    };
    let records = yardstick.setting().failures.iter();
    let mut stocks: Vec<Stock> = records
        .filter_map(|record| {
            let part = site.part(&record.part)?;
            let fits = !part.assets.is_empty() && made(&part.code);
            let rate = record.rate().filter(|_| fits)?;
            let count = Count::negative_binomial(rate.per_day() * days, rate.shape).ok()?;
            Some(Stock {
                part: part.code.clone(),
                mass_g: part.mass_g.max(1),
                demand: Distribution::of_units(count).ok()?,
                count: 0,
            })
        })
        .collect();
    let expected: f64 = stocks.iter().map(|it| it.demand.mean()).sum();
    let served = |stocks: &[Stock]| {
        let short: f64 = stocks.iter().map(Stock::short).sum();
        if expected > 0.0 {
            1.0 - short / expected
        } else {
            1.0
        }
    };
    while served(&stocks) < share.min(MOST_SHARE) {
        let open = stocks.iter_mut().filter(|it| it.count < MOST_SPARES);
        let gain = |it: &Stock| it.one_more() / it.mass_g as f64;
        let Some(best) = open.max_by(|a, b| gain(a).total_cmp(&gain(b))) else {
            break;
        };
        best.count += 1;
    }
    Spares {
        mass_g: stocks.iter().map(|it| it.mass_g * it.count).sum(),
        served: served(&stocks),
        count: stocks
            .into_iter()
            .filter(|it| it.count > 0)
            .map(|it| (it.part, it.count))
            .collect(),
    }
}

/// More spares of one part are not reckoned.
const MOST_SPARES: i64 = 200;

/// All failures are never served for certain: no more than this is asked.
const MOST_SHARE: f64 = 0.999;

/// Spares of one part.
struct Stock {
    part: PartCode,
    mass_g: i64,
    /// How often it fails.
    demand: Distribution,
    count: i64,
}

impl Stock {
    /// Failures that find no spare, on the average.
    fn short(&self) -> f64 {
        self.demand.expected_short(self.count)
    }

    /// What one more serves, on the average: the chance that it is asked for.
    fn one_more(&self) -> f64 {
        1.0 - self.demand.chance_enough(self.count)
    }
}
