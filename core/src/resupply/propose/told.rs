//! What there is to say of a load: line by line, what stays behind and why, and what usual ways would avert.

use super::{Behind, Bench, LoadLine, Stays, Usual, changed};
use crate::code::{ItemCode, RequestCode};
use crate::resupply::item::{Content, Item};
use crate::resupply::load::{Barred, Load, judge};
use crate::resupply::usual::{by_age, same_kilos};
use crate::resupply::worth::Truly;
use std::collections::BTreeSet;

impl Bench<'_> {
    pub(super) fn lines(
        &mut self,
        load: &Load,
        truly: &Truly,
        must: &Load,
    ) -> Option<Vec<LoadLine>> {
        let mut lines = Vec::new();
        for (code, units) in load.iter().filter(|(_, units)| **units > 0) {
            let without = self.truly(&changed(load, code, -units))?;
            let one_less = self.averted(&changed(load, code, -1))?;
            lines.push(LoadLine {
                item: code.clone(),
                units: *units,
                must: must.get(code).copied().unwrap_or(0).min(*units),
                averts: truly.averted() - without.averted(),
                // One less may be worth less than none, where it takes what others need.
                last_averts: truly.averted() - one_less.max(without.averted()),
                frees: beyond(&truly.planned.freed, &without.planned.freed),
            });
        }
        let items = self.items();
        let gross = |line: &LoadLine| {
            let item = items.iter().find(|item| item.code == line.item);
            item.map_or(1, |item| item.gross_g * line.units).max(1)
        };
        lines.sort_by_cached_key(|line| {
            let per_kg = line.averts.saturating_mul(1000) / gross(line);
            (line.must == 0, std::cmp::Reverse(per_kg), line.item.clone())
        });
        Some(lines)
    }

    pub(super) fn behind(&mut self, load: &Load, truly: &Truly) -> Option<Vec<Behind>> {
        let mut behind = Vec::new();
        for item in self.items() {
            let bars = self.carrier().bars(item);
            let units = load.get(&item.code).copied().unwrap_or(0);
            let none_left = item.depot.is_some_and(|depot| units >= depot);
            if matches!(item.content, Content::Other) || (none_left && bars.is_empty()) {
                continue;
            }
            let more = self.truly(&changed(load, &item.code, 1))?;
            let averts = more.averted() - truly.averted();
            if averts > self.little(truly.averted()) {
                behind.push(Behind {
                    item: item.code.clone(),
                    averts,
                    frees: beyond(&more.planned.freed, &truly.planned.freed),
                    why: self.stays(load, item, bars),
                });
            }
        }
        behind.sort_by_key(|it| std::cmp::Reverse(it.averts));
        Some(behind)
    }

    fn stays(&self, load: &Load, item: &Item, bars: Vec<Barred>) -> Stays {
        if !bars.is_empty() {
            return Stays::Barred(bars);
        }
        let carrier = self.carrier();
        let more = changed(load, &item.code, 1);
        let foes = carrier.apart(self.items()).into_iter();
        let foes = foes.filter_map(|(one, other)| match &item.code {
            code if *code == one => Some(other),
            code if *code == other => Some(one),
            _ => None,
        });
        let foes: Vec<ItemCode> = foes.filter(|code| load.contains_key(code)).collect();
        if !foes.is_empty() {
            return Stays::Apart(foes);
        }
        let judged = judge(&carrier, self.items(), &more);
        let full: Vec<String> = judged.over().map(|(id, _, _)| id.clone()).collect();
        match (full.is_empty(), self.together(&more)) {
            (false, _) => Stays::Full(full),
            (true, false) => Stays::Set,
            (true, true) => Stays::Little,
        }
    }

    pub(super) fn usual(&mut self) -> Option<Usual> {
        let open: Vec<&Item> = self.open().collect();
        let (yardstick, carrier, items) = (self.order.yardstick, self.carrier(), self.items());
        let aged = by_age(yardstick, carrier, items, &open);
        let same = same_kilos(carrier, items, &open);
        let aged_averts = self.averted(&aged)?;
        let same_averts = self.averted(&same)?;
        Some(Usual {
            by_age: (aged, aged_averts),
            same_kilos: (same, same_averts),
        })
    }
}

fn beyond(all: &[RequestCode], known: &[RequestCode]) -> Vec<RequestCode> {
    let known: BTreeSet<&RequestCode> = known.iter().collect();
    all.iter()
        .filter(|code| !known.contains(code))
        .cloned()
        .collect()
}
