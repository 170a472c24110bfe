use super::lots::{Count, sprayed};
use super::spans::Spans;
use super::sums::most_taken;
use crate::planner::decode::DrawSize;
use crate::planner::rules::{OperationRule, Rules, WorkRule};

/// Something that is used up: parcels of it, each to be taken while it is good.
///
/// What a plan takes at minutes s1, s2, ... can be shared out over the parcels. So whatever a unit is
/// priced at, minute by minute, all takings together cost at most the sum over the parcels of their
/// amount at the highest price while they are good.
#[derive(Debug)]
pub(super) struct Supply {
    parcels: Vec<Parcel>,
    /// Where its stretches begin: within one, the same parcels are good. The first is 0.
    pub cuts: Vec<i64>,
    /// How fast its prices move while they are looked for.
    pub pace: f64,
}

#[derive(Debug, Clone, Copy)]
struct Parcel {
    from: i64,
    /// From this minute on it is no longer good.
    until: i64,
    amount: i64,
}

impl Supply {
    fn new(parcels: Vec<Parcel>, horizon: i64) -> Self {
        let ends = parcels
            .iter()
            .flat_map(|parcel| [parcel.from, parcel.until]);
        let mut cuts: Vec<_> = ends.filter(|at| (1..horizon).contains(at)).collect();
        cuts.push(0);
        cuts.sort_unstable();
        cuts.dedup();
        Self {
            parcels,
            cuts,
            pace: PACE,
        }
    }

    /// For each parcel its amount and the stretches in which it is good.
    pub fn parcels(&self) -> impl Iterator<Item = (i64, std::ops::Range<usize>)> {
        let good = |parcel: &Parcel| {
            let first = self.cuts.partition_point(|at| *at < parcel.from);
            let behind = self.cuts.partition_point(|at| *at < parcel.until);
            (parcel.amount, first..behind.max(first))
        };
        self.parcels.iter().map(good)
    }

    pub fn stretch_of(&self, minute: i64) -> usize {
        self.cuts.partition_point(|at| *at <= minute) - 1
    }
}

/// What operations take, and when they can.
#[derive(Debug)]
pub(super) struct Supplies {
    pub all: Vec<Supply>,
    /// By store: the positions of its supplies and their floors.
    of_store: Vec<Vec<(usize, i64)>>,
    /// By powder: the positions of its supplies and what they count.
    of_powder: Vec<Vec<(usize, Count)>>,
}

/// Faster than those of minutes: there are few, and each weighs more.
const PACE: f64 = 3.0;
/// The same for one of several stores that operations choose between: slowly, since where it is dear, all
/// is taken from the others at once.
const ONE_OF: f64 = 0.1;

/// So many floors of a store count; more would say little more.
const FLOORS: usize = 3;

impl Supplies {
    /// First each powder, once for each kind of count; then each store, once for each of some floors: what is
    /// drawn with that floor or a higher one leaves it, so that in all it takes no more than what comes above
    /// the floor. Then all that operations choose between as one, since what is dear in one store is taken
    /// from another.
    ///
    /// Unless lots `expire`, they are good for ever.
    pub fn new(rules: &Rules, expire: bool) -> Self {
        let (mut all, mut of_powder) = (Vec::new(), Vec::new());
        for (lots, sprayed) in rules.lots_of.iter().zip(sprayed(rules)) {
            let mut here = Vec::new();
            for count in sprayed.counts(rules, lots) {
                let parcels = lots.iter().map(|lot| {
                    let lot = &rules.lots[*lot];
                    Parcel {
                        from: lot.from.max(0),
                        until: if expire { lot.until } else { i64::MAX },
                        amount: count.of_lot(lot.grams, &sprayed.whole),
                    }
                });
                here.push((all.len(), count));
                let mut supply = Supply::new(parcels.collect(), rules.horizon);
                supply.pace = count.pace();
                all.push(supply);
            }
            of_powder.push(here);
        }
        let mut of_store: Vec<Vec<(usize, i64)>> = Vec::new();
        for n in 0..rules.stores.len() {
            let mut here = Vec::new();
            for floor in floors(rules, n) {
                here.push((all.len(), floor));
                all.push(Supply::new(above(rules, n, floor), rules.horizon));
            }
            of_store.push(here);
        }
        for stores in chosen_between(rules) {
            let pooled: Vec<Vec<_>> = stores
                .iter()
                .map(|store| of_store[*store].clone())
                .collect();
            for floor in 0..pooled.iter().map(Vec::len).min().unwrap_or(0) {
                let pool = all.len();
                let mut parcels = Vec::new();
                for (store, supplies) in stores.iter().zip(&pooled) {
                    let (supply, floor) = supplies[floor];
                    parcels.extend_from_slice(&all[supply].parcels);
                    of_store[*store].push((pool, floor));
                }
                all.push(Supply::new(parcels, rules.horizon));
            }
            for (supply, _) in pooled.into_iter().flatten() {
                all[supply].pace = ONE_OF;
            }
        }
        Self {
            all,
            of_powder,
            of_store,
        }
    }

    /// By way to draw: what the operation takes of each supply.
    pub fn ways(&self, operation: &OperationRule) -> Vec<Vec<(usize, i64)>> {
        let mut fed = Vec::new();
        if let WorkRule::Stage {
            powder,
            grams,
            one_lot,
            ..
        } = operation.work
            && grams > 0
        {
            for (supply, count) in &self.of_powder[powder] {
                fed.extend(
                    count
                        .of_stage(grams, one_lot)
                        .map(|amount| (*supply, amount)),
                );
            }
        }
        let ways = operation.ways.iter().map(|way| {
            let mut taken = fed.clone();
            for draw in way.draws.iter().filter(|draw| draw.size.amount > 0) {
                let classes = self.of_store[draw.store].iter();
                let met = classes.filter(|(_, floor)| *floor <= draw.size.floor);
                taken.extend(met.map(|(supply, _)| (*supply, draw.size.amount)));
            }
            taken
        });
        ways.collect()
    }
}

/// Sets of stores that operations choose between, joined where they meet.
fn chosen_between(rules: &Rules) -> Vec<Vec<usize>> {
    let mut of: Vec<usize> = (0..rules.stores.len()).collect();
    for operation in rules.operations() {
        let chosen = operation
            .ways
            .iter()
            .flat_map(|way| way.chosen.iter().flatten());
        let stores: Vec<usize> = chosen.copied().collect();
        for pair in stores.windows(2) {
            let (one, other) = (of[pair[0]], of[pair[1]]);
            of.iter_mut()
                .filter(|it| **it == other)
                .for_each(|it| *it = one);
        }
    }
    let mut sets = vec![Vec::new(); of.len()];
    for (store, set) in of.into_iter().enumerate() {
        sets[set].push(store);
    }
    sets.retain(|set| set.len() > 1);
    sets
}

/// Some floors of the draws on a store: the lowest, the highest, and one in the middle.
fn floors(rules: &Rules, store: usize) -> Vec<i64> {
    let mut floors: Vec<_> = draws(rules, store).map(|size| size.floor).collect();
    floors.sort_unstable();
    floors.dedup();
    if floors.len() > FLOORS {
        floors = vec![
            floors[0],
            floors[floors.len() / 2],
            floors[floors.len() - 1],
        ];
    }
    floors
}

/// What comes to a store and draws with this floor or a higher one can take: less what fills it up to the
/// floor, and by each coming no more in all than some of these draws take together.
fn above(rules: &Rules, store: usize, floor: i64) -> Vec<Parcel> {
    let draws = draws(rules, store).filter(|size| size.floor >= floor);
    let mut draws: Vec<_> = draws.map(|size| size.amount).filter(|it| *it > 0).collect();
    draws.sort_unstable();
    let (mut there, mut taken, mut parcels) = (-floor, 0, Vec::new());
    for (from, amount) in rules.stores[store].comings() {
        there += amount;
        let most = most_taken(&draws, there.max(0));
        parcels.push(Parcel {
            from,
            until: i64::MAX,
            amount: most - taken,
        });
        taken = most;
    }
    parcels.retain(|parcel| parcel.amount > 0);
    parcels
}

/// What operations may draw from a store: of each, the draws in which its ways differ.
fn draws(rules: &Rules, store: usize) -> impl Iterator<Item = DrawSize> {
    rules.operations().flat_map(move |operation| {
        let draws = operation.ways.iter().flat_map(|way| &way.draws);
        let here = draws.filter(|draw| draw.store == store);
        let mut sizes: Vec<_> = here.map(|draw| draw.size).collect();
        sizes.sort_unstable_by_key(|size| (size.amount, size.floor));
        sizes.dedup();
        sizes
    })
}

/// When an operation could start by its supplies if they were all for it alone.
pub(super) fn supplied(rules: &Rules, operation: &OperationRule) -> Spans {
    let of_way = operation.ways.iter().filter_map(|way| {
        let from = way.draws.iter().map(|draw| {
            let mut level = 0;
            let mut comings = rules.stores[draw.store].comings().into_iter();
            let enough = comings.find(|(_, amount)| {
                level += amount;
                level >= draw.size.floor + draw.size.amount
            });
            enough.map(|(minute, _)| minute)
        });
        from.collect::<Option<Vec<_>>>()
            .map(|from| from.into_iter().max().unwrap_or(0))
    });
    let by_stores = Spans::of(of_way.min().map(|from| (from, rules.horizon)));
    let WorkRule::Stage {
        powder,
        grams,
        one_lot,
        ..
    } = operation.work
    else {
        return by_stores;
    };
    if grams == 0 {
        return by_stores;
    }
    let lots = || rules.lots_of[powder].iter().map(|lot| &rules.lots[*lot]);
    let span = |lot: &crate::planner::rules::LotRule| (lot.from, lot.until - operation.minutes);
    if one_lot {
        return by_stores.and(&Spans::of(
            lots().filter(|lot| lot.grams >= grams).map(span),
        ));
    }
    let mut cuts: Vec<_> = lots()
        .map(span)
        .flat_map(|(from, last)| [from, last + 1])
        .collect();
    cuts.sort_unstable();
    let enough = cuts.windows(2).filter(|cut| {
        let good = lots().filter(|lot| span(lot).0 <= cut[0] && cut[0] <= span(lot).1);
        good.map(|lot| lot.grams).sum::<i64>() >= grams
    });
    by_stores.and(&Spans::of(enough.map(|cut| (cut[0], cut[1] - 1))))
}
