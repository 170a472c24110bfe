//! What is wrong with a packing problem.

use super::{PackItem, Packing};
use crate::planner::Fault;
use std::collections::{BTreeMap, BTreeSet};

/// The largest limit, use or worth of a unit.
pub const MAX_FIGURE: i64 = 1_000_000_000_000;
/// The most units of an item.
pub const MAX_UNITS: i64 = 10_000;
/// The most items.
pub const MAX_ITEMS: usize = 1000;

impl Packing {
    /// Every contradiction in the problem; none if it can be packed.
    #[must_use]
    pub fn faults(&self) -> Vec<Fault> {
        let mut found = Faults(Vec::new());
        let items = self.items.len();
        if items > MAX_ITEMS {
            found.add(
                "items",
                format!("{items} given, at most {MAX_ITEMS} are packed at once"),
            );
        }
        found.unique("limits", self.limits.iter().map(|it| &it.id));
        for (n, limit) in self.limits.iter().enumerate() {
            found.within(&format!("limits[{n}].limit"), limit.limit, 0, MAX_FIGURE);
        }
        found.unique("items", self.items.iter().map(|it| &it.id));
        for (n, item) in self.items.iter().enumerate() {
            found.item(&format!("items[{n}]"), item, self);
        }
        for (n, set) in self.sets.iter().enumerate() {
            found.together(&format!("sets[{n}]"), &set.iter().collect::<Vec<_>>(), self);
        }
        for (n, (one, other)) in self.apart.iter().enumerate() {
            found.together(&format!("apart[{n}]"), &[one, other], self);
        }
        let top = |item: &PackItem| {
            let largest = item.worth.iter().map(|it| i128::from(it.abs())).max();
            largest.unwrap_or(0) * i128::from(item.max)
        };
        let sum: i128 = self.items.iter().map(top).sum();
        if sum > i128::from(i64::MAX / 4) {
            found.add(
                "items",
                format!("all together, {sum}, are worth too much to be counted"),
            );
        }
        if found.0.is_empty() {
            found.what_must_go(self);
        }
        found.0
    }
}

struct Faults(Vec<Fault>);

impl Faults {
    fn add(&mut self, place: &str, what: String) {
        let place = place.to_owned();
        self.0.push(Fault { place, what });
    }

    fn within(&mut self, place: &str, given: i64, least: i64, most: i64) {
        if given < least || given > most {
            self.add(place, format!("{given} is not within {least} to {most}"));
        }
    }

    fn unique<'a>(&mut self, place: &str, ids: impl Iterator<Item = &'a String>) {
        let mut seen = BTreeSet::new();
        for (n, id) in ids.enumerate() {
            if !seen.insert(id) {
                let what = format!("'{id}' is given twice; ids are unique");
                self.add(&format!("{place}[{n}].id"), what);
            }
        }
    }

    fn item(&mut self, place: &str, item: &PackItem, packing: &Packing) {
        self.within(&format!("{place}.max"), item.max, 0, MAX_UNITS);
        self.within(&format!("{place}.must"), item.must, 0, item.max.max(0));
        if item.worth.is_empty() {
            let what = "empty; give the worth of the first unit, and of others if they differ";
            self.add(&format!("{place}.worth"), what.to_owned());
        }
        for (n, worth) in item.worth.iter().enumerate() {
            self.within(
                &format!("{place}.worth[{n}]"),
                *worth,
                -MAX_FIGURE,
                MAX_FIGURE,
            );
        }
        for (id, uses) in &item.uses {
            let place = format!("{place}.uses.{id}");
            self.within(&place, *uses, 0, MAX_FIGURE);
            if packing.limits.iter().all(|limit| limit.id != *id) {
                self.add(
                    &place,
                    format!("limit '{id}' is not among the limits of the problem"),
                );
            }
        }
    }

    fn together(&mut self, place: &str, ids: &[&String], packing: &Packing) {
        if ids.len() < 2 {
            self.add(
                place,
                format!("{} given; name two or more items", ids.len()),
            );
        }
        for (n, id) in ids.iter().enumerate() {
            let place = format!("{place}[{n}]");
            if packing.items.iter().all(|item| item.id != **id) {
                self.add(
                    &place,
                    format!("item '{id}' is not among the items of the problem"),
                );
            }
            if ids[..n].contains(id) {
                self.add(&place, format!("'{id}' is given twice; name each once"));
            }
        }
    }

    /// What must go, with what sets ask for besides, has to fit.
    fn what_must_go(&mut self, packing: &Packing) {
        let mut least: BTreeMap<&String, i64> =
            packing.items.iter().map(|it| (&it.id, it.must)).collect();
        while let Some(set) = packing.sets.iter().find(|set| {
            let taken = set.iter().filter(|id| least[id] > 0).count();
            taken > 0 && taken < set.len()
        }) {
            for id in set {
                let units = least.entry(id).or_default();
                *units = (*units).max(1);
            }
        }
        for (n, item) in packing.items.iter().enumerate() {
            if least[&item.id] > item.max {
                let what = format!("{} is asked for by a set that must go", least[&item.id]);
                self.add(
                    &format!("items[{n}].max"),
                    format!("{}, but {what}", item.max),
                );
            }
        }
        for (n, (one, other)) in packing.apart.iter().enumerate() {
            if least[one] > 0 && least[other] > 0 {
                let what = format!("'{one}' and '{other}' must both go; take one of them back");
                self.add(&format!("apart[{n}]"), what);
            }
        }
        for (n, limit) in packing.limits.iter().enumerate() {
            let each = packing.items.iter().map(|item| {
                let one = item.uses.get(&limit.id).copied().unwrap_or(0);
                i128::from(one) * i128::from(least[&item.id])
            });
            let (used, most) = (each.sum::<i128>(), limit.limit);
            if used > i128::from(most) {
                let what = format!("what must go takes {used} of {most}; take some of it back");
                self.add(&format!("limits[{n}]"), what);
            }
        }
    }
}
