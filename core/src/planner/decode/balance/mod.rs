//! What is in a store over time.

mod floors;
mod plain;

use floors::Floors;
use plain::Plain;

/// A store with its draws so far.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(in crate::planner) enum Balance {
    /// Every draw leaves the same.
    Plain(Plain),
    /// Draws leave different floors, or somebody asks for the level at a minute.
    Floors(Floors),
}

/// What a draw takes and what it must leave.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(in crate::planner) struct DrawSize {
    pub amount: i64,
    pub floor: i64,
}

impl DrawSize {
    /// The largest amount and the highest floor of all.
    fn most(draws: impl Iterator<Item = Self>) -> Self {
        draws.fold(Self::default(), |most, draw| Self {
            amount: most.amount.max(draw.amount),
            floor: most.floor.max(draw.floor),
        })
    }
}

impl Balance {
    /// A store without draws; `arrivals` as `(minute, amount)` in any order; `draws` are all that may come.
    pub fn new(
        level: i64,
        arrivals: &[(i64, i64)],
        draws: impl Iterator<Item = DrawSize> + Clone,
    ) -> Self {
        let mut floors = draws.clone().map(|draw| draw.floor);
        let floor = floors.next().unwrap_or(0);
        if floors.all(|other| other == floor) {
            Self::Plain(Plain::new(level, arrivals, floor))
        } else {
            Self::Floors(Floors::new(level, arrivals, DrawSize::most(draws)))
        }
    }

    /// The same, ready to be asked for its level between draws.
    pub fn exact(
        level: i64,
        arrivals: &[(i64, i64)],
        draws: impl Iterator<Item = DrawSize>,
    ) -> Self {
        Self::Floors(Floors::new(level, arrivals, DrawSize::most(draws)).exact())
    }

    /// What comes when, beginning with what is there at first; the store is one without draws.
    pub fn comings(&self) -> Vec<(i64, i64)> {
        match self {
            Self::Plain(plain) => plain.comings().collect(),
            Self::Floors(floors) => floors.comings().collect(),
        }
    }

    /// The first minute from `from` on at which `amount` can be drawn so that `floor` is left, and so
    /// that every draw already there still leaves its own.
    pub fn earliest(&self, from: i64, draw: DrawSize) -> Option<i64> {
        match self {
            Self::Plain(plain) => plain.earliest(from, draw.amount),
            Self::Floors(floors) => floors.earliest(from, draw),
        }
    }

    /// The least that is in it from a minute on, by the draws so far; of a store that is not exact, in the end.
    pub fn least_from(&self, minute: i64) -> i64 {
        match self {
            Self::Plain(plain) => plain.in_all(),
            Self::Floors(floors) => floors.least_from(minute),
        }
    }

    /// What there is and what comes, less what has been drawn.
    pub fn in_all(&self) -> i64 {
        match self {
            Self::Plain(plain) => plain.in_all(),
            Self::Floors(floors) => floors.in_all(),
        }
    }

    pub fn take(&mut self, minute: i64, draw: DrawSize) {
        match self {
            Self::Plain(plain) => plain.take(minute, draw.amount),
            Self::Floors(floors) => floors.take(minute, draw),
        }
    }

    /// Undoes a draw that was taken.
    pub fn give_back(&mut self, minute: i64, draw: DrawSize) {
        match self {
            Self::Plain(plain) => plain.take(minute, -draw.amount),
            Self::Floors(floors) => floors.give_back(minute, draw),
        }
    }

    pub fn copy_from(&mut self, other: &Self) {
        match (self, other) {
            (Self::Plain(mine), Self::Plain(theirs)) => mine.copy_from(theirs),
            (Self::Floors(mine), Self::Floors(theirs)) => mine.copy_from(theirs),
            (mine, theirs) => mine.clone_from(theirs),
        }
    }
}
