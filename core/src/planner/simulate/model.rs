//! A plan laid out for its runs: what is done in which order, and what each run sets anew.

use super::doubts::{Check, Doubts, OptionDoubt, Share};
use super::draw::Source;
use super::late::{Late, late};
use super::way::Way;
use crate::planner::decode::{Balance, DrawSize};
use crate::planner::extend::{Planned, choices_kept, positions};
use crate::planner::plan::Plan;
use crate::planner::problem::{JobOption, Operation, Problem};
use crate::planner::rules::{OperationRule, Rules};

/// A plan, ready for its runs.
pub(super) struct Model {
    /// Those of the run that is set.
    pub rules: Rules,
    pub parts: Vec<Part>,
    /// The operations of parts in the order in which the plan starts them.
    pub turns: Vec<Turn>,
    stores: Vec<Told>,
    comings: Vec<Late>,
    lots_from: Vec<i64>,
    ready: Vec<Vec<i64>>,
    back: Vec<i64>,
    chances: Vec<Share>,
}

/// A planned job.
pub(super) struct Part {
    pub job: usize,
    /// Its option with the stores that the plan takes, and the same with any that it may take.
    pub kept: usize,
    pub free: usize,
    pub first: Way,
    /// A build from the beginning, if it can fail.
    pub again: Option<Again>,
    /// By operation: when the plan starts it.
    pub starts: Vec<i64>,
}

/// What a part has to pass.
pub(super) struct Again {
    pub option: usize,
    told: Vec<Operation>,
    pub way: Way,
    chance: usize,
    /// Positions at whose end it is known, of what is planned and of a build anew.
    pub at: usize,
    pub again_at: usize,
}

/// Operations of a part up to a position, from where its turn before ended.
#[derive(Debug, Clone, Copy)]
pub(super) struct Turn {
    pub part: usize,
    pub upto: usize,
}

struct Told {
    level: i64,
    arrivals: Vec<(i64, i64)>,
    floor: i64,
}

/// What becomes of one build in a run.
pub(super) struct Build {
    pub passes: bool,
    /// By operation: grams in fact, and how many times as much is sprayed as planned.
    pub facts: Vec<Option<(i64, f64)>>,
}

impl Model {
    /// The plan must be one of this problem.
    pub fn new(problem: &Problem, plan: &Plan, doubts: &Doubts) -> Self {
        let mut wide = problem.clone();
        let kept = choices_kept(problem, plan);
        let planned = positions(problem, plan);
        let mut parts = Vec::new();
        let mut turns = Vec::new();
        for it in &planned {
            parts.push(part(problem, kept.as_ref(), &mut wide, it, doubts));
        }
        let mut rules = Rules::new(&wide);
        for (n, it) in planned.iter().enumerate() {
            keep_starts(&mut rules, &parts[n]);
            let chunks = it.chunks(&rules, true).into_iter();
            turns.extend(chunks.map(|(start, chunk)| {
                let turn = Turn {
                    part: n,
                    upto: chunk.upto,
                };
                (start, chunk.job, chunk.upto, turn)
            }));
        }
        turns.sort_by_key(|(start, job, upto, _)| (*start, *job, *upto));
        let ready = |job: &crate::planner::rules::JobRule| {
            job.options.iter().map(|option| option.ready).collect()
        };
        Self {
            turns: turns.into_iter().map(|(.., turn)| turn).collect(),
            stores: (0..problem.stores.len())
                .map(|n| told(problem, &rules, n))
                .collect(),
            comings: doubts
                .comings
                .iter()
                .map(|coming| late(problem, &rules, &parts, coming))
                .collect(),
            lots_from: rules.lots.iter().map(|lot| lot.from).collect(),
            ready: rules.jobs.iter().map(ready).collect(),
            back: rules.assets.iter().map(|asset| asset.back).collect(),
            chances: doubts.chances.clone(),
            rules,
            parts,
        }
    }

    /// The planned operations and those of builds anew, as told and as laid out.
    pub fn operations<'a>(
        &'a self,
        problem: &'a Problem,
    ) -> impl Iterator<Item = (&'a Operation, &'a OperationRule)> {
        self.parts.iter().flat_map(move |part| {
            let laid_out = |option: usize| &self.rules.jobs[part.job].options[option].operations;
            let first = &problem.jobs[part.job].options[part.free].operations;
            let again = part.again.iter();
            let again = again.flat_map(move |it| it.told.iter().zip(laid_out(it.option)));
            first.iter().zip(laid_out(part.free)).chain(again)
        })
    }

    /// Draws what does not hang on single parts: how late things come, and the chances to pass.
    pub fn begin_run(&mut self, seed: u64, run: u64) -> Vec<f64> {
        let rules = &mut self.rules;
        rules
            .lots
            .iter_mut()
            .zip(&self.lots_from)
            .for_each(|(lot, from)| lot.from = *from);
        for (job, ready) in rules.jobs.iter_mut().zip(&self.ready) {
            let options = job.options.iter_mut().zip(ready);
            options.for_each(|(option, ready)| option.ready = *ready);
        }
        for (asset, back) in rules.assets.iter_mut().zip(&self.back) {
            asset.back = *back;
        }
        let mut arrivals: Vec<Vec<(i64, i64)>> =
            self.stores.iter().map(|it| it.arrivals.clone()).collect();
        for (n, coming) in self.comings.iter().enumerate() {
            let delay = coming.delay(&mut Source::of(&[seed, run, COMINGS, n as u64]));
            if delay > 0 {
                coming.come_late(rules, &mut arrivals, delay);
            }
        }
        for (n, told) in self.stores.iter().enumerate() {
            rules.stores[n] = told.balance(&arrivals[n]);
        }
        let chance =
            |(n, share): (usize, &Share)| Source::of(&[seed, run, CHANCES, n as u64]).share(*share);
        self.chances.iter().enumerate().map(chance).collect()
    }

    /// Draws a build of a part and sets its minutes; the first by the planned operations.
    pub fn begin_build(
        &mut self,
        part: usize,
        chances: &[f64],
        (seed, run, build): (u64, u64, u64),
    ) -> Build {
        let part = &self.parts[part];
        let mut source = Source::of(&[seed, run, BUILDS, part.job as u64, build]);
        let luck = source.unit();
        let again = part.again.as_ref();
        let passes = again.is_none_or(|again| luck < chances[again.chance]);
        let (way, options) = match again {
            Some(again) if build > 0 => (&again.way, [again.option; 2]),
            _ => (&part.first, [part.kept, part.free]),
        };
        let mut facts = Vec::new();
        for (at, told) in way.told().iter().enumerate() {
            let batch = self.rules.jobs[part.job].options[options[0]].operations[at].batch;
            let of_batch = batch.map(|batch| {
                let cycle = batch.cycle.map_or(0, |cycle| cycle as u64 + 1);
                let station = batch.station as u64;
                Source::of(&[seed, run, BATCHES, station, cycle, told.unsigned_abs()])
            });
            let (minutes, fact) = way.in_fact(at, &mut source, of_batch);
            facts.push(fact);
            for option in options {
                let job = &mut self.rules.jobs[part.job];
                set_minutes(&mut job.options[option].operations[at], minutes);
            }
        }
        Build { passes, facts }
    }
}

/// Tells what is drawn for different things apart.
const COMINGS: u64 = 1;
const CHANCES: u64 = 2;
const BUILDS: u64 = 3;
const BATCHES: u64 = 4;

fn set_minutes(operation: &mut OperationRule, minutes: i64) {
    operation.minutes = minutes;
    if let Some(batch) = &mut operation.batch {
        batch.minutes = minutes;
    }
}

/// Puts what a part needs besides its option into a wider problem.
fn part(
    problem: &Problem,
    kept: Option<&Problem>,
    wide: &mut Problem,
    planned: &Planned<'_>,
    doubts: &Doubts,
) -> Part {
    let (job, free) = (planned.job, planned.option);
    let option = &problem.jobs[job].options[free];
    let key = (problem.jobs[job].id.clone(), option.id.clone());
    let none = OptionDoubt::default();
    let doubt = doubts.options.get(&key).unwrap_or(&none);
    let options = &mut wide.jobs[job].options;
    let mut add = |option: JobOption| {
        options.push(option);
        options.len() - 1
    };
    let kept = kept.map_or(free, |kept| add(kept.jobs[job].options[free].clone()));
    let again = doubt.check.as_ref().map(|check: &Check| Again {
        option: add(JobOption {
            operations: check.again.clone(),
            ..option.clone()
        }),
        told: check.again.clone(),
        way: Way::new(&check.again, &check.again_doubts, problem),
        chance: check.chance,
        at: check.at,
        again_at: check.again_at,
    });
    Part {
        job,
        kept,
        free,
        first: Way::new(&option.operations, &doubt.operations, problem),
        again,
        starts: planned.spots.iter().map(|spot| spot.start).collect(),
    }
}

/// Lets start no sooner than planned what may wait on purpose: for others of its batch, for what follows
/// within a limit, or to keep something no longer than it may.
fn keep_starts(rules: &mut Rules, part: &Part) {
    for option in [part.kept, part.free] {
        let option = &mut rules.jobs[part.job].options[option];
        for (at, start) in part.starts.iter().enumerate().take(option.operations.len()) {
            let operation = &option.operations[at];
            let keeps = operation.batch.is_some() || !operation.shares.kept.is_empty();
            if keeps || !option.may_part(at + 1) {
                option.operations[at].not_before = *start;
            }
        }
    }
}

fn told(problem: &Problem, rules: &Rules, n: usize) -> Told {
    let ways = rules.operations().flat_map(|operation| &operation.ways);
    let draws = ways.flat_map(|way| &way.draws);
    let floors = draws.filter(|draw| draw.store == n);
    Told {
        level: problem.stores[n].level,
        arrivals: problem.stores[n].arrivals.clone(),
        floor: floors.map(|draw| draw.size.floor).max().unwrap_or(0),
    }
}

impl Told {
    fn balance(&self, arrivals: &[(i64, i64)]) -> Balance {
        let limits = DrawSize {
            amount: i64::MAX / 4,
            floor: self.floor,
        };
        Balance::exact(self.level, arrivals, std::iter::once(limits))
    }
}
