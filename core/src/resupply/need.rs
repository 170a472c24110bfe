//! What the cover period asks for of each thing, as whole distributions, beside what is there for it.

use super::demand::{self, Distribution};
use super::item::Content;
use super::load::{Load, loaded};
use super::shelf::Shelf;
use super::worth::Yardstick;
use crate::code::{BankCode, ItemCode, PowderCode};
use crate::gas::Gas;
use crate::lineup::{FUEL, Left, Rebuild, bank_stores, candidates};
use crate::planner::{Draw, Work};
use crate::situation::{Request, Situation};
use std::collections::BTreeSet;

/// What is needed.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum Kind {
    /// Powder, in grams.
    Powder(PowderCode),
    /// Gas of all banks of it together, in grams.
    Gas(Gas),
    /// Fuel, in millilitres.
    Fuel,
    /// A consumable, in thousandths of a unit.
    Consumable(ItemCode),
}

/// What is needed of one thing, in its unit, and what there is for it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Need {
    /// Of what.
    pub kind: Kind,
    /// What requests ask for that have no place without the trip.
    pub waiting: i64,
    /// What failures to come take on the average until the end.
    pub mean: i64,
    /// What suffices for them in 80 of 100 cases.
    pub in_80: i64,
    /// What suffices for them in 95 of 100 cases.
    pub in_95: i64,
    /// What days take of it until the end, whatever is built.
    pub steady: i64,
    /// What the line-up leaves without the trip.
    pub left: i64,
    /// What of that goes out of date before the end.
    pub lapses: i64,
    /// What the load brings.
    pub brings: i64,
    /// The chance, in thousandths, that what is left without the trip suffices for steady use and failures to
    /// come.
    pub enough_without: i64,
    /// The same with what the load brings, when it has served its requests.
    pub enough_with: i64,
}

/// What is needed of everything that any recipe here or any day takes: powders, gas, fuel, consumables.
///
/// Failures come as the records say (a Poisson process whose rate is known by a gamma distribution), each
/// takes what a rebuild by the part's first recipe takes, with the spread of its powder: a compound negative
/// binomial distribution, by [`demand`].
#[must_use]
pub fn needs(yardstick: &Yardstick, without: &Left, load: &Load, with: &Left) -> Vec<Need> {
    let bare = yardstick.bare();
    let powders = bare.powders.iter().map(|it| Kind::Powder(it.code.clone()));
    let gases: BTreeSet<Gas> = bare.banks.iter().map(|it| it.gas).collect();
    let gases = gases.into_iter().map(Kind::Gas);
    let shelves = yardstick.shelves().iter();
    let shelves = shelves.map(|it| Kind::Consumable(it.item.clone()));
    let kinds = powders.chain(gases).chain([Kind::Fuel]).chain(shelves);
    let told = kinds.map(|kind| need(yardstick, kind, without, load, with));
    told.filter(|it| it.waiting + it.in_95 + it.steady + it.brings > 0)
        .collect()
}

fn need(yardstick: &Yardstick, kind: Kind, without: &Left, load: &Load, with: &Left) -> Need {
    let end = yardstick.end();
    let mut shelves = yardstick.shelves().iter();
    let shelf = shelves.find(|it| kind == Kind::Consumable(it.item.clone()));
    let steady = shelf.map_or(0, |shelf| shelf.worn_milli(end));
    let demand = to_come(yardstick, &kind);
    let at = |permille| demand.as_ref().map_or(0, |it| it.quantile(permille));
    let chance = |free: i64| {
        let chance = demand
            .as_ref()
            .map_or(1.0, |it| it.chance_enough(free.max(0)));
        #[expect(clippy::cast_possible_truncation, reason = "a chance")]
        let permille = (chance * 1000.0).round() as i64;
        if free < 0 { 0 } else { permille }
    };
    let lapses = kind.lapses(yardstick, without, end);
    let left = kind.level(yardstick.bare(), without);
    #[expect(clippy::cast_possible_truncation, reason = "grams")]
    let mean = demand.as_ref().map_or(0, |it| it.mean().round() as i64);
    Need {
        waiting: waiting(yardstick, &kind),
        mean,
        in_80: at(800),
        in_95: at(950),
        steady,
        left,
        lapses,
        brings: brings(yardstick, &kind, load),
        enough_without: chance(left - lapses - steady),
        enough_with: chance(
            kind.level(&yardstick.brought(load), with) - kind.lapses(yardstick, with, end) - steady,
        ),
        kind,
    }
}

impl Kind {
    /// The stores of the planner that count it; none for powder. Bottles on their way are stores of their
    /// own.
    fn stores(&self, situation: &Situation) -> Vec<String> {
        match self {
            Self::Powder(_) => Vec::new(),
            Self::Gas(gas) => {
                let banks = situation.banks.iter().filter(|bank| bank.gas == *gas);
                banks
                    .flat_map(|bank| bank_stores(situation, &bank.code))
                    .collect()
            }
            Self::Fuel => vec![FUEL.to_owned()],
            Self::Consumable(item) => vec![Shelf::store_of(item)],
        }
    }

    fn level(&self, brought: &Situation, left: &Left) -> i64 {
        match self {
            Self::Powder(powder) => {
                let same = left.lots.iter().filter(|it| it.powder == powder.as_str());
                same.map(|it| it.grams).sum()
            }
            _ => {
                let stores = self.stores(brought);
                let levels = stores.iter().filter_map(|id| left.stores.get(id));
                levels.map(|it| it.level).sum()
            }
        }
    }

    fn lapses(&self, yardstick: &Yardstick, left: &Left, end: i64) -> i64 {
        let Self::Powder(powder) = self else {
            return 0;
        };
        let lots = left.lots.iter().filter(|it| it.powder == powder.as_str());
        let horizon = yardstick.measure().problem().horizon;
        let lapsing = lots.filter(|it| it.until < end && it.until != horizon);
        lapsing.map(|it| it.grams).sum()
    }

    /// What one rebuild takes of it, and the standard deviation of that.
    fn taken(&self, situation: &Situation, way: &Rebuild) -> (i64, i64) {
        match self {
            Self::Powder(powder) => {
                let stages = || way.stages.iter().filter(|it| it.powder == *powder);
                let square: i64 = stages().map(|it| it.sd_g * it.sd_g).sum();
                #[expect(clippy::cast_possible_truncation, reason = "grams")]
                let sd = (square as f64).sqrt().round() as i64;
                (stages().map(|it| it.likely_g).sum(), sd)
            }
            _ => {
                let stores = self.stores(situation);
                let drawn = way.draws.iter().filter_map(|draw| of(draw, &stores));
                (drawn.sum(), 0)
            }
        }
    }
}

/// What a draw takes of one of these stores, whichever it is.
fn of(draw: &Draw, stores: &[String]) -> Option<i64> {
    let mut choices = draw.choices().iter();
    let found = choices.find(|it| stores.contains(&it.store));
    found.map(|it| it.amount)
}

/// What failures to come take until the end; none where nothing is known to take any, or no figure can be
/// given.
fn to_come(yardstick: &Yardstick, kind: &Kind) -> Option<Distribution> {
    let records = yardstick.setting().failures.iter();
    let parts: Vec<demand::Part> = records
        .filter_map(|record| {
            let way = yardstick.rebuilds().get(&record.part)?.first()?;
            let fits = yardstick.bare().part(&record.part)?;
            let rate = record.rate().filter(|_| !fits.assets.is_empty())?;
            let (mean, sd) = kind.taken(yardstick.bare(), way);
            (mean > 0).then_some(demand::Part {
                rate: demand::Rate::Learned {
                    failures: rate.shape,
                    days: rate.days,
                },
                grams_mean: mean as f64,
                grams_sd: sd as f64,
            })
        })
        .collect();
    let days = yardstick.end() as f64 / 1440.0;
    (!parts.is_empty()).then_some(())?;
    Distribution::of_parts(&parts, days).ok()
}

/// What the first ways of requests ask for that have no place in the plan without the trip.
fn waiting(yardstick: &Yardstick, kind: &Kind) -> i64 {
    let left_out = &yardstick.measure().base().left_out;
    let bare = yardstick.bare();
    let requests = bare.requests.iter();
    let waits = requests.filter(|it| left_out.iter().any(|id| id == it.code.as_str()));
    let asks = |request: &Request| -> i64 {
        let ways = candidates(bare, request);
        let Some(option) = ways.iter().find_map(|way| way.option.as_ref()) else {
            return 0;
        };
        let stages = option.operations.iter();
        match kind {
            Kind::Powder(powder) => stages
                .filter_map(|it| match &it.work {
                    Work::Stage {
                        powder: of, grams, ..
                    } if of == powder.as_str() => Some(grams),
                    _ => None,
                })
                .sum(),
            Kind::Consumable(item) => {
                let shelf = yardstick.shelves().iter().find(|it| it.item == *item);
                let sprayed = stages.filter(|it| it.is_stage()).map(|it| it.minutes).sum();
                shelf
                    .filter(|_| sprayed > 0)
                    .map_or(0, |it| it.taken_milli(sprayed))
            }
            _ => {
                let stores = kind.stores(bare);
                let draws = stages.flat_map(|it| &it.draws);
                draws.filter_map(|it| of(it, &stores)).sum()
            }
        }
    };
    waits.map(asks).sum()
}

/// What a load brings of it; gas by its net mass.
fn brings(yardstick: &Yardstick, kind: &Kind, load: &Load) -> i64 {
    let items = &yardstick.setting().items;
    let of = |(item, units): (&super::Item, i64)| match (&item.content, kind) {
        (Content::Powder { powder, grams }, Kind::Powder(of)) if powder == of => grams * units,
        (Content::Gas { bank, .. }, Kind::Gas(of)) if is_of(yardstick.bare(), bank, *of) => {
            item.net_g * units
        }
        (Content::Fuel { ml }, Kind::Fuel) => ml * units,
        (Content::Consumable(_), Kind::Consumable(of)) if item.code == *of => units * 1000,
        _ => 0,
    };
    loaded(items, load).map(of).sum()
}

fn is_of(situation: &Situation, bank: &BankCode, gas: Gas) -> bool {
    let mut banks = situation.banks.iter();
    banks.any(|it| it.code == *bank && it.gas == gas)
}

impl Need {
    /// Whether an item brings some of it.
    #[must_use]
    pub fn is_of(&self, situation: &Situation, item: &super::Item) -> bool {
        match (&item.content, &self.kind) {
            (Content::Powder { powder, .. }, Kind::Powder(of)) => powder == of,
            (Content::Gas { bank, .. }, Kind::Gas(of)) => is_of(situation, bank, *of),
            (Content::Fuel { .. }, Kind::Fuel) => true,
            (Content::Consumable(_), Kind::Consumable(of)) => item.code == *of,
            _ => false,
        }
    }
}
