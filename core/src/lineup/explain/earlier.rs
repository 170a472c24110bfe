//! Why a request has its place and no earlier one: found by placing the plan anew with it in front.

use crate::catalogue::Skill;
use crate::code::{BankCode, KitCode, PowderCode, RequestCode, StationCode};
use crate::lineup::kit;
use crate::lineup::places::{Ends, Place, option_of};
use crate::lineup::relax::{Plenty, Relax};
use crate::lineup::supply::{FUEL, GAS};
use crate::planner::{Plan, Problem, ahead, loss};
use serde::{Deserialize, Serialize};

/// Why a request does not go earlier.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Earlier {
    /// It could, and others would be later for it.
    Costs {
        /// If it went before all others.
        first: Moved,
        /// If it went one place earlier; none where that comes to the same, or brings it no sooner.
        one: Option<Moved>,
    },
    /// Going before all others, its part would be done no sooner.
    Waits {
        /// With plenty of this it would be.
        lacks: Option<Lack>,
    },
}

/// The plan with one request moved.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Moved {
    /// What the site loses more than by the plan, as rate x minutes; below zero if it loses less.
    pub more: i64,
    /// By so many minutes its own part is done sooner.
    pub sooner_min: i64,
    /// Whom that makes later at the greatest loss; none if nobody.
    pub displaced: Option<Displaced>,
}

/// A request that another one pushes back.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Displaced {
    /// Which.
    pub request: RequestCode,
    /// By so many minutes its machine is back later; none if it falls out of the line-up.
    pub later_min: Option<i64>,
}

/// What keeps a part from being done sooner.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Lack {
    /// Powder.
    Powder(PowderCode),
    /// A station with a slot free.
    Station(StationCode),
    /// Gas in this bank.
    Gas(BankCode),
    /// Fuel.
    Fuel,
    /// A plate or a fixture.
    Kit(KitCode),
    /// People on duty.
    People,
    /// Somebody on duty who can do this.
    Qualified(Skill),
    /// A longer attended period.
    Duty,
}

/// Tells of each place but the first why it is no earlier one.
pub(in crate::lineup) fn tell_why(problem: &Problem, plan: &Plan, places: &mut [Place]) {
    let told: Vec<Option<Earlier>> = (0..places.len())
        .map(|n| earlier(problem, plan, places, n))
        .collect();
    for (place, told) in places.iter_mut().zip(told) {
        place.earlier = told;
    }
}

fn earlier(problem: &Problem, plan: &Plan, places: &[Place], n: usize) -> Option<Earlier> {
    let before = places.get(n.checked_sub(1)?)?.request.as_str();
    let from = From {
        problem,
        plan,
        places,
        place: places.get(n)?,
        ends: Ends::of(problem, plan),
    };
    let first = from.moved(None)?;
    if first.sooner_min <= 0 {
        let lacks = from.lacks();
        return Some(Earlier::Waits { lacks });
    }
    let other = |one: &Moved| one.sooner_min > 0 && *one != first;
    let one = from.moved(Some(before)).filter(other);
    Some(Earlier::Costs { first, one })
}

struct From<'a> {
    problem: &'a Problem,
    plan: &'a Plan,
    places: &'a [Place],
    place: &'a Place,
    ends: Ends<'a>,
}

impl From<'_> {
    fn moved(&self, before: Option<&str>) -> Option<Moved> {
        let id = self.place.request.as_str();
        let plan = ahead(self.problem, self.plan, id, before)?;
        let ends = Ends::of(self.problem, &plan);
        let done = ends.of_job(id).unwrap_or(self.problem.horizon);
        Some(Moved {
            more: plan.loss - loss(self.problem, self.plan),
            sooner_min: self.ends.of_job(id)? - done,
            displaced: self.displaced(&plan, &ends),
        })
    }

    /// Of those whose machine is back later, or who fall out, the one that this costs most.
    fn displaced(&self, moved: &Plan, ends: &Ends<'_>) -> Option<Displaced> {
        let others = self.places.iter().filter(|p| p.asset != self.place.asset);
        let later = others.filter_map(|place| {
            let asset = place.asset.as_str();
            let minutes = ends.back(asset)? - self.ends.back(asset)?;
            (minutes > 0).then_some((place, minutes))
        });
        let dear = |(place, minutes): &(&Place, i64)| {
            let stops = place.stops_per_hour.max(0);
            (stops.saturating_mul(*minutes), *minutes)
        };
        let (place, minutes) = later.max_by_key(dear)?;
        let out = moved.left_out.iter().any(|id| id == place.request.as_str());
        Some(Displaced {
            request: place.request.clone(),
            later_min: (!out).then_some(minutes),
        })
    }

    /// With plenty of what would its part be done sooner, if it went before all others?
    fn lacks(&self) -> Option<Lack> {
        let id = self.place.request.as_str();
        let planned = self.plan.jobs.iter().find(|p| p.id == id)?;
        let (_, option) = option_of(self.problem, planned)?;
        let end = |problem: &Problem| {
            let plan = ahead(problem, self.plan, id, None)?;
            Ends::of(problem, &plan).of_job(id)
        };
        let now = end(self.problem)?;
        let all = Relax::all(option, &self.problem.stores);
        let sooner = all.into_iter().filter_map(|relax| {
            let end = end(&Plenty::of(std::slice::from_ref(&relax)).give(self.problem))?;
            (end < now).then_some(())?;
            Some((end, lack(&relax)?))
        });
        sooner.min_by_key(|(end, _)| *end).map(|(_, lack)| lack)
    }
}

fn lack(relax: &Relax) -> Option<Lack> {
    match relax {
        Relax::Powder(powder) => Some(Lack::Powder(powder.parse().ok()?)),
        Relax::Station(station) => Some(Lack::Station(station.parse().ok()?)),
        Relax::Store(store) if store == FUEL => Some(Lack::Fuel),
        Relax::Store(store) if store.starts_with(GAS) => {
            let bank = store.strip_prefix(GAS)?.split('/').next()?;
            Some(Lack::Gas(bank.parse().ok()?))
        }
        Relax::Store(id) | Relax::Limit(id) => kit::code_of(id).map(Lack::Kit),
        Relax::People => Some(Lack::People),
        Relax::Able(skill) => Some(Lack::Qualified(*skill)),
        Relax::Duty => Some(Lack::Duty),
        Relax::Time | Relax::Yes(_) | Relax::Delivery { .. } => None,
    }
}
