//! The proposal: which load of a trip averts most, proven on single worths and then improved on true ones.

use super::item::{Content, Item};
use super::load::{Barred, Carrier, Load, MASS, judge};
use super::pack::{PackItem, Packed, Packing, pack};
use super::usual::{by_age, same_kilos};
use super::worth::{Truly, Yardstick, waiting_for};
use super::{CarriageRules, Trip};
use crate::code::{ItemCode, RequestCode};
use std::collections::{BTreeMap, BTreeSet};

/// More units of one item are not reckoned.
const MOST_UNITS: i64 = 24;
/// Worths are reckoned at so many units, and evenly between them.
const KNOTS: [i64; 10] = [0, 1, 2, 3, 4, 6, 8, 12, 16, 24];
/// Nodes of the search that proves a packing.
const PACK_NODES: u64 = 200_000;
/// So many times the load is gone through for a better one.
const ROUNDS: usize = 4;
/// What more payload is asked about, in grams.
const MORE_G: i64 = 10_000;

/// A proposed load, and what there is to say of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Proposal {
    /// How many units of what.
    pub load: Load,
    /// What it is worth.
    pub truly: Truly,
    /// Its lines, those that must go first, then by what each averts for each kilogram.
    pub lines: Vec<LoadLine>,
    /// What stays behind and would avert something, the most first.
    pub behind: Vec<Behind>,
    /// Items that do not go on this trip at all, and why.
    pub barred: Vec<(ItemCode, Vec<Barred>)>,
    /// What must go, and does not fit: how many units of it stay.
    pub must_left: Vec<(ItemCode, i64)>,
    /// The packing by single worths: how good, and how surely.
    pub packed: Packed,
    /// By how much more loss would be averted with ten kilograms more, as rate x minutes.
    pub ten_kg_more: i64,
    /// What two usual ways of ordering avert.
    pub usual: Usual,
    /// How many loads were held against the yardstick.
    pub tried: usize,
}

/// One line of a proposal.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LoadLine {
    /// Which item.
    pub item: ItemCode,
    /// How many units.
    pub units: i64,
    /// Of these somebody said that they must go.
    pub must: i64,
    /// What the whole line averts: what is lost without it, as rate x minutes.
    pub averts: i64,
    /// What its last unit averts.
    pub last_averts: i64,
    /// Requests that have no place without it.
    pub frees: Vec<RequestCode>,
}

/// Something that stays behind.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Behind {
    /// Which item.
    pub item: ItemCode,
    /// What one more of it would avert, if it could be carried, as rate x minutes.
    pub averts: i64,
    /// Whom that would free.
    pub frees: Vec<RequestCode>,
    /// Why it does not go.
    pub why: Stays,
}

/// Why something stays behind.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Stays {
    /// It does not go on this trip at all.
    Barred(Vec<Barred>),
    /// Beside the rest of the load it is beyond these limits of the trip.
    Full(Vec<String>),
    /// It is not loaded together with these, which avert more.
    Apart(Vec<ItemCode>),
    /// It goes only with the rest of its set.
    Set,
    /// It would avert too little to be told from nothing.
    Little,
}

/// What two usual ways of ordering avert, each within all limits of the trip.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Usual {
    /// What each request takes, the oldest first, until the trip is full.
    pub by_age: (Load, i64),
    /// The same kilograms of each powder.
    pub same_kilos: (Load, i64),
}

/// What a proposal is worked out from.
#[derive(Debug, Clone, Copy)]
pub struct Order<'a> {
    /// What loads are held against.
    pub yardstick: &'a Yardstick,
    /// Items that go together: each at least once, or none.
    pub sets: &'a [Vec<ItemCode>],
    /// What the site wrote down of the rules of the trip's mode.
    pub rules: Option<&'a CarriageRules>,
}

/// Works a load out; none if stopped. `tell` hears how many loads were tried.
#[must_use]
pub fn propose(
    order: Order<'_>,
    stop: &mut dyn FnMut() -> bool,
    tell: &mut dyn FnMut(usize),
) -> Option<Proposal> {
    let mut bench = Bench {
        order,
        tried: BTreeMap::new(),
        stop,
        tell,
    };
    let (must, must_left) = bench.must();
    let worths = bench.worths()?;
    let (packing, packed) = bench.packed(&worths, &must, 0, &BTreeSet::new());
    let start = bench.start(&worths, &must, &load_of(&packed))?;
    let best = bench.improved(start, &must)?;
    let ten = bench.with_more(&worths, &must, &best)?;
    let truly = bench.truly(&best)?;
    let lines = bench.lines(&best, &truly, &must)?;
    let behind = bench.behind(&best, &truly)?;
    let usual = bench.usual()?;
    debug_assert!(super::pack::check(&packing, &packed).is_empty());
    Some(Proposal {
        barred: bench.barred(),
        must_left,
        packed,
        ten_kg_more: (ten - truly.averted()).max(0),
        usual,
        tried: bench.tried.len(),
        load: best,
        truly,
        lines,
        behind,
    })
}

struct Bench<'a> {
    order: Order<'a>,
    tried: BTreeMap<Load, Truly>,
    stop: &'a mut dyn FnMut() -> bool,
    tell: &'a mut dyn FnMut(usize),
}

impl<'a> Bench<'a> {
    fn items(&self) -> &'a [Item] {
        &self.order.yardstick.setting().items
    }

    fn trip(&self) -> &'a Trip {
        &self.order.yardstick.setting().trip
    }

    fn carrier(&self) -> Carrier<'a> {
        Carrier {
            trip: self.trip(),
            rules: self.order.rules,
        }
    }

    fn truly(&mut self, load: &Load) -> Option<Truly> {
        let mut load = load.clone();
        load.retain(|_, units| *units > 0);
        if let Some(known) = self.tried.get(&load) {
            return Some(known.clone());
        }
        let within = |less: &Load| {
            less.iter()
                .all(|(code, units)| load.get(code) >= Some(units))
        };
        let less = self.tried.iter().filter(|(less, _)| within(less));
        let known = less.min_by_key(|(_, truly)| truly.plan.loss);
        let known = known.map(|(_, truly)| truly.plan.clone());
        let yardstick = self.order.yardstick;
        let truly = yardstick.truly_from(&load, known.as_ref(), self.stop)?;
        self.tried.insert(load, truly.clone());
        (self.tell)(self.tried.len());
        Some(truly)
    }

    fn averted(&mut self, load: &Load) -> Option<i64> {
        self.truly(load).map(|truly| truly.averted())
    }

    /// What must go, by order of naming as far as it fits, and what of it stays.
    fn must(&self) -> (Load, Vec<(ItemCode, i64)>) {
        let (mut must, mut left) = (Load::new(), Vec::new());
        for (code, units) in &self.trip().must_go {
            let known = self.items().iter().any(|item| item.code == *code);
            let mut stays = *units;
            while known && stays > 0 {
                let mut more = must.clone();
                *more.entry(code.clone()).or_default() += 1;
                if !self.carrier().carries(self.items(), &more) {
                    break;
                }
                must = more;
                stays -= 1;
            }
            if stays > 0 {
                left.push((code.clone(), stays));
            }
        }
        (must, left)
    }

    fn barred(&self) -> Vec<(ItemCode, Vec<Barred>)> {
        let items = self.items().iter();
        let told = items.map(|item| (item.code.clone(), self.carrier().bars(item)));
        told.filter(|(_, bars)| !bars.is_empty()).collect()
    }

    fn open(&self) -> impl Iterator<Item = &'a Item> + use<'a> {
        let carrier = self.carrier();
        let items = self.items().iter();
        items.filter(move |item| carrier.bars(item).is_empty())
    }

    /// The trip with [`MORE_G`] more payload.
    fn roomier(&self) -> Trip {
        let kept = (1000 - self.trip().reserve_permille).max(1);
        Trip {
            payload_g: self.trip().payload_g + MORE_G * 1000 / kept,
            ..self.trip().clone()
        }
    }

    /// So many units of an item are reckoned at the most: what the trip carries of it alone with a little
    /// more payload, what the depot has, and of a true part what waits for it. What is reckoned in no way
    /// goes once, for the sake of its set.
    fn most(&self, item: &Item) -> i64 {
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
    fn worths(&mut self) -> Option<BTreeMap<ItemCode, Vec<i64>>> {
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

    /// The load that is worth most by single worths, with `more_g` grams more payload.
    fn packed(
        &mut self,
        worths: &BTreeMap<ItemCode, Vec<i64>>,
        must: &Load,
        more_g: i64,
        out: &BTreeSet<ItemCode>,
    ) -> (Packing, Packed) {
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
        let sets = self.order.sets.iter().filter(|set| set.iter().all(here));
        let names = |set: &Vec<ItemCode>| set.iter().map(ToString::to_string).collect();
        let apart = carrier.apart(self.items()).into_iter();
        let apart = apart.filter(|(one, other)| here(one) && here(other));
        let packing = Packing {
            known: None,
            limits,
            sets: sets.map(names).collect(),
            apart: apart
                .map(|(one, other)| (one.to_string(), other.to_string()))
                .collect(),
            items,
        };
        let packed = pack(&packing, PACK_NODES, self.stop);
        (packing, packed)
    }

    /// Of what is not loaded together, single worths may choose the side that is worth nothing without the
    /// other, as powders without fuel: so a load is packed for each side too, and the best by true worth is
    /// begun with.
    fn start(
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
            let (_, other) = self.packed(worths, must, 0, &out);
            let load = load_of(&other);
            let found = self.averted(&load)?;
            if found > averted {
                (best, averted) = (load, found);
            }
        }
        Some(best)
    }

    /// Takes away what averts nothing, and puts in or exchanges what averts more, by true worth.
    fn improved(&mut self, mut load: Load, must: &Load) -> Option<Load> {
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
    fn together(&self, load: &Load) -> bool {
        let here = |code: &ItemCode| load.get(code).is_some_and(|units| *units > 0);
        let sets = self.order.sets.iter();
        sets.map(|set| set.iter().filter(|code| here(code)).count() % set.len().max(1))
            .all(|rest| rest == 0)
    }

    /// What the best load with ten kilograms more averts: the packed one, or the present one with more put
    /// in.
    fn with_more(
        &mut self,
        worths: &BTreeMap<ItemCode, Vec<i64>>,
        must: &Load,
        load: &Load,
    ) -> Option<i64> {
        let (_, packed) = self.packed(worths, must, MORE_G, &BTreeSet::new());
        let mut best = self.averted(&load_of(&packed))?.max(self.averted(load)?);
        let roomier = Trip {
            payload_g: self.trip().payload_g
                + MORE_G * 1000 / (1000 - self.trip().reserve_permille).max(1),
            ..self.trip().clone()
        };
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

    fn lines(&mut self, load: &Load, truly: &Truly, must: &Load) -> Option<Vec<LoadLine>> {
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

    fn behind(&mut self, load: &Load, truly: &Truly) -> Option<Vec<Behind>> {
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

    /// Less than this is not worth a line: what the searches do not tell from nothing, or a thousandth of
    /// what the whole load averts (our choice).
    fn little(&self, averted: i64) -> i64 {
        let noise = self.order.yardstick.measure().noise();
        noise.max(averted / 1000).max(60)
    }

    fn usual(&mut self) -> Option<Usual> {
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

fn load_of(packed: &Packed) -> Load {
    let taken = packed.take.iter().filter(|(_, units)| **units > 0);
    taken
        .filter_map(|(id, units)| Some((id.parse().ok()?, *units)))
        .collect()
}

fn changed(load: &Load, code: &ItemCode, by: i64) -> Load {
    let mut changed = load.clone();
    *changed.entry(code.clone()).or_default() += by;
    changed.retain(|_, units| *units > 0);
    changed
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
