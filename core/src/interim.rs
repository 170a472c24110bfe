//! Interim parts: how long a stand-in may stay on its machine, and whether it must come off.

use chrono::{DateTime, TimeDelta, Utc};
use serde::{Deserialize, Serialize};

use crate::word_enum;

/// Until when an interim part may run.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "limit", rename_all = "kebab-case")]
pub enum Limit {
    /// To a moment, whether its machine runs or not.
    Date {
        /// When it must be off.
        off_by: DateTime<Utc>,
    },
    /// For so long as its machine runs.
    Running {
        /// The most it may run, in minutes.
        most_min: i64,
        /// How long its machine is expected to run each day, in minutes from 1 to 1440.
        a_day_min: i64,
    },
}

/// What the hour meter of its machine showed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Reading {
    /// When it was read.
    pub at: DateTime<Utc>,
    /// What it showed, in minutes.
    pub meter_min: i64,
}

word_enum! {
    /// Whether an interim part must come off.
    Standing {
        /// It may stay for more than three days.
        Fine = "fine",
        /// Its end comes within three days.
        DueSoon = "due soon",
        /// Its end is past.
        Overdue = "overdue",
    }
}

/// How long an interim part may still stay.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Left {
    /// When it must be off; of running hours: when they are expected to be used up.
    pub off_by: DateTime<Utc>,
    /// Of running hours: what it has run by its readings, in minutes; up to the first one as expected,
    /// where it was not read as it was fitted.
    pub run_min: Option<i64>,
    /// Of running hours: what is left at this moment, in minutes, the time since the last reading
    /// reckoned as expected; below zero when it ran over.
    pub left_min: Option<i64>,
    /// Whether it must come off.
    pub standing: Standing,
}

/// Before this much time is left, an interim part is due soon: our choice, no source. It is what a crew
/// needs to have the machine stopped, and the part that replaces it at hand.
pub const SOON: TimeDelta = TimeDelta::days(3);

/// How long an interim part may still stay at a moment.
///
/// Running hours are known at readings of the hour meter, which never falls; between them, and after the
/// last one, the machine is taken to run as many hours a day as was told. `meter` are its readings in
/// order; what ran before the first of them is reckoned too, from `since`, so that a part whose meter was
/// not read as it was fitted gets no hour back by a reading.
#[must_use]
pub fn left(limit: Limit, since: DateTime<Utc>, meter: &[Reading], now: DateTime<Utc>) -> Left {
    let (off_by, run) = match limit {
        Limit::Date { off_by } => (off_by, None),
        Limit::Running {
            most_min,
            a_day_min,
        } => {
            let a_day_min = a_day_min.clamp(1, DAY_MIN);
            let (from, run_min) = known_run(since, meter, a_day_min);
            let open_min = most_min.saturating_sub(run_min);
            let until = calendar_min(open_min, a_day_min);
            let off_by = plus(from, until);
            let gone_min = (now - from).num_minutes().max(0);
            let ran_since = gone_min.saturating_mul(a_day_min) / DAY_MIN;
            (off_by, Some((run_min, open_min.saturating_sub(ran_since))))
        }
    };
    Left {
        off_by,
        run_min: run.map(|(run_min, _)| run_min),
        left_min: run.map(|(_, left_min)| left_min),
        standing: standing(off_by, now),
    }
}

/// When its running was last known, and how long it had run then, in minutes: what the meter ran between
/// its readings, and before the first of them as expected, rounded up.
fn known_run(since: DateTime<Utc>, meter: &[Reading], a_day_min: i64) -> (DateTime<Utc>, i64) {
    match (meter.first(), meter.last()) {
        (Some(first), Some(last)) => {
            let unread_min = (first.at - since).num_minutes().max(0);
            let reckoned_min = (unread_min.saturating_mul(a_day_min) + DAY_MIN - 1) / DAY_MIN;
            let run_min = last.meter_min.saturating_sub(first.meter_min);
            (last.at, run_min.max(0).saturating_add(reckoned_min))
        }
        _ => (since, 0),
    }
}

/// Minutes by the clock in which a machine runs so many, rounded down: off too early, never too late.
fn calendar_min(running_min: i64, a_day_min: i64) -> i64 {
    running_min.saturating_mul(DAY_MIN).div_euclid(a_day_min)
}

fn standing(off_by: DateTime<Utc>, now: DateTime<Utc>) -> Standing {
    if off_by <= now {
        Standing::Overdue
    } else if off_by - now <= SOON {
        Standing::DueSoon
    } else {
        Standing::Fine
    }
}

/// A moment so many minutes away, held within a century: a limit beyond that is none.
fn plus(from: DateTime<Utc>, minutes: i64) -> DateTime<Utc> {
    from + TimeDelta::minutes(minutes.clamp(-CENTURY_MIN, CENTURY_MIN))
}

const DAY_MIN: i64 = 24 * 60;
const CENTURY_MIN: i64 = 100 * 366 * DAY_MIN;

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const HOUR: i64 = 60;

    fn at(hours: i64) -> DateTime<Utc> {
        DateTime::UNIX_EPOCH + TimeDelta::hours(hours)
    }

    fn read(hours: i64, meter_h: i64) -> Reading {
        Reading {
            at: at(hours),
            meter_min: meter_h * HOUR,
        }
    }

    /// Off by hour 240: at hour 100 there are 140 h left; at 168 exactly three days, so it is due soon;
    /// at 240 it is overdue.
    #[test]
    fn a_date_counts_whether_the_machine_runs_or_not() {
        let limit = Limit::Date { off_by: at(240) };
        for (now, expected) in [
            (100, Standing::Fine),
            (167, Standing::Fine),
            (168, Standing::DueSoon),
            (239, Standing::DueSoon),
            (240, Standing::Overdue),
            (900, Standing::Overdue),
        ] {
            let left = left(limit, at(0), &[], at(now));
            assert_eq!(left.standing, expected, "hour {now}");
            assert_eq!((left.off_by, left.left_min), (at(240), None));
        }
    }

    /// 200 running hours at 8 a day are 25 days, 600 h. Fitted at 1 000 on the meter; read at hour 240
    /// (ten days, where 80 were expected): 1 120, so 120 h are used and 80 left, ten days more. A day
    /// later another 8 are taken as run: 72 left.
    #[test]
    fn running_hours_are_known_at_readings_and_reckoned_after_them() {
        let limit = Limit::Running {
            most_min: 200 * HOUR,
            a_day_min: 8 * HOUR,
        };
        let fitted = [read(0, 1000)];
        let first = left(limit, at(0), &fitted, at(0));
        assert_eq!(first.off_by, at(600));
        assert_eq!(first.left_min, Some(200 * HOUR));
        let meter = [read(0, 1000), read(240, 1120)];
        let later = left(limit, at(0), &meter, at(264));
        assert_eq!(later.off_by, at(480));
        assert_eq!(later.run_min, Some(120 * HOUR));
        assert_eq!(later.left_min, Some(72 * HOUR));
        assert_eq!(later.standing, Standing::Fine);
        // Without a reading it counts from when it was fitted.
        assert_eq!(left(limit, at(0), &[], at(24)).left_min, Some(192 * HOUR));
    }

    /// 200 h at 8 a day, fitted unread, are to be off after 25 days. First read after 20 days, at 5 000:
    /// 160 h are taken as run before, so it stays at five days more. Two days on the meter has run 10: 170
    /// are used, and the 30 left are 90 h by the clock.
    #[test]
    fn a_first_reading_gives_nothing_back() {
        let limit = Limit::Running {
            most_min: 200 * HOUR,
            a_day_min: 8 * HOUR,
        };
        let day = 24;
        let first = left(limit, at(0), &[read(20 * day, 5000)], at(20 * day));
        assert_eq!(first.off_by, at(25 * day));
        assert_eq!(first.run_min, Some(160 * HOUR));
        assert_eq!(first.left_min, Some(40 * HOUR));
        let meter = [read(20 * day, 5000), read(22 * day, 5010)];
        let second = left(limit, at(0), &meter, at(22 * day));
        assert_eq!(second.run_min, Some(170 * HOUR));
        assert_eq!(second.off_by, at(22 * day + 90));
    }

    /// Read at 210 of 200 hours: ten over. At 8 h a day that was 30 h ago, by the clock.
    #[test]
    fn run_over_its_hours_it_is_overdue_since_then() {
        let limit = Limit::Running {
            most_min: 200 * HOUR,
            a_day_min: 8 * HOUR,
        };
        let meter = [read(0, 0), read(300, 210)];
        let left = left(limit, at(0), &meter, at(300));
        assert_eq!(left.standing, Standing::Overdue);
        assert_eq!(left.left_min, Some(-10 * HOUR));
        assert_eq!(left.off_by, at(270));
    }

    proptest! {
        /// Whatever stands on the meter: time passes, and what is left does not grow; whoever is overdue
        /// stays so until a reading says otherwise.
        #[test]
        fn time_never_gives_anything_back(
            most in 1_i64..100_000, a_day in 1_i64..=1440, meter in 0_i64..1_000_000,
            ran in 0_i64..200_000, now in 0_i64..100_000, more in 0_i64..100_000,
        ) {
            let limit = Limit::Running { most_min: most, a_day_min: a_day };
            let minute = |m: i64| DateTime::UNIX_EPOCH + TimeDelta::minutes(m);
            let readings = [
                Reading { at: minute(0), meter_min: meter },
                Reading { at: minute(500), meter_min: meter + ran },
            ];
            let early = left(limit, minute(0), &readings, minute(now));
            let late = left(limit, minute(0), &readings, minute(now + more));
            prop_assert_eq!(early.off_by, late.off_by);
            prop_assert!(late.left_min <= early.left_min);
            prop_assert!(late.standing >= early.standing);
            prop_assert_eq!(early.run_min, Some(ran));
        }
    }
}
