//! What single units are worth, and the load that is worth most by that: where the search begins.

use super::{Bench, load_of};
use crate::code::ItemCode;
use crate::resupply::item::{Content, Item};
use crate::resupply::load::{Carrier, Load, MASS};
use crate::resupply::pack::{PackItem, Packed, Packing, check, pack};
use crate::resupply::worth::waiting_for;
use std::collections::{BTreeMap, BTreeSet};

/// More units of one item are not reckoned.
const MOST_UNITS: i64 = 24;
/// Worths are reckoned at so many units, and evenly between them.
const KNOTS: [i64; 10] = [0, 1, 2, 3, 4, 6, 8, 12, 16, 24];
/// Nodes of the search that proves a packing.
const PACK_NODES: u64 = 200_000;

impl Bench<'_> {
    /// So many units of an item are reckoned at the most: what the trip carries of it alone with a little
    /// more payload, what the depot has, and of a true part what waits for it. What is reckoned in no way
    /// goes once, for the sake of its set.
    pub(super) fn most(&self, item: &Item) -> i64 {
        let roomier = self.roomier();
        let carrier = Carrier {
            trip: &roomier,
            rules: self.order.rules,
        };
        let (uses, limits) = (carrier.uses(item), carrier.limits());
        let fits = limits.iter().filter_map(|limit| {
            let each = uses.get(&limit.id)?;
            Some(limit.limit / each)
        });
        let asked = match &item.content {
            Content::Part(part) => {
                let all = waiting_for(self.order.yardstick.bare(), part, MOST_UNITS);
                i64::try_from(all.len()).unwrap_or(MOST_UNITS)
            }
            Content::Other => i64::from(self.order.sets.iter().any(|set| set.contains(&item.code))),
            _ => MOST_UNITS,
        };
        let depot = item.depot.unwrap_or(MOST_UNITS);
        fits.chain([depot, asked, MOST_UNITS])
            .min()
            .unwrap_or(0)
            .max(0)
    }

    /// What each unit of each item averts if there is plenty of all that is not of its kind.
    pub(super) fn worths(&mut self) -> Option<BTreeMap<ItemCode, Vec<i64>>> {
        let most: Vec<(&Item, i64)> = self.open().map(|item| (item, self.most(item))).collect();
        let mut worths = BTreeMap::new();
        for (item, count) in &most {
            let others = most.iter().filter(|(other, _)| !same_kind(item, other));
            let plenty: Load = others
                .map(|(it, count)| (it.code.clone(), *count))
                .collect();
            let found = self.worths_of(item, *count, &plenty)?;
            worths.insert(item.code.clone(), found);
        }
        Some(worths)
    }

    fn worths_of(&mut self, item: &Item, most: i64, plenty: &Load) -> Option<Vec<i64>> {
        let at = |units: i64| {
            let mut load = plenty.clone();
            load.insert(item.code.clone(), units);
            load
        };
        if most == 0 || matches!(item.content, Content::Other) {
            return Some(vec![0; usize::try_from(most).unwrap_or(0)]);
        }
        let (none, all) = (self.averted(&at(0))?, self.averted(&at(most))?);
        if all <= none {
            return Some(vec![0; usize::try_from(most).unwrap_or(0)]);
        }
        let (mut worths, mut last, mut best) = (Vec::new(), 0, none);
        let knots = KNOTS.into_iter().filter(|knot| *knot > 0 && *knot < most);
        for knot in knots.chain([most]) {
            // With one more at hand what was possible still is: where a search found less, it was luck.
            let found = if best >= all {
                all
            } else {
                self.averted(&at(knot))?
            };
            let found = found.clamp(best, all.max(best));
            let each = (found - best) / (knot - last);
            for n in last + 1..=knot {
                let rest = if n == knot {
                    (found - best) - each * (knot - last - 1)
                } else {
                    each
                };
                worths.push(rest);
            }
            (last, best) = (knot, found);
        }
        Some(worths)
    }

    /// The load that is worth most by single worths, with `more_g` grams more payload; verified apart.
    pub(super) fn packed(
        &mut self,
        worths: &BTreeMap<ItemCode, Vec<i64>>,
        must: &Load,
        more_g: i64,
        out: &BTreeSet<ItemCode>,
    ) -> Packed {
        let carrier = self.carrier();
        let mut limits = carrier.limits();
        limits
            .iter_mut()
            .filter(|it| it.id == MASS)
            .for_each(|it| it.limit += more_g);
        let items: Vec<PackItem> = self
            .open()
            .map(|item| {
                let must = must.get(&item.code).copied().unwrap_or(0);
                let worth = worths.get(&item.code).cloned().unwrap_or_default();
                let most = i64::try_from(worth.len()).unwrap_or(0).max(must);
                let most = if out.contains(&item.code) { must } else { most };
                PackItem {
                    id: item.code.to_string(),
                    max: most,
                    worth: [worth, vec![0]].concat(),
                    uses: carrier.uses(item),
                    must,
                }
            })
            .collect();
        let here = |code: &ItemCode| items.iter().any(|item| item.id == code.as_str());
        let names = |set: &Vec<ItemCode>| set.iter().map(ToString::to_string).collect();
        let apart = carrier.apart(self.items()).into_iter();
        let apart = apart.filter(|(one, other)| here(one) && here(other));
        let packing = Packing {
            known: None,
            limits,
            sets: self.sets.iter().copied().map(names).collect(),
            apart: apart
                .map(|(one, other)| (one.to_string(), other.to_string()))
                .collect(),
            items,
        };
        let packed = pack(&packing, PACK_NODES, self.stop);
        let faults = check(&packing, &packed);
        assert!(
            faults.is_empty(),
            "a packing that breaks its own problem: {faults:?}"
        );
        packed
    }

    /// Of what is not loaded together, single worths may choose the side that is worth nothing without the
    /// other, as powders without fuel: so a load is packed for each side too, and the best by true worth is
    /// begun with.
    pub(super) fn start(
        &mut self,
        worths: &BTreeMap<ItemCode, Vec<i64>>,
        must: &Load,
        packed: &Load,
    ) -> Option<Load> {
        let mut foes: BTreeMap<ItemCode, BTreeSet<ItemCode>> = BTreeMap::new();
        for (one, other) in self.carrier().apart(self.items()) {
            foes.entry(one.clone()).or_default().insert(other.clone());
            foes.entry(other).or_default().insert(one);
        }
        let sides: BTreeSet<BTreeSet<ItemCode>> = foes.into_values().collect();
        let (mut best, mut averted) = (packed.clone(), self.averted(packed)?);
        for out in sides {
            let load = load_of(&self.packed(worths, must, 0, &out));
            let found = self.averted(&load)?;
            if found > averted {
                (best, averted) = (load, found);
            }
        }
        Some(best)
    }
}

/// Whether one stands in for the other: the same powder, gas of the same bank, fuel, the same part.
fn same_kind(one: &Item, other: &Item) -> bool {
    use Content::{Fuel, Gas, Part, Powder};
    match (&one.content, &other.content) {
        (
            Powder { powder, .. },
            Powder {
                powder: as_well, ..
            },
        ) => powder == as_well,
        (Gas { bank, .. }, Gas { bank: as_well, .. }) => bank == as_well,
        (Fuel { .. }, Fuel { .. }) => true,
        (Part(part), Part(as_well)) => part == as_well,
        _ => one.code == other.code,
    }
}
