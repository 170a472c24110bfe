//! A load made better by what it is truly worth: less of what averts nothing, more of what averts more.

use super::{Bench, MORE_G, changed, load_of};
use crate::code::ItemCode;
use crate::resupply::item::Item;
use crate::resupply::load::{Carrier, Load};
use std::collections::{BTreeMap, BTreeSet};

/// So many times the load is gone through for a better one.
const ROUNDS: usize = 4;

impl Bench<'_> {
    /// Takes away what averts nothing, and puts in or exchanges what averts more, by true worth.
    pub(super) fn improved(&mut self, mut load: Load, must: &Load) -> Option<Load> {
        let mut best = self.averted(&load)?;
        for _ in 0..ROUNDS {
            let before = best;
            (load, best) = self.leaner(load, must, best)?;
            (load, best) = self.fuller(load, best)?;
            (load, best) = self.exchanged(load, must, best)?;
            if best == before {
                break;
            }
        }
        self.leaner(load, must, best).map(|(load, _)| load)
    }

    fn leaner(&mut self, mut load: Load, must: &Load, mut best: i64) -> Option<(Load, i64)> {
        let codes: Vec<ItemCode> = load.keys().cloned().collect();
        for code in codes {
            let least = must.get(&code).copied().unwrap_or(0);
            while load.get(&code).copied().unwrap_or(0) > least {
                let less = changed(&load, &code, -1);
                let found = self.averted(&less)?;
                if found + self.little(best) < best || !self.together(&less) {
                    break;
                }
                (load, best) = (less, found);
            }
        }
        Some((load, best))
    }

    fn fuller(&mut self, mut load: Load, mut best: i64) -> Option<(Load, i64)> {
        loop {
            let mut found: Option<(Load, i64, i64)> = None;
            for item in self.open() {
                let more = changed(&load, &item.code, 1);
                if !self.allowed(&more, item) {
                    continue;
                }
                let averted = self.averted(&more)?;
                let per_kg = (averted - best) * 1000 / item.gross_g.max(1);
                if averted > best + self.little(best)
                    && found.as_ref().is_none_or(|(_, _, known)| per_kg > *known)
                {
                    found = Some((more, averted, per_kg));
                }
            }
            let Some((more, averted, _)) = found else {
                return Some((load, best));
            };
            (load, best) = (more, averted);
        }
    }

    /// One unit out, one of another kind in.
    fn exchanged(&mut self, load: Load, must: &Load, best: i64) -> Option<(Load, i64)> {
        let codes: Vec<ItemCode> = load.keys().cloned().collect();
        for code in codes {
            if load.get(&code) <= must.get(&code) {
                continue;
            }
            let less = changed(&load, &code, -1);
            for item in self.open() {
                let other = changed(&less, &item.code, 1);
                if item.code == code || !self.allowed(&other, item) {
                    continue;
                }
                let averted = self.averted(&other)?;
                if averted > best + self.little(best) {
                    return Some((other, averted));
                }
            }
        }
        Some((load, best))
    }

    fn allowed(&self, load: &Load, item: &Item) -> bool {
        let units = load.get(&item.code).copied().unwrap_or(0);
        units <= self.most(item)
            && self.carrier().carries(self.items(), load)
            && self.together(load)
    }

    /// Whether of each set all are there, or none.
    pub(super) fn together(&self, load: &Load) -> bool {
        let here = |code: &ItemCode| load.get(code).is_some_and(|units| *units > 0);
        self.sets
            .iter()
            .map(|set| set.iter().filter(|code| here(code)).count() % set.len().max(1))
            .all(|rest| rest == 0)
    }

    /// What the best load with ten kilograms more averts: the packed one, or the present one with more put
    /// in.
    pub(super) fn with_more(
        &mut self,
        worths: &BTreeMap<ItemCode, Vec<i64>>,
        must: &Load,
        load: &Load,
    ) -> Option<i64> {
        let packed = self.packed(worths, must, MORE_G, &BTreeSet::new());
        let mut best = self.averted(&load_of(&packed))?.max(self.averted(load)?);
        let roomier = self.roomier();
        for item in self.open() {
            let more = changed(load, &item.code, 1);
            let carrier = Carrier {
                trip: &roomier,
                rules: self.order.rules,
            };
            if carrier.carries(self.items(), &more) && self.together(&more) {
                best = best.max(self.averted(&more)?);
            }
        }
        Some(best)
    }
}
