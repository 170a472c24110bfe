//! What becomes of the failures to come with what a plan leaves.

use super::scenario::Failure;
use super::shelf::Shelf;
use crate::code::{AssetCode, PartCode, PowderCode};
use crate::lineup::{Left, LeftStore, Rebuild};
use crate::planner::{Draw, Lot};
use crate::situation::{Capability, Situation};
use std::collections::{BTreeMap, BTreeSet};

/// What is known beside the courses: who makes a part how, which machines are out anyway, until when it is
/// looked.
#[derive(Debug, Clone)]
pub struct Scene<'a> {
    /// The site.
    pub situation: &'a Situation,
    /// The ways to rebuild each part here, with what each takes.
    pub rebuilds: &'a BTreeMap<PartCode, Vec<Rebuild>>,
    /// When each machine is out by the plan: from, to.
    pub out: BTreeMap<AssetCode, (i64, i64)>,
    /// Consumables, by their stores.
    pub shelves: BTreeMap<String, &'a Shelf>,
    /// The end of the plan, in minutes from now: what the site loses by it until then is not counted again.
    pub horizon: i64,
    /// The end, in minutes from now.
    pub end: i64,
}

/// What lacks when something cannot be rebuilt.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum Lacks {
    /// Powder, or as much of it in one lot.
    Powder(PowderCode),
    /// Something of the planner's stores: gas in a bank, fuel, minutes to a service, plates, a consumable.
    Store(String),
}

/// What runs out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RunsOut {
    /// What.
    pub what: Lacks,
    /// In so many thousandths of the courses it is the first thing that something waits for.
    pub permille: i64,
    /// In half of these it comes by this minute.
    pub by: i64,
}

/// What becomes of the failures to come, on the average of all courses.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Outlook {
    /// What the site loses until the end beyond what the plan loses until its own, as rate x minutes: by what
    /// fails, and by machines that the plan leaves out.
    pub loss: i64,
    /// So many thousandths of the courses in which every failure is seen to as soon as it happens.
    pub enough_permille: i64,
    /// So many thousandths of the failures that are seen to at all; 1000 where nothing fails.
    pub served_permille: i64,
    /// Failures, in thousandths.
    pub failures_milli: i64,
    /// Failures of parts that this cell makes by no approved recipe, in thousandths: no stock helps them.
    pub not_made_milli: i64,
    /// What something waits for first, in the most courses first.
    pub runs_out: Vec<RunsOut>,
}

/// What becomes of the failures of these courses with what is left.
///
/// A failure takes what its rebuild takes at once, by the first recipe for which all is there; else it waits
/// until more arrives, the machine with the greatest rate first, and to the end where nothing does. Its
/// machine is out meanwhile, and while it is worked on. That the cell may be busy is left out: it is so with
/// every list alike.
#[must_use]
pub fn look(scene: &Scene<'_>, left: &Left, courses: &[Vec<Failure>]) -> Outlook {
    let count = i64::try_from(courses.len().max(1)).unwrap_or(i64::MAX);
    let (mut loss, mut enough, mut served, mut failed, mut not_made) = (0_i128, 0, 0, 0, 0);
    let planned = Planned::of(scene);
    let mut first: BTreeMap<Lacks, Vec<i64>> = BTreeMap::new();
    for course in courses {
        let run = Run::of(scene, left, course);
        let told = run.told;
        if let Some((minute, what)) = &run.first {
            first.entry(what.clone()).or_default().push(*minute);
        }
        loss += i128::from(planned.further_loss(scene, &run.out));
        enough += i64::from(told.late == 0);
        served += told.served;
        failed += told.failed;
        not_made += told.not_made;
    }
    let made = failed - not_made;
    Outlook {
        loss: i64::try_from(loss / i128::from(count)).unwrap_or(i64::MAX),
        enough_permille: enough * 1000 / count,
        served_permille: if made == 0 {
            1000
        } else {
            served * 1000 / made
        },
        failures_milli: failed * 1000 / count,
        not_made_milli: not_made * 1000 / count,
        runs_out: runs_out(first, count),
    }
}

fn runs_out(first: BTreeMap<Lacks, Vec<i64>>, count: i64) -> Vec<RunsOut> {
    let told = first.into_iter().map(|(what, mut minutes)| {
        minutes.sort_unstable();
        let times = i64::try_from(minutes.len()).unwrap_or(i64::MAX);
        RunsOut {
            what,
            permille: times * 1000 / count,
            by: minutes[minutes.len() / 2],
        }
    });
    let mut told: Vec<RunsOut> = told.collect();
    told.sort_by_key(|it| std::cmp::Reverse(it.permille));
    told
}

/// One course.
struct Run<'a> {
    scene: &'a Scene<'a>,
    lots: Vec<Lot>,
    stores: BTreeMap<&'a str, LeftStore>,
    out: Vec<Out<'a>>,
    /// What lacked when something had to wait for the first time, and when.
    first: Option<(i64, Lacks)>,
    told: Told,
}

#[derive(Debug, Clone, Copy, Default)]
struct Told {
    served: i64,
    late: i64,
    failed: i64,
    not_made: i64,
}

impl<'a> Run<'a> {
    fn of(scene: &'a Scene<'a>, left: &'a Left, course: &'a [Failure]) -> Self {
        let mut run = Run {
            scene,
            lots: left.lots.clone(),
            stores: left
                .stores
                .iter()
                .map(|(id, store)| (id.as_str(), *store))
                .collect(),
            out: Vec::new(),
            first: None,
            told: Told::default(),
        };
        run.go(left, course);
        run
    }

    /// Failures and arrivals by time; who waits is tried again at each arrival.
    fn go(&mut self, left: &Left, course: &'a [Failure]) {
        let lots = left.lots.iter().map(|lot| lot.from);
        let arrivals = lots.chain(left.stores.values().map(|store| store.from));
        let later: BTreeSet<i64> = arrivals.filter(|at| *at > 0).collect();
        let mut waiting: Vec<&Failure> = Vec::new();
        let mut later = later.into_iter().peekable();
        for failure in course {
            while let Some(at) = later.next_if(|at| *at <= failure.minute) {
                self.retry(&mut waiting, at);
            }
            self.told.failed += 1;
            if self
                .scene
                .rebuilds
                .get(&failure.part)
                .is_none_or(Vec::is_empty)
            {
                self.told.not_made += 1;
                self.out
                    .push((&failure.asset, failure.minute, self.scene.end));
            } else if !self.serve(failure, failure.minute) {
                self.told.late += 1;
                waiting.push(failure);
            }
        }
        for at in later {
            self.retry(&mut waiting, at);
        }
        let end = self.scene.end;
        self.out
            .extend(waiting.iter().map(|it| (&it.asset, it.minute, end)));
    }

    fn retry(&mut self, waiting: &mut Vec<&'a Failure>, at: i64) {
        let rate = |it: &&Failure| crate::lineup::rate_alone(self.scene.situation, &it.asset);
        waiting.sort_by_cached_key(|it| std::cmp::Reverse(rate(it)));
        waiting.retain(|failure| !self.serve(failure, at));
    }

    fn serve(&mut self, failure: &'a Failure, at: i64) -> bool {
        let scene = self.scene;
        let ways = scene.rebuilds.get(&failure.part).into_iter().flatten();
        let before = self.first.clone();
        for way in ways {
            let (lots, stores) = match self.taken(way, failure, at) {
                Ok(taken) => taken,
                Err(lacks) => {
                    self.first.get_or_insert((at, lacks));
                    continue;
                }
            };
            for (lot, grams) in lots {
                self.lots[lot].grams -= grams;
            }
            for (store, amount) in stores {
                if let Some(store) = self.stores.get_mut(store) {
                    store.level -= amount;
                }
            }
            self.first = before;
            self.told.served += 1;
            self.out
                .push((&failure.asset, failure.minute, at + way.minutes));
            return true;
        }
        false
    }

    /// What a rebuild that begins now would take, or what lacks.
    fn taken(&self, way: &'a Rebuild, failure: &Failure, at: i64) -> Result<Taken<'a>, Lacks> {
        let mut lots: Vec<(usize, i64)> = Vec::new();
        let ends = at + way.minutes;
        for stage in &way.stages {
            let free = |n: usize| {
                let drawn: i64 = lots
                    .iter()
                    .filter(|(lot, _)| *lot == n)
                    .map(|(_, g)| g)
                    .sum();
                self.lots[n].grams - drawn
            };
            let usable = |n: &usize| {
                let lot = &self.lots[*n];
                lot.powder == stage.powder.as_str() && lot.from <= at && lot.until >= ends
            };
            let usable = (0..self.lots.len()).filter(usable);
            let takes = takes_g(stage, failure.luck);
            let lacks = || Lacks::Powder(stage.powder.clone());
            let drawn = if stage.one_lot {
                let one = usable.filter(|n| free(*n) >= stage.load_g);
                vec![(one.min_by_key(|n| free(*n)).ok_or_else(lacks)?, takes)]
            } else {
                let all: Vec<usize> = usable.collect();
                let sum: i64 = all.iter().map(|n| free(*n)).sum();
                (sum >= stage.load_g).then_some(()).ok_or_else(lacks)?;
                part(all.into_iter().map(|n| (n, free(n))), takes)
            };
            lots.extend(drawn);
        }
        let mut stores: Vec<(&str, i64)> = Vec::new();
        for draw in &way.draws {
            let store = self.store_for(draw, &stores, at);
            let lacks = || {
                let first = draw.choices().first();
                Lacks::Store(first.map_or_else(String::new, |choice| choice.store.clone()))
            };
            stores.push(store.ok_or_else(lacks)?);
        }
        Ok((lots, stores))
    }

    fn store_for(&self, draw: &'a Draw, drawn: &[(&str, i64)], at: i64) -> Option<(&'a str, i64)> {
        let holds = |choice: &&'a crate::planner::StoreDraw| {
            let Some(store) = self.stores.get(choice.store.as_str()) else {
                return false;
            };
            let same = drawn.iter().filter(|(id, _)| *id == choice.store);
            let before: i64 = same.map(|(_, amount)| amount).sum();
            let shelf = self.scene.shelves.get(choice.store.as_str());
            let worn = shelf.map_or(0, |shelf| shelf.worn_milli(at));
            let level = store.level - before - worn;
            let wears = shelf.is_some_and(|shelf| shelf.per_day_milli > 0);
            store.from <= at && level >= choice.amount + choice.floor && (!wears || level > 0)
        };
        let found = draw.choices().iter().find(holds)?;
        Some((found.store.as_str(), found.amount))
    }
}

type Taken<'a> = (Vec<(usize, i64)>, Vec<(&'a str, i64)>);

/// What a stage takes by the luck of the course: no more than is loaded.
fn takes_g(stage: &crate::lineup::StageTake, luck: f64) -> i64 {
    #[expect(clippy::cast_possible_truncation, reason = "grams of one build")]
    let beyond = (luck * stage.sd_g as f64) as i64;
    (stage.likely_g + beyond).clamp(0, stage.load_g)
}

fn part(lots: impl Iterator<Item = (usize, i64)>, mut grams: i64) -> Vec<(usize, i64)> {
    let mut parted = Vec::new();
    for (lot, free) in lots {
        let taken = free.min(grams);
        if taken > 0 {
            parted.push((lot, taken));
            grams -= taken;
        }
    }
    parted
}

/// What each capability loses with only those machines out that are so by the plan.
struct Planned {
    /// Until the end of the plan, or the end where that comes first: all capabilities together.
    counted: i64,
    /// Until the end, in the order of the site's capabilities.
    to_end: Vec<i64>,
}

impl Planned {
    fn of(scene: &Scene<'_>) -> Self {
        let capabilities = || scene.situation.capabilities.iter();
        let counted_to = scene.horizon.min(scene.end);
        let counted = capabilities().map(|it| loss_of(scene, it, &[], counted_to));
        Self {
            counted: counted.sum(),
            to_end: capabilities()
                .map(|it| loss_of(scene, it, &[], scene.end))
                .collect(),
        }
    }

    fn further_loss(&self, scene: &Scene<'_>, out: &[Out<'_>]) -> i64 {
        let capabilities = scene.situation.capabilities.iter().zip(&self.to_end);
        let losses = capabilities.map(|(capability, planned)| {
            let hit = out
                .iter()
                .any(|(asset, _, _)| capability.assets.contains(asset));
            if hit {
                loss_of(scene, capability, out, scene.end)
            } else {
                *planned
            }
        });
        losses.sum::<i64>() - self.counted
    }
}

/// A machine that is out, from when to when.
type Out<'a> = (&'a AssetCode, i64, i64);

fn loss_of(scene: &Scene<'_>, capability: &Capability, out: &[Out<'_>], end: i64) -> i64 {
    let spans = |asset: &AssetCode| {
        let planned = scene.out.get(asset).copied().into_iter();
        let failed = out.iter().filter(|(it, _, _)| *it == asset);
        let failed = failed.map(|(_, from, to)| (*from, *to));
        united(planned.chain(failed), end)
    };
    let spans: Vec<(i64, i64)> = capability.assets.iter().flat_map(spans).collect();
    integral(&spans, &capability.loss_per_hour)
}

/// Stretches of one machine as disjoint ones, within 0 and the end.
fn united(spans: impl Iterator<Item = (i64, i64)>, end: i64) -> Vec<(i64, i64)> {
    let mut spans: Vec<(i64, i64)> = spans
        .map(|(from, to)| (from.max(0), to.min(end)))
        .filter(|(from, to)| from < to)
        .collect();
    spans.sort_unstable();
    let mut united: Vec<(i64, i64)> = Vec::new();
    for (from, to) in spans {
        match united.last_mut() {
            Some(last) if from <= last.1 => last.1 = last.1.max(to),
            _ => united.push((from, to)),
        }
    }
    united
}

/// The rate while so many are out, over time.
fn integral(spans: &[(i64, i64)], rates: &[i64]) -> i64 {
    let mut steps: Vec<(i64, i64)> = spans
        .iter()
        .flat_map(|(from, to)| [(*from, 1), (*to, -1)])
        .collect();
    steps.sort_unstable();
    let rate = |down: i64| {
        let down = usize::try_from(down)
            .unwrap_or(0)
            .min(rates.len().saturating_sub(1));
        rates.get(down).copied().unwrap_or(0)
    };
    let (mut loss, mut down, mut last) = (0_i64, 0, 0);
    for (at, step) in steps {
        loss += (rate(down) - rate(0)) * (at - last);
        (down, last) = (down + step, at);
    }
    loss
}
