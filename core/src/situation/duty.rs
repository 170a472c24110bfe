//! Duty hours: a weekly pattern in the site's own clock, opened out into shifts in time.

use crate::catalogue::Skill;
use chrono::{DateTime, Datelike, NaiveTime, TimeDelta, TimeZone, Utc, Weekday};
use chrono_tz::Tz;

/// People on duty on some days of the week, between two times of the site's clock.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DutyHours {
    /// The days.
    pub days: Vec<Weekday>,
    /// From.
    pub from: NaiveTime,
    /// To; a time not after `from` is on the next day.
    pub to: NaiveTime,
    /// How many people.
    pub crew: i64,
    /// Those of them who can spray; none: everybody.
    pub sprayers: Option<i64>,
    /// Those of them who can cut and check; none: everybody.
    pub machinists: Option<i64>,
}

/// People on duty from one moment to another.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Shift {
    /// From.
    pub from: DateTime<Utc>,
    /// To, not included.
    pub to: DateTime<Utc>,
    /// How many people.
    pub crew: i64,
    /// Those of them who can spray.
    pub sprayers: i64,
    /// Those of them who can cut and check.
    pub machinists: i64,
}

impl Shift {
    /// Those on duty who can do this.
    #[must_use]
    pub const fn able(&self, skill: Skill) -> i64 {
        match skill {
            Skill::Sprayer => self.sprayers,
            Skill::Machinist => self.machinists,
        }
    }
}

/// Why duty hours make no calendar.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum DutyError {
    /// Two stretches overlap; the crew of that hour would be counted twice.
    #[error(
        "duty hours overlap on {day}: {first} ends after {second} starts; give one stretch for each hour of a day"
    )]
    Overlap {
        /// The day, in the site's clock.
        day: String,
        /// The end of the first stretch.
        first: String,
        /// The start of the second.
        second: String,
    },
}

/// The shifts that touch the stretch from `from` to `to`, sorted.
///
/// A local time that the clock skips in spring starts an hour later; one that it shows twice in
/// autumn is the first of the two.
///
/// # Errors
/// [`DutyError::Overlap`] if two stretches share an hour.
pub fn duty_shifts(
    hours: &[DutyHours],
    zone: Tz,
    from: DateTime<Utc>,
    to: DateTime<Utc>,
) -> Result<Vec<Shift>, DutyError> {
    let first = from.with_timezone(&zone).date_naive() - TimeDelta::days(1);
    let days = (to - from).num_days() + 3;
    let mut shifts = Vec::new();
    for day in first.iter_days().take(usize::try_from(days).unwrap_or(0)) {
        for stretch in hours.iter().filter(|h| h.days.contains(&day.weekday())) {
            let end_day = if stretch.to > stretch.from {
                day
            } else {
                day + TimeDelta::days(1)
            };
            let shift = Shift {
                from: instant(zone, day.and_time(stretch.from)),
                to: instant(zone, end_day.and_time(stretch.to)),
                crew: stretch.crew,
                sprayers: stretch.sprayers.unwrap_or(stretch.crew),
                machinists: stretch.machinists.unwrap_or(stretch.crew),
            };
            if shift.to > from && shift.from < to && shift.to > shift.from {
                shifts.push(shift);
            }
        }
    }
    shifts.sort_by_key(|s| s.from);
    for pair in shifts.windows(2) {
        if pair[0].to > pair[1].from {
            let local = |t: DateTime<Utc>, f: &str| t.with_timezone(&zone).format(f).to_string();
            return Err(DutyError::Overlap {
                day: local(pair[1].from, "%A"),
                first: local(pair[0].to, "%H:%M"),
                second: local(pair[1].from, "%H:%M"),
            });
        }
    }
    Ok(shifts)
}

/// The moment at which the site's clock shows this time.
///
/// A time that the clock skips in spring counts an hour later; one that it shows twice in autumn is
/// the first of the two.
#[must_use]
pub fn instant(zone: Tz, local: chrono::NaiveDateTime) -> DateTime<Utc> {
    let an_hour = TimeDelta::hours(1);
    zone.from_local_datetime(&local)
        .earliest()
        .or_else(|| zone.from_local_datetime(&(local + an_hour)).earliest())
        .map_or_else(|| Utc.from_utc_datetime(&local), |t| t.to_utc())
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono_tz::{Europe::Berlin, Pacific::Guadalcanal};

    const WEEK: [Weekday; 7] = [
        Weekday::Mon,
        Weekday::Tue,
        Weekday::Wed,
        Weekday::Thu,
        Weekday::Fri,
        Weekday::Sat,
        Weekday::Sun,
    ];

    fn at(text: &str) -> DateTime<Utc> {
        text.parse().expect("a time")
    }

    fn hours(from: &str, to: &str, crew: i64) -> DutyHours {
        let time = |t: &str| t.parse().expect("a time of day");
        DutyHours {
            days: WEEK.to_vec(),
            from: time(from),
            to: time(to),
            crew,
            sprayers: None,
            machinists: None,
        }
    }

    /// 06:00 to 18:00 on an island eleven hours ahead is 19:00 to 07:00 in UTC. One of the three sprays,
    /// and as nobody said who cuts, all three do.
    #[test]
    fn hours_are_in_the_clock_of_the_site() {
        let shifts = duty_shifts(
            &[DutyHours {
                sprayers: Some(1),
                ..hours("06:00:00", "18:00:00", 3)
            }],
            Guadalcanal,
            at("2026-11-25T03:05:00Z"),
            at("2026-11-26T03:05:00Z"),
        );
        let shifts = shifts.expect("no overlap");
        assert_eq!(
            shifts[0],
            Shift {
                from: at("2026-11-24T19:00:00Z"),
                to: at("2026-11-25T07:00:00Z"),
                crew: 3,
                sprayers: 1,
                machinists: 3,
            }
        );
        assert_eq!(shifts[1].from, at("2026-11-25T19:00:00Z"));
        assert_eq!(shifts.len(), 2);
    }

    /// A night shift that began yesterday still counts this morning.
    #[test]
    fn a_night_shift_runs_into_the_next_day() {
        let shifts = duty_shifts(
            &[hours("18:00:00", "02:00:00", 1)],
            Guadalcanal,
            at("2026-11-25T14:30:00Z"),
            at("2026-11-25T15:00:00Z"),
        );
        // 14:30 UTC is 01:30 on the 26th there; the shift of the 25th ends at 02:00, 15:00 UTC.
        assert_eq!(
            shifts,
            Ok(vec![Shift {
                from: at("2026-11-25T07:00:00Z"),
                to: at("2026-11-25T15:00:00Z"),
                crew: 1,
                sprayers: 1,
                machinists: 1,
            }])
        );
    }

    /// On the night the clocks go forward a shift from 22:00 to 06:00 lasts seven hours.
    #[test]
    fn a_skipped_hour_is_not_worked() {
        let shifts = duty_shifts(
            &[hours("22:00:00", "06:00:00", 2)],
            Berlin,
            at("2026-03-28T22:00:00Z"),
            at("2026-03-29T03:00:00Z"),
        );
        let shifts = shifts.expect("no overlap");
        assert_eq!((shifts[0].to - shifts[0].from).num_hours(), 7);
    }

    /// Two stretches that share an hour are a mistake in the pattern, and are told.
    #[test]
    fn overlapping_hours_are_refused() {
        let both = [
            hours("06:00:00", "18:00:00", 3),
            hours("17:00:00", "22:00:00", 2),
        ];
        let error = duty_shifts(
            &both,
            Guadalcanal,
            at("2026-11-25T03:00:00Z"),
            at("2026-11-25T09:00:00Z"),
        )
        .expect_err("overlap");
        assert_eq!(
            error.to_string(),
            "duty hours overlap on Wednesday: 18:00 ends after 17:00 starts; give one stretch for each hour of a day"
        );
    }
}
