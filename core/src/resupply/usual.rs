//! Two usual ways of ordering, to hold a proposal against.

use super::item::{Content, Item};
use super::load::{Carrier, Load};
use super::worth::Yardstick;
use crate::code::PowderCode;
use crate::lineup::Rebuild;
use crate::situation::Request;
use std::collections::BTreeMap;

/// What each open request takes, the oldest first: cans of its powder, bottles of its gas and fuel, until one
/// does not fit.
pub(super) fn by_age(
    yardstick: &Yardstick,
    carrier: Carrier<'_>,
    items: &[Item],
    open: &[&Item],
) -> Load {
    let mut requests: Vec<&Request> = yardstick.bare().requests.iter().collect();
    requests.sort_by_key(|request| request.reported_at);
    let mut load = Load::new();
    for request in requests {
        let part = request.part.as_ref();
        let ways = part.and_then(|part| yardstick.rebuilds().get(part));
        let Some(way) = ways.and_then(|ways| ways.first()) else {
            continue;
        };
        let mut more = load.clone();
        for (item, units) in taken(way, open) {
            *more.entry(item.code.clone()).or_default() += units;
        }
        if !carrier.carries(items, &more) {
            break;
        }
        load = more;
    }
    load
}

/// The items of one rebuild: of each powder the largest can, one bottle for each that its gas fills, the
/// largest of fuel.
fn taken<'a>(way: &Rebuild, open: &[&'a Item]) -> Vec<(&'a Item, i64)> {
    let mut powders: BTreeMap<&PowderCode, i64> = BTreeMap::new();
    for stage in &way.stages {
        *powders.entry(&stage.powder).or_default() += stage.load_g;
    }
    let mut taken = Vec::new();
    for (powder, grams) in powders {
        let cans = open.iter().filter_map(|item| match &item.content {
            Content::Powder { powder: of, grams } if of == powder => Some((*item, *grams)),
            _ => None,
        });
        if let Some((can, holds)) = cans.max_by_key(|(_, grams)| *grams) {
            taken.push((can, (grams + holds - 1) / holds.max(1)));
        }
    }
    for draw in &way.draws {
        for item in open {
            let units = match &item.content {
                Content::Gas { bank, .. } => {
                    let store = crate::lineup::bank_store(bank);
                    let choice = draw.choices().iter().find(|it| it.store == store);
                    choice.map(|choice| (choice.amount + item.net_g - 1) / item.net_g.max(1))
                }
                Content::Fuel { ml } => {
                    let fuel = draw
                        .choices()
                        .iter()
                        .find(|it| it.store == crate::lineup::FUEL);
                    fuel.map(|fuel| (fuel.amount + ml - 1) / (*ml).max(1))
                }
                _ => None,
            };
            taken.extend(units.map(|units| (*item, units)));
        }
    }
    taken
}

/// The same kilograms of each powder, as many as the trip carries: a can at a time for the powder that has
/// least.
pub(super) fn same_kilos(carrier: Carrier<'_>, items: &[Item], open: &[&Item]) -> Load {
    let mut cans: BTreeMap<&PowderCode, (&Item, i64)> = BTreeMap::new();
    for item in open {
        if let Content::Powder { powder, grams } = &item.content {
            let known = cans.entry(powder).or_insert((item, *grams));
            if *grams > known.1 {
                *known = (item, *grams);
            }
        }
    }
    let mut load = Load::new();
    let mut full: Vec<&PowderCode> = Vec::new();
    loop {
        let grams = |(powder, (item, grams)): &(&&PowderCode, &(&Item, i64))| {
            let units = load.get(&item.code).copied().unwrap_or(0);
            (units * grams, (**powder).clone())
        };
        let open = cans.iter().filter(|(powder, _)| !full.contains(*powder));
        let Some((powder, (item, _))) = open.min_by_key(grams) else {
            return load;
        };
        let mut more = load.clone();
        *more.entry(item.code.clone()).or_default() += 1;
        if carrier.carries(items, &more) {
            load = more;
        } else {
            full.push(powder);
        }
    }
}
