//! The proposal: which load of a trip averts most, proven on single worths and then improved on true ones.

mod better;
mod single;
mod told;

use super::item::Item;
use super::load::{Barred, Carrier, Load};
use super::pack::Packed;
use super::worth::{Truly, Yardstick};
use super::{CarriageRules, Trip};
use crate::code::{ItemCode, RequestCode};
use std::collections::{BTreeMap, BTreeSet};

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
    let mut bench = Bench::new(order, stop, tell);
    let (must, must_left) = bench.must();
    let least = bench.with_sets(&must);
    let worths = bench.worths()?;
    let packed = bench.packed(&worths, &least, 0, &BTreeSet::new());
    let start = bench.start(&worths, &least, &load_of(&packed))?;
    let best = bench.improved(start, &least)?;
    let ten = bench.with_more(&worths, &least, &best)?;
    let truly = bench.truly(&best)?;
    let lines = bench.lines(&best, &truly, &must)?;
    let behind = bench.behind(&best, &truly)?;
    let usual = bench.usual()?;
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
    /// The sets all of whose items may go on this trip.
    sets: Vec<&'a Vec<ItemCode>>,
    tried: BTreeMap<Load, Truly>,
    stop: &'a mut dyn FnMut() -> bool,
    tell: &'a mut dyn FnMut(usize),
}

impl<'a> Bench<'a> {
    fn new(
        order: Order<'a>,
        stop: &'a mut dyn FnMut() -> bool,
        tell: &'a mut dyn FnMut(usize),
    ) -> Self {
        let mut bench = Bench {
            order,
            sets: Vec::new(),
            tried: BTreeMap::new(),
            stop,
            tell,
        };
        let open: BTreeSet<&ItemCode> = bench.open().map(|item| &item.code).collect();
        let sets = order.sets.iter();
        bench.sets = sets
            .filter(|set| set.iter().all(|code| open.contains(code)))
            .collect();
        bench
    }

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

    /// What must go, by order of naming as far as it fits with what its sets ask for, and what of it stays.
    fn must(&self) -> (Load, Vec<(ItemCode, i64)>) {
        let (mut must, mut left) = (Load::new(), Vec::new());
        for (code, units) in &self.trip().must_go {
            let known = self.items().iter().any(|item| item.code == *code);
            let mut stays = *units;
            while known && stays > 0 {
                let more = changed(&must, code, 1);
                if !self.fits(&self.with_sets(&more)) {
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

    fn fits(&self, load: &Load) -> bool {
        let mut partners = self.sets.iter().copied().flatten();
        let there = |code: &&ItemCode| load.get(*code).is_some_and(|units| *units > 0);
        let none_to_send = |code: &ItemCode| {
            let item = self.items().iter().find(|item| item.code == *code);
            item.is_some_and(|item| item.depot == Some(0))
        };
        !partners.any(|code| there(&code) && none_to_send(code))
            && self.carrier().carries(self.items(), load)
    }

    /// A load with one of each item that its sets ask for.
    fn with_sets(&self, load: &Load) -> Load {
        let mut whole = load.clone();
        loop {
            let before = whole.len();
            for set in &self.sets {
                if set.iter().any(|code| whole.contains_key(code)) {
                    for code in *set {
                        whole.entry(code.clone()).or_insert(1);
                    }
                }
            }
            if whole.len() == before {
                return whole;
            }
        }
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

    /// Less than this is not worth a line: what the searches do not tell from nothing, or a thousandth of
    /// what the whole load averts (our choice).
    fn little(&self, averted: i64) -> i64 {
        let noise = self.order.yardstick.measure().noise();
        noise.max(averted / 1000).max(60)
    }
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
