//! How much of something that is shared at the same time (people, slots, kilowatts) is free, minute by minute.

mod bits;
mod steps;

use bits::Bits;
use steps::Steps;

/// What is free of one thing that is shared.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(in crate::planner) enum Room {
    /// Any amounts, also less than nothing.
    Steps(Steps),
    /// Small amounts, within the horizon, never less than nothing.
    Bits(Bits),
}

impl Room {
    /// The same amount free from minute 0 on.
    pub fn constant(free: i64) -> Self {
        Self::Steps(Steps::constant(free))
    }

    /// The same room within the horizon and no further, in the form that is quickest to look through; only
    /// for what is never overdrawn. Where much is free at a time it stays as it is.
    pub fn compact(self, horizon: i64) -> Self {
        match self {
            Self::Steps(steps) => Bits::new(&steps, horizon).map_or(Self::Steps(steps), Self::Bits),
            Self::Bits(_) => self,
        }
    }

    /// What is free from each minute on, until the next.
    pub fn steps(&self) -> Vec<(i64, i64)> {
        match self {
            Self::Steps(steps) => steps.steps().collect(),
            Self::Bits(bits) => bits.steps(),
        }
    }

    /// What is free over all minutes to the horizon.
    pub fn in_all(&self, horizon: i64) -> i64 {
        let steps = self.steps();
        let ends = steps.iter().skip(1).map(|step| step.0).chain([horizon]);
        let areas = steps.iter().zip(ends);
        areas
            .map(|((from, free), to)| (to.min(horizon) - from).max(0) * free.max(&0))
            .sum()
    }

    /// The first minute from `from` on at which `need` stays free for `minutes`.
    pub fn earliest(&self, from: i64, minutes: i64, need: i64) -> Option<i64> {
        match self {
            Self::Steps(steps) => steps.earliest(from, minutes, need),
            Self::Bits(bits) => bits.earliest(from, minutes, need),
        }
    }

    /// The minute at which the first stretch ends that has less than nothing free between `from` and `to`.
    pub fn overdrawn(&self, from: i64, to: i64) -> Option<i64> {
        match self {
            Self::Steps(steps) => steps.overdrawn(from, to),
            Self::Bits(_) => None,
        }
    }

    /// Takes `amount` from `from` to `to`; a negative amount gives room.
    pub fn take(&mut self, from: i64, to: i64, amount: i64) {
        match self {
            Self::Steps(steps) => steps.take(from, to, amount),
            Self::Bits(bits) => bits.take(from, to, amount),
        }
    }

    pub fn copy_from(&mut self, other: &Self) {
        match (self, other) {
            (Self::Steps(mine), Self::Steps(theirs)) => mine.copy_from(theirs),
            (Self::Bits(mine), Self::Bits(theirs)) => mine.copy_from(theirs),
            (mine, theirs) => mine.clone_from(theirs),
        }
    }
}
