//! Plenty: a problem in which some of what a request could lack is there in any amount.

use super::hold::{KEPT, counts, plain};
use super::if_yes::YES;
use super::kit::KIT;
use super::qualified::{ABLE, limit_id};
use super::supply::{FUEL, GAS};
use crate::catalogue::Skill;
use crate::code::DeliveryCode;
use crate::planner::{Draw, JobOption, Lot, Problem, Store, StoreDraw, Window, Work};
use std::collections::BTreeMap;

/// So many more people make any crew large enough.
pub(super) const MANY_PEOPLE: i64 = 20;

/// Far more than any request takes, and far from what integers hold.
const MANY: i64 = 1_000_000_000;

/// How far beyond its end a line-up may reach when time is plenty, in weeks.
const WEEKS: i64 = 3;

const WEEK: i64 = 7 * 1440;

/// Something that a request could lack.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Relax {
    /// Minutes on duty behind each attended period.
    Duty,
    /// People on duty.
    People,
    /// People on duty who can do this.
    Able(Skill),
    /// Days after the line-up's end.
    Time,
    /// Minutes for which a yes holds longer; the limit that stands for it.
    Yes(String),
    /// Minutes by which the outages of a station end sooner; in plenty, a slot more too, and no
    /// load to wait for.
    Station(String),
    /// Gas, fuel, hours.
    Store(String),
    /// Fixtures.
    Limit(String),
    /// Powder.
    Powder(String),
    /// Minutes by which a delivery comes sooner.
    Delivery {
        /// Which.
        code: DeliveryCode,
        /// The minute from which what it brings may be used.
        lands: i64,
    },
}

impl Relax {
    /// All that an option could lack, in the order in which it is taken away again: what is
    /// spared first is blamed last.
    ///
    /// Of several stores that may serve one draw it is the one that comes nearest: more for that one
    /// is the least more.
    pub(super) fn all(option: &JobOption, stores: &[Store]) -> Vec<Self> {
        let mut all = vec![Self::Duty, Self::People, Self::Time];
        for operation in &option.operations {
            all.extend(operation.loads.iter().filter_map(|load| held(&load.limit)));
            match &operation.work {
                Work::Stage { powder, .. } => all.push(Self::Powder(plain(powder).to_owned())),
                Work::Step {
                    station: Some(station),
                    ..
                } => all.push(Self::Station(station.clone())),
                Work::Step { station: None, .. } => {}
            }
            let draws = operation.draws.iter();
            let nearest = draws.filter_map(|draw| nearest(draw, stores));
            let nearest = nearest.filter(|draw| !draw.store.starts_with(KEPT));
            all.extend(nearest.map(|d| Self::Store(d.store.clone())));
        }
        all.sort();
        all.dedup();
        all
    }
}

/// What could be lacking of a limit.
fn held(limit: &str) -> Option<Relax> {
    if limit.starts_with(YES) {
        return Some(Relax::Yes(limit.to_owned()));
    }
    if limit.starts_with(KIT) {
        return Some(Relax::Limit(limit.to_owned()));
    }
    let skill = limit.strip_prefix(ABLE)?.parse().ok()?;
    Some(Relax::Able(skill))
}

/// The choice that lacks least now.
fn nearest<'a>(draw: &'a Draw, stores: &[Store]) -> Option<&'a StoreDraw> {
    let level = |id: &str| stores.iter().find(|s| s.id == id).map_or(0, |s| s.level);
    let choices = draw.choices().iter();
    choices.max_by_key(|choice| level(&choice.store) - choice.floor)
}

/// What is given beyond what is there.
#[derive(Debug, Clone)]
pub(super) struct Plenty {
    amounts: BTreeMap<Relax, i64>,
    lot: Option<(i64, String, i64)>,
    fresh: Option<String>,
}

impl Plenty {
    /// Any amount of each.
    pub(super) fn of(relaxed: &[Relax]) -> Self {
        let amount = |r: &Relax| match r {
            Relax::People | Relax::Able(_) => MANY_PEOPLE,
            _ => MANY,
        };
        Self {
            amounts: relaxed.iter().map(|r| (r.clone(), amount(r))).collect(),
            lot: None,
            fresh: None,
        }
    }

    /// Of this only so much.
    pub(super) fn with(mut self, relax: &Relax, amount: i64) -> Self {
        self.amounts.insert(relax.clone(), amount);
        self
    }

    /// A lot more: grams, powder, the minute until which it may be used.
    pub(super) fn and_lot(mut self, grams: i64, powder: &str, until: i64) -> Self {
        self.lot = Some((grams, powder.to_owned(), until));
        self
    }

    /// Every lot of this powder may be sprayed until the end.
    pub(super) fn and_fresh(mut self, powder: &str) -> Self {
        self.fresh = Some(powder.to_owned());
        self
    }

    /// The problem with all this given.
    pub(super) fn give(&self, problem: &Problem) -> Problem {
        let mut given = problem.clone();
        if self.amounts.contains_key(&Relax::Time) {
            reach_further(&mut given);
        }
        for (n, (relax, amount)) in self.amounts.iter().enumerate() {
            match relax {
                Relax::Time => {}
                Relax::Duty => stay_longer(&mut given, *amount),
                Relax::People => given.windows.iter_mut().for_each(|w| w.crew += amount),
                Relax::Able(skill) => more_able(&mut given, &limit_id(*skill), *amount),
                Relax::Yes(id) => hold_longer(&mut given, id, *amount),
                Relax::Station(id) => open_sooner(&mut given, id, *amount),
                Relax::Delivery { code, lands } => {
                    come_sooner(&mut given, code.as_str(), *lands, *amount);
                }
                Relax::Limit(id) => {
                    let limits = given.limits.iter_mut().filter(|limit| limit.id == *id);
                    limits.for_each(|limit| limit.capacity += amount);
                }
                Relax::Store(id) => add_to_store(&mut given, id, *amount),
                Relax::Powder(powder) => add_lot(&mut given, n, *amount, powder, i64::MAX),
            }
        }
        let horizon = given.horizon;
        let fresh = |lot: &&mut Lot| self.fresh.as_deref() == Some(plain(&lot.powder));
        for lot in given.lots.iter_mut().filter(fresh) {
            lot.until = horizon;
            lot.powder = plain(&lot.powder).to_owned();
        }
        if let Some((grams, powder, until)) = &self.lot {
            add_lot(&mut given, self.amounts.len(), *grams, powder, *until);
        }
        given
    }
}

fn more_able(problem: &mut Problem, id: &str, people: i64) {
    for limit in problem.limits.iter_mut().filter(|l| l.id == id) {
        limit.windows.iter_mut().for_each(|w| w.2 += people);
    }
}

/// Puts off the stretch at the end in which a yes does not hold any more.
fn hold_longer(problem: &mut Problem, id: &str, minutes: i64) {
    for limit in problem.limits.iter_mut().filter(|l| l.id == id) {
        if let Some(last) = limit.windows.last_mut().filter(|w| w.0 > 0) {
            last.0 += minutes;
        }
        limit.windows.retain(|(from, to, _)| from < to);
    }
}

/// Ends the outages of a station so many minutes sooner; with plenty of them, gives it a slot more too.
fn open_sooner(problem: &mut Problem, id: &str, minutes: i64) {
    for station in problem.stations.iter_mut().filter(|s| s.id == id) {
        station.closed.iter_mut().for_each(|c| c.1 -= minutes);
        station.closed.retain(|(from, to, _)| from < to);
        if minutes == MANY {
            station.slots += 1;
            station.batch = false;
        }
    }
}

/// Brings what a delivery brings so many minutes sooner: its lots, its bottles and its fuel.
fn come_sooner(problem: &mut Problem, code: &str, lands: i64, minutes: i64) {
    let sooner = (lands - minutes).max(0);
    let line = format!("{code}/");
    for lot in problem.lots.iter_mut().filter(|l| l.id.starts_with(&line)) {
        lot.from = sooner.min(lot.from);
    }
    let bottles = format!("{GAS}{line}");
    let brings = |store: &&mut Store| {
        store.id.starts_with(&bottles) || store.id == FUEL || store.id.starts_with(KEPT)
    };
    for store in problem.stores.iter_mut().filter(brings) {
        let arrivals = store.arrivals.iter_mut().filter(|(at, _)| *at == lands);
        arrivals.for_each(|arrival| arrival.0 = sooner);
        store.arrivals.sort_unstable();
    }
}

/// More in a store; gas may also stand beside it in bottles of its own, all of it above any floor.
fn add_to_store(problem: &mut Problem, id: &str, amount: i64) {
    for store in problem.stores.iter_mut().filter(|s| s.id == id) {
        store.level += amount;
    }
    if !id.starts_with(GAS) {
        return;
    }
    let bottles = format!("{id}/more");
    problem.stores.push(Store {
        id: bottles.clone(),
        level: amount,
        arrivals: Vec::new(),
    });
    let options = problem.jobs.iter_mut().flat_map(|job| &mut job.options);
    let operations = options.flat_map(|option| &mut option.operations);
    for draw in operations.flat_map(|operation| &mut operation.draws) {
        let from = draw.choices();
        let Some(like) = from.iter().find(|choice| choice.store == id) else {
            continue;
        };
        let more = StoreDraw {
            store: bottles.clone(),
            amount: like.amount,
            floor: 0,
        };
        *draw = Draw::AnyOf(from.iter().cloned().chain([more]).collect());
    }
}

fn add_lot(problem: &mut Problem, n: usize, grams: i64, powder: &str, until: i64) {
    let until = until.min(problem.horizon);
    let counting = |store: &&mut Store| counts(&store.id, powder);
    let stores = problem.stores.iter_mut().filter(counting);
    stores.for_each(|store| store.level += grams);
    problem.lots.push(Lot {
        id: format!("more/{n}"),
        powder: powder.to_owned(),
        grams,
        from: 0,
        until,
    });
}

/// Keeps the last crew of each attended period so many minutes longer, at most until the next one, and
/// with it those who can do something.
fn stay_longer(problem: &mut Problem, minutes: i64) {
    let starts: Vec<i64> = problem
        .windows
        .iter()
        .skip(1)
        .map(|w| w.from)
        .chain([problem.horizon])
        .collect();
    for (window, next) in problem.windows.iter_mut().zip(starts) {
        let longer = next.min(window.to + minutes).max(window.to);
        let limits = problem.limits.iter_mut().filter(|l| l.id.starts_with(ABLE));
        for able in limits.flat_map(|limit| &mut limit.windows) {
            if able.1 == window.to {
                able.1 = longer;
            }
        }
        window.to = longer;
    }
}

/// Puts more weeks behind the end, each with the duty hours and the people of the last one.
fn reach_further(problem: &mut Problem) {
    let end = problem.horizon;
    problem.horizon = end + WEEKS * WEEK;
    problem
        .lots
        .iter_mut()
        .filter(|l| l.until == end)
        .for_each(|l| l.until = problem.horizon);
    let last: Vec<Window> = problem
        .windows
        .iter()
        .filter(|w| w.from >= end - WEEK)
        .cloned()
        .collect();
    let Some(ends) = last.last().map(|w| w.to) else {
        return;
    };
    for limit in problem.limits.iter_mut().filter(|l| l.id.starts_with(ABLE)) {
        let last = limit.windows.iter().filter(|w| w.0 >= end - WEEK);
        let last: Vec<_> = last.copied().collect();
        let weeks = (1..=WEEKS).map(|week| week * WEEK);
        let more = weeks.flat_map(|later| {
            last.iter()
                .map(move |(from, to, people)| (from + later, to + later, *people))
        });
        limit.windows.extend(more.filter(|w| w.0 >= ends));
    }
    for week in 1..=WEEKS {
        problem.windows.extend(
            last.iter()
                .map(|w| Window {
                    from: w.from + week * WEEK,
                    to: w.to + week * WEEK,
                    crew: w.crew,
                })
                .filter(|w| w.from >= ends),
        );
    }
}
