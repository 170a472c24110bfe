//! One run of a plan.

use super::model::{Build, Model, Part, Turn};
use super::way::Way;
use crate::planner::decode::{Chunk, Fact, Lack, State, Stays, Trail, Which};
use crate::planner::rules::{OptionRule, Rules};

/// What is kept from run to run to spare allocations, and what the last run ended with.
pub(super) struct Run {
    /// With nothing placed.
    empty: State,
    state: State,
    stays: Stays,
    trail: Trail,
    /// By part.
    progress: Vec<Progress>,
    /// By job: when it is finished, at the horizon at the latest.
    pub ends: Vec<i64>,
    /// By powder and by store: whether something could not be done for lack of it.
    pub short_of_powder: Vec<bool>,
    pub short_of_store: Vec<bool>,
}

/// How far a part is.
#[derive(Debug, Clone, Copy)]
struct Progress {
    /// Operations that are done.
    done: usize,
    /// When the last of them ends.
    end: i64,
    stands: Stands,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Stands {
    GoesOn,
    /// Built, and not what it should be.
    Failed,
    /// Something does not fit before the horizon.
    Lost,
}

/// Operations that are placed one behind the other.
struct Stretch<'a> {
    job: usize,
    option: usize,
    way: &'a Way,
    build: &'a Build,
    /// By operation: in a gap between stages it stands no sooner.
    gap_from: &'a [i64],
}

impl Run {
    pub fn new(rules: &Rules) -> Self {
        Self {
            empty: State::new(rules),
            state: State::new(rules),
            stays: Stays::default(),
            trail: Trail::default(),
            progress: Vec::new(),
            ends: Vec::new(),
            short_of_powder: vec![false; rules.lots_of.len()],
            short_of_store: vec![false; rules.stores.len()],
        }
    }

    /// Runs the plan through once.
    ///
    /// Everything is done in the order in which the plan starts it. A stage that would wait behind a late
    /// one goes before it where that moves nothing. A build that fails is built anew in what the plan
    /// leaves, those that fail first before the others.
    pub fn go(&mut self, model: &mut Model, seed: u64, run: u64) {
        let chances = model.begin_run(seed, run);
        let parts = 0..model.parts.len();
        let builds: Vec<Build> = parts
            .map(|part| model.begin_build(part, &chances, (seed, run, 0)))
            .collect();
        self.clear(model);
        for turn in &model.turns {
            let build = &builds[turn.part];
            self.take_turn(&model.rules, &model.parts[turn.part], *turn, build);
        }
        let mut failed: Vec<(i64, usize, u64)> = Vec::new();
        for (part, progress) in self.progress.iter().enumerate() {
            match progress.stands {
                Stands::GoesOn => self.ends[model.parts[part].job] = progress.end,
                Stands::Failed => failed.push((progress.end, part, 1)),
                Stands::Lost => {}
            }
        }
        while let Some(next) = failed.iter().min().copied() {
            failed.retain(|it| *it != next);
            let (from, part, number) = next;
            let build = model.begin_build(part, &chances, (seed, run, number));
            let progress = self.build_anew(&model.rules, &model.parts[part], &build, from);
            match progress.stands {
                Stands::GoesOn => self.ends[model.parts[part].job] = progress.end,
                Stands::Failed if number < MOST_BUILDS => {
                    failed.push((progress.end, part, number + 1));
                }
                Stands::Failed | Stands::Lost => {}
            }
        }
    }

    fn clear(&mut self, model: &Model) {
        let rules = &model.rules;
        self.state.begin_anew(&self.empty, rules);
        self.stays.clear(rules.cells.len());
        self.short_of_powder.fill(false);
        self.short_of_store.fill(false);
        self.ends.clear();
        self.ends.resize(rules.jobs.len(), rules.horizon);
        let begin = |part: &Part| Progress {
            done: 0,
            end: rules.jobs[part.job].options[part.free].ready,
            stands: Stands::GoesOn,
        };
        self.progress.clear();
        self.progress.extend(model.parts.iter().map(begin));
    }

    fn take_turn(&mut self, rules: &Rules, part: &Part, turn: Turn, build: &Build) {
        let before = self.progress[turn.part];
        if before.stands != Stands::GoesOn || turn.upto <= before.done {
            return;
        }
        let check = part.again.as_ref().map(|again| again.at);
        let mut stretch = Stretch {
            job: part.job,
            option: part.kept,
            way: &part.first,
            build,
            gap_from: &part.starts,
        };
        let mut after = self.go_on(rules, &stretch, before, turn.upto, check);
        if after.stands == Stands::Lost && after.done == before.done && part.free != part.kept {
            stretch.option = part.free;
            after = self.go_on(rules, &stretch, before, turn.upto, check);
        }
        if after.stands != Stands::GoesOn {
            self.let_go(rules, &stretch, after, after.stands == Stands::Lost);
        }
        self.progress[turn.part] = after;
    }

    fn build_anew(&mut self, rules: &Rules, part: &Part, build: &Build, from: i64) -> Progress {
        let mut progress = Progress {
            done: 0,
            end: from,
            stands: Stands::GoesOn,
        };
        let Some(again) = &part.again else {
            return progress;
        };
        let stretch = Stretch {
            job: part.job,
            option: again.option,
            way: &again.way,
            build,
            gap_from: &[],
        };
        let option = &rules.jobs[part.job].options[again.option];
        if option.operations.is_empty() {
            progress.stands = Stands::Lost;
        }
        for upto in (1..=option.operations.len()).filter(|upto| option.may_part(*upto)) {
            progress = self.go_on(rules, &stretch, progress, upto, Some(again.again_at));
            if progress.stands != Stands::GoesOn {
                self.let_go(rules, &stretch, progress, progress.stands == Stands::Lost);
                break;
            }
        }
        progress
    }

    /// Places the next operation, or those up to a position between which the wait has a limit; no further
    /// than the check that they fail.
    fn go_on(
        &mut self,
        rules: &Rules,
        stretch: &Stretch<'_>,
        from: Progress,
        upto: usize,
        check: Option<usize>,
    ) -> Progress {
        let option = &rules.jobs[stretch.job].options[stretch.option];
        let fails_at = check.filter(|_| !stretch.build.passes);
        let upto = fails_at.map_or(upto, |at| upto.min(at + 1));
        let placed = if upto == from.done + 1 {
            self.place_one(rules, stretch, option, from)
        } else {
            self.place_together(rules, stretch, option, from, upto)
        };
        let Some((end, whole)) = placed else {
            return Progress {
                stands: Stands::Lost,
                ..from
            };
        };
        let fails = !whole || fails_at.is_some_and(|at| upto > at);
        Progress {
            done: upto,
            end,
            stands: if fails {
                Stands::Failed
            } else {
                Stands::GoesOn
            },
        }
    }

    /// The end of the next operation, and whether there was enough of everything.
    fn place_one(
        &mut self,
        rules: &Rules,
        stretch: &Stretch<'_>,
        option: &OptionRule,
        from: Progress,
    ) -> Option<(i64, bool)> {
        let of = Which {
            job: stretch.job,
            option: stretch.option,
            at: from.done,
        };
        let gap_from = stretch.gap_from.get(of.at).copied().unwrap_or(0);
        let when = (from.end, gap_from);
        let (stays, trail) = (&mut self.stays, &mut self.trail);
        let placed = self.state.place_one(rules, of, when, stays, trail)?;
        let whole = self.use_in_fact(rules, stretch, (of.at, 0), 0);
        Some((placed.start + option.operations[of.at].minutes, whole))
    }

    /// The same for the operations up to a position.
    fn place_together(
        &mut self,
        rules: &Rules,
        stretch: &Stretch<'_>,
        option: &OptionRule,
        from: Progress,
        upto: usize,
    ) -> Option<(i64, bool)> {
        let operations = &option.operations[..upto];
        self.trail.clear();
        let (first, trail) = ((from.done, from.end), &mut self.trail);
        let chunk = Chunk::new(stretch.job, stretch.option, upto);
        let end = self.state.place(rules, operations, first, chunk, trail)?;
        let (mut whole, mut lots) = (true, 0);
        for (n, at) in (from.done..upto).enumerate() {
            let of = Which {
                job: stretch.job,
                option: stretch.option,
                at,
            };
            let placed = self.trail.placed[n];
            self.stays.note(rules, of, placed);
            whole &= self.use_in_fact(rules, stretch, (at, n), lots);
            lots += placed.lots;
        }
        Some((end, whole))
    }

    /// Counts what an operation uses in fact, placed at a position of the trail with its lots from another
    /// on; whether there was enough of it.
    fn use_in_fact(
        &mut self,
        rules: &Rules,
        stretch: &Stretch<'_>,
        (at, n): (usize, usize),
        lots: usize,
    ) -> bool {
        let Some((grams, times)) = stretch.build.facts[at] else {
            return true;
        };
        let operation = &rules.jobs[stretch.job].options[stretch.option].operations[at];
        let placed = self.trail.placed[n];
        let lots = &self.trail.lots[lots..lots + placed.lots];
        let by_grams = stretch.way.by_grams(at);
        let fact = Fact {
            grams,
            times,
            by_grams,
        };
        let lack = self
            .state
            .use_in_fact(rules, operation, placed, lots, &fact);
        let whole = lack.is_none();
        self.note(lack);
        whole
    }

    /// Lets go of what a part keeps for operations that are not going to be done, and notes what it lacked.
    fn let_go(&mut self, rules: &Rules, stretch: &Stretch<'_>, from: Progress, lost: bool) {
        let option = &rules.jobs[stretch.job].options[stretch.option];
        let to_come = &option.operations[from.done..];
        self.state.drop_carried(rules, to_come, from.end);
        if let Some(next) = to_come.first().filter(|_| lost) {
            let lack = self.state.lacking(rules, next, from.end + next.after);
            self.note(lack);
        }
    }

    fn note(&mut self, lack: Lack) {
        if let Some(powder) = lack.powder {
            self.short_of_powder[powder] = true;
        }
        for store in lack.stores {
            self.short_of_store[store] = true;
        }
    }
}

/// So many builds of one part are tried; common practice, no source.
const MOST_BUILDS: u64 = 9;
