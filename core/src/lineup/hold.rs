//! Keep-backs put into a planning problem.
//!
//! Every powder of which something is held has stores that count its grams, and each stage draws from them
//! what it takes from its lots. A stage of a machine for which it is not held must leave the held grams: that
//! is the floor of its draw. So named machines may use held and free grams alike, and of any lots.
//!
//! Grams held must last. Lots that go out of date before the end of the line-up are therefore planned as
//! powders of their own, as many as there are last days, and a stage has a way for each. The store of a last
//! day counts the lots that are good until then or longer; who is not named leaves the held grams in the store
//! of the lots that it sprays.
//!
//! Of a bank a higher floor is all it takes: what a named machine's highest pressure asks for with the held
//! grams above it.

use super::supply::{bank_floor_g, bank_store, lots};
use crate::catalogue::{Part, Recipe, RecipeState, Spray};
use crate::code::{AssetCode, PowderCode, RecipeCode};
use crate::gas::Gas;
use crate::planner::{Draw, JobOption, Lot, Operation, Problem, Store, StoreDraw, Work};
use crate::situation::{Bank, Held, KeepBack, Situation, Way};
use std::collections::{BTreeMap, BTreeSet};

/// How the stores begin that count powder of which something is held.
pub(super) const KEPT: &str = "kept/";

/// Parts the name of a powder, or of a way, from the last day of its lots; no code has it.
const LASTS: char = '@';

/// A powder, a store or a way without the last day of its lots.
#[must_use]
pub fn plain(id: &str) -> &str {
    id.split(LASTS).next().unwrap_or(id)
}

/// The powder whose grams a store of a problem counts, since some of it is kept back; none for other stores.
#[must_use]
pub fn kept_powder(store: &str) -> Option<&str> {
    store.strip_prefix(KEPT).map(plain)
}

/// Whether a store counts grams of this powder.
pub(super) fn counts(store: &str, powder: &str) -> bool {
    kept_powder(store) == Some(powder)
}

/// Puts all keep-backs of a situation into its problem.
pub(super) fn hold(situation: &Situation, problem: &mut Problem) {
    let holds = Holds::of(situation, &situation.keep_backs);
    for (powder, ends) in &holds.powders {
        let stores = (0..ends.len()).map(|day| counted(problem, powder, ends, day));
        let stores: Vec<Store> = stores.collect();
        problem.stores.extend(stores);
        let same = |lot: &&mut Lot| lot.powder == powder.as_str();
        for lot in problem.lots.iter_mut().filter(same) {
            let day = ends.iter().position(|end| *end == lot.until);
            lot.powder = lasting(powder, ends, day.unwrap_or(ends.len() - 1));
        }
        change_over(problem, powder, ends);
    }
    for job in &mut problem.jobs {
        let ways = |option| holds.ways(&job.asset, option);
        job.options = job.options.iter().flat_map(ways).collect();
    }
}

/// A problem of this situation as if all of one keep-back were given up: floors of draws are lower, nothing
/// else is.
///
/// What of the problem is not drafted any more keeps its floors.
pub(super) fn given_up(situation: &Situation, problem: &Problem, number: i64) -> Problem {
    let mut freed = situation.clone();
    let same = freed.keep_backs.iter_mut().filter(|it| it.number == number);
    same.for_each(|it| it.grams = 0);
    let drafted = super::draft::draft(&freed).problem;
    let mut given = problem.clone();
    for job in &mut given.jobs {
        let Some(like) = drafted.jobs.iter().find(|it| it.id == job.id) else {
            continue;
        };
        for option in &mut job.options {
            if let Some(like) = like.options.iter().find(|it| it.id == option.id) {
                lower_floors(option, like);
            }
        }
    }
    given
}

/// Floors that are lower in another draft of an option.
fn lower_floors(option: &mut JobOption, like: &JobOption) {
    for (operation, like) in option.operations.iter_mut().zip(&like.operations) {
        for choice in operation.draws.iter_mut().flat_map(choices_mut) {
            let draws = like.draws.iter().flat_map(Draw::choices);
            let same = draws.filter(|it| it.store == choice.store);
            if let Some(floor) = same.map(|it| it.floor).min() {
                choice.floor = choice.floor.min(floor);
            }
        }
    }
}

/// Lots of a powder that are good until that one of its last days: the last of these is the line-up's end.
fn lasting(powder: &PowderCode, ends: &[i64], day: usize) -> String {
    if day + 1 == ends.len() {
        powder.to_string()
    } else {
        format!("{powder}{LASTS}{}", day + 1)
    }
}

fn store(powder: &PowderCode, ends: &[i64], day: usize) -> String {
    format!("{KEPT}{}", lasting(powder, ends, day))
}

/// The stores of a problem that count grams of a powder; none where nothing of it is held.
pub(super) fn kept_stores(problem: &Problem, powder: &PowderCode) -> impl Iterator<Item = String> {
    let ids = problem.stores.iter().map(|store| &store.id);
    ids.filter(|id| counts(id, powder.as_str())).cloned()
}

/// Grams of a powder that are good until that last day or longer.
fn counted(problem: &Problem, powder: &PowderCode, ends: &[i64], day: usize) -> Store {
    let lots = problem.lots.iter();
    let lots = lots.filter(|lot| plain(&lot.powder) == powder.as_str() && lot.until >= ends[day]);
    let (here, coming): (Vec<&Lot>, Vec<&Lot>) = lots.partition(|lot| lot.from <= 0);
    let mut arrivals: Vec<(i64, i64)> = coming.iter().map(|lot| (lot.from, lot.grams)).collect();
    arrivals.sort_unstable();
    Store {
        id: store(powder, ends, day),
        level: here.iter().map(|lot| lot.grams).sum(),
        arrivals,
    }
}

/// Set-up is the same whenever the lots of a powder go out of date.
fn change_over(problem: &mut Problem, powder: &PowderCode, ends: &[i64]) {
    let brief: Vec<String> = (1..ends.len())
        .map(|day| lasting(powder, ends, day - 1))
        .collect();
    let plain = powder.as_str();
    for cell in &mut problem.cells {
        let told = cell.changeover.clone();
        let given = |from: &str, to: &str| told.get(from).and_then(|row| row.get(to)).copied();
        let froms: BTreeSet<&String> = told.keys().collect();
        let tos: BTreeSet<&String> = told.values().flat_map(|row| row.keys()).collect();
        let same = cell.same_powder;
        let changeover = &mut cell.changeover;
        let mut set = |from: &str, to: &str, minutes: i64| {
            let row = changeover.entry(from.to_owned()).or_default();
            row.insert(to.to_owned(), minutes);
        };
        for lots in &brief {
            for from in &froms {
                given(from, plain)
                    .into_iter()
                    .for_each(|m| set(from, lots, m));
            }
            for to in &tos {
                given(plain, to).into_iter().for_each(|m| set(lots, to, m));
            }
            set(plain, lots, same);
            set(lots, plain, same);
            let others = brief.iter().filter(|other| *other != lots);
            others.for_each(|other| set(lots, other, same));
        }
    }
}

/// What is held from whom.
pub(super) struct Holds<'a> {
    situation: &'a Situation,
    keep_backs: &'a [KeepBack],
    /// Powders of which something is held, each with the last days of its lots, the line-up's end last.
    powders: BTreeMap<&'a PowderCode, Vec<i64>>,
}

impl<'a> Holds<'a> {
    /// By these keep-backs, of the same powders as the situation's.
    pub(super) fn of(situation: &'a Situation, keep_backs: &'a [KeepBack]) -> Self {
        let horizon = situation.horizon();
        let all = lots(situation);
        let held = keep_backs.iter().filter_map(|it| match &it.held {
            Held::Powder(powder) => Some(powder),
            Held::Gas(_) => None,
        });
        let ends = |powder: &PowderCode| {
            let lots = all.iter().filter(|lot| lot.powder == powder.as_str());
            let ends: BTreeSet<i64> = lots.map(|lot| lot.until).chain([horizon]).collect();
            ends.into_iter().collect()
        };
        Self {
            situation,
            keep_backs,
            powders: held.map(|powder| (powder, ends(powder))).collect(),
        }
    }

    /// An option of a job of this machine, with the lots that last to the end first.
    pub(super) fn ways(&self, asset: &str, option: &JobOption) -> Vec<JobOption> {
        let mut first = option.clone();
        self.raise_floors(asset, &mut first);
        let mut ways = vec![first];
        for (powder, ends) in &self.powders {
            let sprays = |it: &Operation| sprayed(it).is_some_and(|(p, _)| p == powder.as_str());
            if option.operations.iter().any(sprays) {
                let floor = self.held_from(asset, &Held::Powder((*powder).clone()));
                let days = |way: &JobOption| {
                    let by = |day| from_lots(way.clone(), powder, ends, day, floor);
                    (0..ends.len()).rev().map(by).collect::<Vec<_>>()
                };
                ways = ways.iter().flat_map(days).collect();
            }
        }
        ways
    }

    /// Grams that a machine must leave.
    pub(super) fn held_from(&self, asset: &str, held: &Held) -> i64 {
        self.others(asset, held).map(|it| it.grams).sum()
    }

    fn others<'b>(&'b self, asset: &'b str, held: &'b Held) -> impl Iterator<Item = &'b KeepBack> {
        for_others(self.keep_backs, asset, held)
    }

    fn raise_floors(&self, asset: &str, option: &mut JobOption) {
        for bank in &self.situation.banks {
            let held = Held::Gas(bank.code.clone());
            let others: Vec<&KeepBack> = self.others(asset, &held).collect();
            let grams: i64 = others.iter().map(|it| it.grams).sum();
            if grams == 0 {
                continue;
            }
            let assets = others.iter().flat_map(|it| &it.assets).collect();
            let floor = kept_level_g(self.situation, bank, grams, &assets);
            let id = bank_store(&bank.code);
            for draw in option.operations.iter_mut().flat_map(|it| &mut it.draws) {
                let choices = choices_mut(draw).iter_mut();
                let of_bank = choices.filter(|choice| choice.store == id);
                of_bank.for_each(|choice| choice.floor = choice.floor.max(floor));
            }
        }
    }
}

fn choices_mut(draw: &mut Draw) -> &mut [StoreDraw] {
    match draw {
        Draw::Of(of) => std::slice::from_mut(of),
        Draw::AnyOf(choices) => choices.as_mut_slice(),
    }
}

fn sprayed(operation: &Operation) -> Option<(&str, i64)> {
    match &operation.work {
        Work::Stage { powder, grams, .. } => Some((powder, *grams)),
        Work::Step { .. } => None,
    }
}

/// With all its stages of a powder from lots of one last day, leaving so much of what lasts as long.
fn from_lots(
    mut way: JobOption,
    powder: &PowderCode,
    ends: &[i64],
    day: usize,
    floor: i64,
) -> JobOption {
    let lots = lasting(powder, ends, day);
    if lots != powder.as_str() {
        way.id = format!("{}{LASTS}{lots}", way.id);
    }
    for operation in &mut way.operations {
        let Work::Stage {
            powder: named,
            grams,
            ..
        } = &mut operation.work
        else {
            continue;
        };
        if named.as_str() != powder.as_str() {
            continue;
        }
        let draws = (0..=day).map(|earlier| {
            let floor = if earlier == day { floor } else { 0 };
            Draw::of(store(powder, ends, earlier), *grams, floor)
        });
        operation.draws.extend(draws);
        named.clone_from(&lots);
    }
    way
}

/// Grams that must be in a bank for so many to be drawn from it at the highest pressure that approved recipes
/// of these machines ask for.
pub(super) fn kept_level_g(
    situation: &Situation,
    bank: &Bank,
    grams: i64,
    assets: &BTreeSet<&AssetCode>,
) -> i64 {
    let mbar = highest_mbar(situation, bank.gas, assets).map_or(0, |mbar| mbar + bank.drop_mbar);
    grams + bank_floor_g(situation, bank, grams, mbar)
}

/// The highest pressure that approved recipes of these machines ask for with this gas, at the nozzle; none if
/// none does.
fn highest_mbar(situation: &Situation, gas: Gas, assets: &BTreeSet<&AssetCode>) -> Option<i64> {
    let recipes = recipes_for(situation, assets).into_iter();
    let sprays = recipes.flat_map(Recipe::sprays);
    let of_gas = sprays.filter(|spray| spray.gas == gas);
    of_gas.map(|spray| spray.pressure_mbar).max()
}

/// Approved recipes for these machines: of parts that fit them, and those by which open requests of theirs may
/// be served.
pub(super) fn recipes_for<'a>(
    situation: &'a Situation,
    assets: &BTreeSet<&AssetCode>,
) -> Vec<&'a Recipe> {
    let asked = situation.requests.iter();
    let asked = asked.filter(|request| assets.contains(&request.asset));
    let ways = asked.flat_map(|request| &request.ways);
    let asked: BTreeSet<&RecipeCode> = ways
        .filter_map(|way| match way {
            Way::Recipe(recipe) => Some(recipe),
            Way::StandIn(stand_in) => Some(&stand_in.recipe),
            Way::TruePart { .. } => None,
        })
        .collect();
    let fits = |part: &Part| part.assets.iter().any(|it| assets.contains(it));
    let recipes = situation.recipes.iter();
    let approved = recipes.filter(|it| it.state == RecipeState::Approved);
    approved
        .filter(|it| asked.contains(&it.code) || situation.part(&it.part).is_some_and(fits))
        .collect()
}

/// Keep-backs of this that hold something and do not name a machine.
pub(super) fn for_others<'a>(
    keep_backs: &'a [KeepBack],
    asset: &str,
    held: &Held,
) -> impl Iterator<Item = &'a KeepBack> {
    let same = keep_backs.iter().filter(move |it| it.held == *held);
    let holding = same.filter(|it| it.grams > 0);
    holding.filter(move |it| !it.assets.iter().any(|a| a.as_str() == asset))
}

/// What approved recipes for these machines take of what may be kept back: powders, and the banks of their gases.
#[must_use]
pub fn taken_by(situation: &Situation, assets: &BTreeSet<AssetCode>) -> BTreeSet<Held> {
    let assets = assets.iter().collect();
    let recipes = recipes_for(situation, &assets).into_iter();
    let taken = |spray: &Spray| {
        let banks = situation.banks.iter().filter(|it| it.gas == spray.gas);
        let banks = banks.map(|bank| Held::Gas(bank.code.clone()));
        banks
            .chain([Held::Powder(spray.powder.clone())])
            .collect::<Vec<_>>()
    };
    recipes.flat_map(Recipe::sprays).flat_map(taken).collect()
}
