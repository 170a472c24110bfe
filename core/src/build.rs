//! A build while it runs: what it does now, and where its minutes went.

use crate::word_enum;
use chrono::{DateTime, Utc};
use std::collections::BTreeMap;

word_enum! {
    /// Why spraying stopped.
    Cause {
        /// A layer is done, and somebody looks.
        LayerEnd = "layer-end",
        /// Its thickness is measured.
        Measure = "measure",
        /// The feeder is filled.
        Powder = "powder",
        /// The bank is changed.
        Gas = "gas",
        /// The shift changes.
        ShiftChange = "shift-change",
        /// The nozzle is clogged.
        Clog = "clog",
        /// The nozzle is worn.
        NozzleWorn = "nozzle-worn",
        /// The feeder is blocked, or pulses.
        Feeder = "feeder",
        /// The heater does not hold its temperature.
        Heater = "heater",
        /// The collector is loaded.
        Collector = "collector",
        /// The compressor stands.
        Compressor = "compressor",
        /// The power is gone.
        Power = "power",
        /// Anything else; the note says what.
        Other = "other",
    }
}

impl Cause {
    /// Whether the stop says nothing of the recipe: any other part would have waited as long.
    #[must_use]
    pub const fn is_of_site(self) -> bool {
        matches!(self, Cause::ShiftChange | Cause::Power)
    }

    /// Whether something failed, so that whoever goes on must know why it stopped.
    #[must_use]
    pub const fn is_fault(self) -> bool {
        !matches!(
            self,
            Cause::LayerEnd | Cause::Measure | Cause::Powder | Cause::Gas | Cause::ShiftChange
        )
    }
}

/// What happened to a build.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Mark {
    /// Powder flows.
    Spray,
    /// It stops.
    Stop(Cause),
}

/// What a build does.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Doing {
    /// It is being set up: nothing was sprayed yet.
    SettingUp,
    /// Powder flows.
    Spraying,
    /// It stands.
    Stopped(Cause),
}

/// What a build does after these marks, in their order.
#[must_use]
pub fn doing(marks: &[(DateTime<Utc>, Mark)]) -> Doing {
    match marks.last() {
        None => Doing::SettingUp,
        Some((_, Mark::Spray)) => Doing::Spraying,
        Some((_, Mark::Stop(cause))) => Doing::Stopped(*cause),
    }
}

/// A mark that cannot follow.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum NoMark {
    /// It sprays already.
    #[error("it is being sprayed already; stop it first")]
    Sprays,
    /// It does not spray.
    #[error("it is not being sprayed; nothing is to be stopped")]
    Stands,
}

/// Whether a mark can follow.
///
/// # Errors
/// Why it cannot.
pub const fn can_follow(doing: Doing, mark: Mark) -> Result<(), NoMark> {
    match (doing, mark) {
        (Doing::Spraying, Mark::Spray) => Err(NoMark::Sprays),
        (Doing::SettingUp | Doing::Stopped(_), Mark::Stop(_)) => Err(NoMark::Stands),
        _ => Ok(()),
    }
}

/// Where the minutes of a build went.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Minutes {
    /// Before the first powder.
    pub set_up: i64,
    /// While powder flowed.
    pub spraying: i64,
    /// While it stood, by cause.
    pub stopped: BTreeMap<Cause, i64>,
}

impl Minutes {
    /// From begin to end.
    #[must_use]
    pub fn all(&self) -> i64 {
        self.set_up + self.spraying + self.stopped.values().sum::<i64>()
    }

    /// All but the stops that say nothing of the recipe.
    #[must_use]
    pub fn of_recipe(&self) -> i64 {
        let of_site = self.stopped.iter().filter(|(cause, _)| cause.is_of_site());
        self.all() - of_site.map(|(_, minutes)| minutes).sum::<i64>()
    }

    /// Of those while it stood, what was for a fault.
    #[must_use]
    pub fn faults(&self) -> i64 {
        let faults = self.stopped.iter().filter(|(cause, _)| cause.is_fault());
        faults.map(|(_, minutes)| minutes).sum()
    }
}

/// Where the minutes of a build went that was begun then, had these marks in their order, and ended at `end`.
///
/// A stretch that ends before it begins, as after a clock was put back, counts nothing.
#[must_use]
pub fn minutes(
    begun: DateTime<Utc>,
    marks: &[(DateTime<Utc>, Mark)],
    end: DateTime<Utc>,
) -> Minutes {
    let mut minutes = Minutes::default();
    let (mut from, mut before) = (begun, None);
    let last = (end, Mark::Spray);
    for (at, mark) in marks.iter().chain([&last]) {
        let took = (*at - from).num_minutes().max(0);
        match before {
            None => minutes.set_up += took,
            Some(Mark::Spray) => minutes.spraying += took,
            Some(Mark::Stop(cause)) => *minutes.stopped.entry(cause).or_default() += took,
        }
        (from, before) = (*at, Some(*mark));
    }
    minutes
}

word_enum! {
    /// What is read while a part is built.
    Reading {
        /// Gas before the nozzle, absolute, in millibar.
        Pressure = "pressure",
        /// Gas before the nozzle, in thousandths of a degree Celsius.
        Temperature = "temperature",
        /// What the heater takes, in watts.
        Heater = "heater",
        /// What the feeder gives, in milligrams per minute.
        Feed = "feed",
        /// What is left in the feeder, in milligrams.
        FeederLeft = "feeder-left",
        /// How far the booth is below the air outside, in pascals.
        Draught = "draught",
        /// Relative humidity of the booth, in thousandths.
        Humidity = "humidity",
        /// Oxygen in the booth, in thousandths.
        Oxygen = "oxygen",
        /// Thickness of the deposit, in micrometres.
        Thickness = "thickness",
    }
}

/// Oxygen below which nobody enters the booth, in thousandths: 19.5 % (29 CFR 1910.134, from memory; values differ
/// by source, and local codes decide).
pub const LEAST_OXYGEN_PERMILLE: i64 = 195;

#[cfg(test)]
mod tests {
    use super::{Cause, Doing, Mark, NoMark, can_follow, doing, minutes};
    use chrono::{DateTime, TimeDelta, Utc};

    fn at(minute: i64) -> DateTime<Utc> {
        DateTime::UNIX_EPOCH + TimeDelta::minutes(minute)
    }

    /// Begun at 0, powder flows from 25; at 60 the nozzle clogs and is changed until 78; at 100 a layer is looked
    /// at for 4 minutes; at 140 it is done. Set up 25; sprayed 35 + 22 + 36 = 93; stood 18 + 4 = 22; 140 in all.
    #[test]
    fn every_minute_goes_somewhere() {
        let marks = [
            (at(25), Mark::Spray),
            (at(60), Mark::Stop(Cause::Clog)),
            (at(78), Mark::Spray),
            (at(100), Mark::Stop(Cause::LayerEnd)),
            (at(104), Mark::Spray),
        ];
        let took = minutes(at(0), &marks, at(140));
        assert_eq!((took.set_up, took.spraying), (25, 93));
        assert_eq!(took.stopped[&Cause::Clog], 18);
        assert_eq!(took.stopped[&Cause::LayerEnd], 4);
        assert_eq!(
            (took.all(), took.faults(), took.of_recipe()),
            (140, 18, 140)
        );
        // Not sprayed yet, all of it is set-up.
        assert_eq!(minutes(at(0), &[], at(12)).set_up, 12);
    }

    #[test]
    fn what_runs_is_stopped_before_it_goes_on() {
        assert_eq!(doing(&[]), Doing::SettingUp);
        let stop = Mark::Stop(Cause::Feeder);
        assert_eq!(can_follow(doing(&[]), stop), Err(NoMark::Stands));
        let sprays = doing(&[(at(1), Mark::Spray)]);
        assert_eq!(can_follow(sprays, Mark::Spray), Err(NoMark::Sprays));
        assert_eq!(can_follow(sprays, stop), Ok(()));
        let stands = doing(&[(at(1), Mark::Spray), (at(2), stop)]);
        assert_eq!(stands, Doing::Stopped(Cause::Feeder));
        assert_eq!(can_follow(stands, Mark::Spray), Ok(()));
    }

    /// The clock was put back by an hour while it stood: that stretch counts nothing, not less than nothing.
    #[test]
    fn a_clock_put_back_takes_no_minutes() {
        let marks = [(at(60), Mark::Spray), (at(30), Mark::Stop(Cause::Power))];
        let took = minutes(at(0), &marks, at(40));
        assert_eq!((took.set_up, took.spraying), (60, 0));
        assert_eq!(took.stopped[&Cause::Power], 10);
        // The power would have failed for any part: that says nothing of how long this one takes.
        assert_eq!(took.of_recipe(), 60);
    }
}
