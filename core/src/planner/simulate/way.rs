//! The operations of a build as told, and what becomes of them in fact.

use super::doubts::{OperationDoubt, SprayDoubt};
use super::draw::Source;
use crate::planner::problem::{Operation, Problem, Work};

/// Some operations as told, with their doubts.
pub(super) struct Way {
    told: Vec<i64>,
    spread: Vec<f64>,
    sprays: Vec<Option<Spray>>,
}

struct Spray {
    doubt: SprayDoubt,
    planned_g: i64,
    by_grams: Vec<(usize, i64)>,
}

impl Way {
    pub fn new(operations: &[Operation], doubts: &[OperationDoubt], problem: &Problem) -> Self {
        let doubt = |at: usize| doubts.get(at).cloned().unwrap_or_default();
        Self {
            told: operations.iter().map(|it| it.minutes).collect(),
            spread: (0..operations.len()).map(|at| doubt(at).spread).collect(),
            sprays: operations
                .iter()
                .enumerate()
                .map(|(at, operation)| match &operation.work {
                    Work::Stage { grams, .. } => {
                        Some(Spray::new(doubt(at).spray?, *grams, problem))
                    }
                    Work::Step { .. } => None,
                })
                .collect(),
        }
    }

    /// The operations as told: by minutes.
    pub fn told(&self) -> &[i64] {
        &self.told
    }

    /// What becomes of the operation at a position: its minutes, and grams where they are not as planned, with
    /// how many times as much is sprayed as planned. What is in one batch has a source of its own, so that all
    /// of it takes equally long.
    pub fn in_fact(
        &self,
        at: usize,
        source: &mut Source,
        of_batch: Option<Source>,
    ) -> (i64, Option<(i64, f64)>) {
        let spread = self.spread[at];
        let factor = match of_batch {
            Some(mut batch) => batch.factor(spread),
            None => source.factor(spread),
        };
        match &self.sprays[at] {
            None => (scaled(self.told[at], factor), None),
            Some(spray) => {
                let sticks = source.share(spray.doubt.sticks);
                spray.in_fact(self.told[at], factor, sticks)
            }
        }
    }

    /// What stores vary with the grams that the operation at a position sprays.
    pub fn by_grams(&self, at: usize) -> &[(usize, i64)] {
        let spray = self.sprays[at].as_ref();
        spray.map_or(&[], |spray| &spray.by_grams)
    }
}

impl Spray {
    fn new(doubt: SprayDoubt, planned_g: i64, problem: &Problem) -> Self {
        let stores = problem.stores.iter().enumerate();
        let by_grams = stores.filter_map(|(n, store)| Some((n, *doubt.by_grams.get(&store.id)?)));
        Self {
            by_grams: by_grams.collect(),
            planned_g,
            doubt,
        }
    }

    /// Minutes and grams of a build in which that share sticks, and how many times as much is sprayed as
    /// planned. A build of which less than a quarter sticks of what is usual is broken off before it takes
    /// more.
    #[expect(
        clippy::cast_precision_loss,
        reason = "grams are far below what loses precision"
    )]
    fn in_fact(&self, told: i64, factor: f64, sticks: f64) -> (i64, Option<(i64, f64)>) {
        let doubt = &self.doubt;
        let planned = (self.planned_g - doubt.heel_g).max(1) as f64;
        let fed = doubt.deposited_g as f64 / sticks.max(doubt.sticks.mean() / 4.0);
        let sprayed = fed + doubt.beside_g as f64;
        let times = sprayed / planned;
        let handling = doubt.handling_min.min(told) as f64;
        let minutes = handling * factor + (told as f64 - handling) * times;
        let grams = scaled(1, sprayed) + doubt.heel_g;
        (scaled(1, minutes), Some((grams, times)))
    }
}

/// Rounded, and at least 1.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_precision_loss,
    reason = "a float turned to an integer stops at its ends"
)]
fn scaled(told: i64, factor: f64) -> i64 {
    ((told as f64 * factor).round() as i64).clamp(1, 100_000_000)
}
