//! What a load is worth: the loss that it averts, by planning again with it and by the failures to come.

use super::item::{Content, Item};
use super::load::{Load, loaded};
use super::outlook::{Outlook, Scene, look};
use super::scenario::{Failure, draw};
use super::shelf::{Shelf, shelve, shelves, take};
use super::trip::Trip;
use super::{FailureRecord, NextTrip};
use crate::code::{AssetCode, PartCode, RequestCode};
use crate::lineup::{
    Averted, Budget, Left, Measure, Rebuild, Verified, Worth, draft, left, rebuilds,
};
use crate::planner::{CrewOrder, Plan, Problem, crew_plan, down_times};
use crate::situation::{Brings, Delivery, Situation, Way};
use chrono::TimeDelta;
use std::collections::BTreeMap;

/// All that a load is judged by.
#[derive(Debug, Clone, PartialEq)]
pub struct Setting {
    /// The site now.
    pub situation: Situation,
    /// The trip that is to be loaded.
    pub trip: Trip,
    /// The trip after it, until which the load must last.
    pub next: NextTrip,
    /// What the depot can send.
    pub items: Vec<Item>,
    /// How often parts fail.
    pub failures: Vec<FailureRecord>,
}

/// Courses of failures that every load is held against.
pub const COURSES: usize = 300;

/// Minutes to fit a true part and run it first, where nobody said: common practice, no source.
const FIT_MIN: i64 = 240;
/// People that takes: common practice, no source.
const FIT_CREW: i64 = 1;

/// What a load is worth.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Truly {
    /// What it averts of the loss of today's requests, as rate x minutes; 0 where the searches do not tell.
    pub backlog: i64,
    /// What that is, whom it frees and whom it brings back sooner.
    pub planned: Worth,
    /// What it averts beyond the plan, as rate x minutes: of failures to come, and of machines out after the
    /// plan's end. Below 0 where today's requests take what failures to come would have taken.
    pub forecast: i64,
    /// What becomes of the failures to come.
    pub outlook: Outlook,
    /// What the plan leaves.
    pub left: Left,
    /// The plan with it.
    pub plan: Plan,
}

impl Truly {
    /// The loss that it averts in all, as rate x minutes.
    #[must_use]
    pub const fn averted(&self) -> i64 {
        self.backlog + self.forecast
    }
}

/// Holds every load of one trip against the same plan and the same failures to come.
#[derive(Debug, Clone)]
pub struct Yardstick {
    setting: Setting,
    /// The site as if the trip brought nothing.
    bare: Situation,
    measure: Measure,
    shelves: Vec<Shelf>,
    courses: Vec<Vec<Failure>>,
    rebuilds: BTreeMap<PartCode, Vec<Rebuild>>,
    landing: i64,
    end: i64,
    /// Without the trip.
    nothing: Outlook,
}

impl Yardstick {
    /// Settles the plan without the trip, and draws what may fail; none if stopped.
    ///
    /// The trip is taken to bring nothing yet, whatever stands on the list of what is expected of it.
    #[must_use]
    pub fn new(
        setting: Setting,
        budget: Budget,
        courses: usize,
        stop: &mut dyn FnMut() -> bool,
    ) -> Option<Self> {
        let bare = without(&setting.situation, &setting.trip);
        let shelves = shelves(&setting.items, bare.now);
        let landing = landing(&bare, &setting.trip);
        let end = end(&setting, landing);
        let mut problem = draft(&bare).problem;
        shelve(&mut problem, &shelves, landing, |_| 0);
        let plan = crew_plan(&problem, CrewOrder::LargestRateFirst);
        let verified = Verified::new(problem, plan).ok()?;
        let measure = Measure::new(&verified, budget, stop)?;
        let courses = draw(&bare, &setting.failures, end, courses, budget.seed);
        let rebuilds = rebuilds_of(&bare, &shelves);
        let mut yardstick = Self {
            setting,
            bare,
            measure,
            shelves,
            courses,
            rebuilds,
            landing,
            end,
            nothing: Outlook::default(),
        };
        let (problem, plan) = (yardstick.measure.problem(), yardstick.measure.base());
        yardstick.nothing = yardstick.outlook(problem, plan, &yardstick.rebuilds).0;
        Some(yardstick)
    }

    /// What it is all judged by.
    #[must_use]
    pub const fn setting(&self) -> &Setting {
        &self.setting
    }

    /// The minute from which what the trip brings may be used, by its usual arrival.
    #[must_use]
    pub const fn landing(&self) -> i64 {
        self.landing
    }

    /// The minute until which a load must last.
    #[must_use]
    pub const fn end(&self) -> i64 {
        self.end
    }

    /// What becomes of the failures to come without the trip.
    #[must_use]
    pub const fn without(&self) -> &Outlook {
        &self.nothing
    }

    /// The plan without the trip.
    #[must_use]
    pub const fn measure(&self) -> &Measure {
        &self.measure
    }

    /// The courses of failures that all is held against.
    #[must_use]
    pub fn courses(&self) -> &[Vec<Failure>] {
        &self.courses
    }

    /// The site as if the trip brought nothing.
    #[must_use]
    pub const fn bare(&self) -> &Situation {
        &self.bare
    }

    /// What one rebuild of each part takes here, consumables included.
    #[must_use]
    pub const fn rebuilds(&self) -> &BTreeMap<PartCode, Vec<Rebuild>> {
        &self.rebuilds
    }

    /// Consumables that are reckoned with.
    #[must_use]
    pub fn shelves(&self) -> &[Shelf] {
        &self.shelves
    }

    /// The site as if the trip brought this load.
    #[must_use]
    pub fn brought(&self, load: &Load) -> Situation {
        with(&self.bare, &self.setting, load)
    }

    /// The problem of the site as if the trip brought this load.
    #[must_use]
    pub fn drafted(&self, load: &Load) -> Problem {
        self.drafted_of(&self.brought(load), load)
    }

    fn drafted_of(&self, brought: &Situation, load: &Load) -> Problem {
        let mut problem = draft(brought).problem;
        let units = |code: &_| load.get(code).copied().unwrap_or(0);
        shelve(&mut problem, &self.shelves, self.landing, units);
        problem
    }

    /// What the plan without the trip leaves.
    #[must_use]
    pub fn left_without(&self) -> Left {
        left(self.measure.problem(), self.measure.base())
    }

    /// What a load is worth; none if stopped.
    #[must_use]
    pub fn truly(&self, load: &Load, stop: &mut dyn FnMut() -> bool) -> Option<Truly> {
        self.truly_from(load, None, stop)
    }

    /// The same, where a plan with less on the load is known: with more of it that plan can still be carried
    /// out, so that what is found is worth no less within the plan.
    #[must_use]
    pub fn truly_from(
        &self,
        load: &Load,
        known: Option<&Plan>,
        stop: &mut dyn FnMut() -> bool,
    ) -> Option<Truly> {
        let brought = self.brought(load);
        let problem = self.drafted_of(&brought, load);
        let (plan, planned) = self.measure.planned(&problem, known, stop)?;
        let gas = |(item, _): (&Item, i64)| matches!(item.content, Content::Gas { .. });
        let with_gas = loaded(&self.setting.items, load)
            .any(gas)
            .then(|| rebuilds_of(&brought, &self.shelves));
        let rebuilds = with_gas.as_ref().unwrap_or(&self.rebuilds);
        let (outlook, left) = self.outlook(&problem, &plan, rebuilds);
        let backlog = match planned.averted {
            Averted::Loss(loss) => loss,
            Averted::Nothing | Averted::NotMeasurable => 0,
        };
        Some(Truly {
            backlog,
            planned,
            forecast: self.nothing.loss - outlook.loss,
            outlook,
            left,
            plan,
        })
    }

    fn outlook(
        &self,
        problem: &Problem,
        plan: &Plan,
        rebuilds: &BTreeMap<PartCode, Vec<Rebuild>>,
    ) -> (Outlook, Left) {
        let mut left = left(problem, plan);
        // Lots of the problem end with it at the latest; those that last longer do so here.
        for lot in &mut left.lots {
            let known = self.bare.lots.iter().find(|it| it.code.as_str() == lot.id);
            let until = known.and_then(|known| known.use_by);
            lot.until = match until {
                Some(moment) => self.bare.minute_until(moment),
                None if known.is_some() || lot.until >= problem.horizon => i64::MAX,
                None => lot.until,
            };
        }
        let scene = Scene {
            situation: &self.bare,
            rebuilds,
            out: out(problem, plan, self.end),
            shelves: self.shelves.iter().map(|it| (it.store(), it)).collect(),
            horizon: problem.horizon,
            end: self.end,
        };
        let outlook = look(&scene, &left, &self.courses);
        (outlook, left)
    }
}

/// When each machine is out by a plan; one that is not back within it stays out to the end.
fn out(problem: &Problem, plan: &Plan, end: i64) -> BTreeMap<AssetCode, (i64, i64)> {
    let times = down_times(problem, plan).into_iter();
    let known = times.filter_map(|(asset, (from, back))| {
        let back = if back >= problem.horizon { end } else { back };
        Some((asset.parse().ok()?, (from, back)))
    });
    known.collect()
}

fn rebuilds_of(situation: &Situation, shelves: &[Shelf]) -> BTreeMap<PartCode, Vec<Rebuild>> {
    let parts = situation.parts.iter().filter(|part| !part.retired);
    let of_part = |part: &crate::catalogue::Part| {
        let mut ways = rebuilds(situation, part);
        ways.iter_mut().for_each(|way| take(way, shelves));
        (part.code.clone(), ways)
    };
    parts.map(of_part).collect()
}

/// The minute from which what a trip brings may be used.
pub(super) fn landing(situation: &Situation, trip: &Trip) -> i64 {
    (situation.minute_from(trip.usual) + situation.site.receiving_min).max(0)
}

fn end(setting: &Setting, landing: i64) -> i64 {
    let next = setting.next.latest(&setting.trip);
    let situation = &setting.situation;
    (situation.minute_from(next) + situation.site.receiving_min).max(landing)
}

/// The site as if a trip brought nothing.
fn without(situation: &Situation, trip: &Trip) -> Situation {
    let mut bare = situation.clone();
    let same = |it: &Delivery| it.code == trip.code;
    if let Some(delivery) = bare.deliveries.iter_mut().find(|it| same(it)) {
        delivery.brings.clear();
        delivery.expected = trip.usual;
    } else {
        bare.deliveries.push(Delivery {
            code: trip.code.clone(),
            name: trip.name.clone(),
            expected: trip.usual,
            latest: Some(trip.latest),
            payload_kg: None,
            brings: Vec::new(),
        });
    }
    for request in &mut bare.requests {
        let brought = |way: &Way| matches!(way, Way::TruePart { delivery: Some(code), .. } if *code == trip.code);
        request.ways.retain(|way| !brought(way));
    }
    bare
}

/// The site as if the trip brought this load. Cans of one powder are taken to be of one lot, as the list asks
/// for.
fn with(bare: &Situation, setting: &Setting, load: &Load) -> Situation {
    let mut brought = bare.clone();
    let mut powders: BTreeMap<_, i64> = BTreeMap::new();
    let mut brings = Vec::new();
    let mut parts = Vec::new();
    // What is not on the load has its line too, of nothing: so a plan with less on it names the same lots and
    // stores as one with more.
    for item in &setting.items {
        let units = load.get(&item.code).copied().unwrap_or(0);
        match &item.content {
            Content::Powder { powder, grams } => {
                *powders.entry(powder.clone()).or_default() += grams * units;
            }
            Content::Gas {
                bank,
                pressure_mbar,
            } => brings.push(Brings::Gas {
                bank: bank.clone(),
                bottles: units,
                pressure_mbar: *pressure_mbar,
            }),
            Content::Fuel { ml } => brings.push(Brings::Fuel { ml: ml * units }),
            Content::Part(part) => parts.push((part, units)),
            Content::Consumable(_) | Content::Other => {}
        }
    }
    let powders = powders.into_iter();
    brings.extend(powders.map(|(powder, grams)| Brings::Powder {
        powder,
        grams,
        use_by: None,
    }));
    for (part, units) in parts {
        let expected = bare.moment(landing(bare, &setting.trip));
        for code in waiting_for(bare, part, units) {
            let mut requests = brought.requests.iter_mut();
            if let Some(request) = requests.find(|it| it.code == code) {
                request.ways.push(Way::TruePart {
                    delivery: Some(setting.trip.code.clone()),
                    expected,
                    fit_min: FIT_MIN,
                    crew: FIT_CREW,
                });
            }
        }
    }
    let same = |it: &&mut Delivery| it.code == setting.trip.code;
    if let Some(delivery) = brought.deliveries.iter_mut().find(same) {
        delivery.brings = brings;
    }
    brought
}

/// The open requests that a true part would serve, those of the greatest rate first, as many as there are
/// parts.
pub(super) fn waiting_for(situation: &Situation, part: &PartCode, units: i64) -> Vec<RequestCode> {
    let mut requests: Vec<_> = situation
        .requests
        .iter()
        .filter(|request| request.part.as_ref() == Some(part) && request.begun.is_none())
        .filter(|it| {
            !it.ways
                .iter()
                .any(|way| matches!(way, Way::TruePart { .. }))
        })
        .collect();
    let rate = |it: &&crate::situation::Request| crate::lineup::rate_alone(situation, &it.asset);
    requests.sort_by_cached_key(|it| (std::cmp::Reverse(rate(it)), it.reported_at));
    let units = usize::try_from(units).unwrap_or(0);
    requests
        .into_iter()
        .take(units)
        .map(|it| it.code.clone())
        .collect()
}

impl NextTrip {
    /// When the trip after this one comes at the latest.
    #[must_use]
    pub fn latest(&self, trip: &Trip) -> chrono::DateTime<chrono::Utc> {
        match self {
            Self::Known(next) => next.latest.max(trip.latest),
            Self::Days(days) => trip.usual + TimeDelta::days(*days),
            Self::At(moment) => *moment,
        }
    }
}
