//! Times as the seed files write them: in the site's clock, absolute or counted from today.

use chrono::{DateTime, Datelike, NaiveDate, NaiveDateTime, NaiveTime, TimeDelta, Utc};
use chrono_tz::Tz;
use mendpost_core::situation::instant;

/// How far a time may be counted from today, in days.
const FARTHEST: i64 = 3650;

/// The site's clock at the moment of loading.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Calendar {
    pub(crate) zone: Tz,
    pub(crate) now: DateTime<Utc>,
}

/// Why a text is no time.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub(crate) enum InvalidMoment {
    #[error("'{0}' is no time; write 2026-12-01 09:00 or, from the day of loading, day+6 09:00")]
    NotATime(String),
    #[error("'{0}' is no day; write 2026-12-01 or, from the day of loading, day-6")]
    NotADay(String),
    #[error("'{0}' is too far away; give a day within {FARTHEST} of today")]
    TooFar(String),
    #[error(
        "'{0}' has not come yet; give a time that has passed at any hour of loading, as day-1 09:00"
    )]
    NotYet(String),
}

impl Calendar {
    pub(crate) fn moment(&self, text: &str) -> Result<DateTime<Utc>, InvalidMoment> {
        let moment = instant(self.zone, self.local(text)?);
        if (moment - self.now).num_days().abs() > FARTHEST {
            return Err(InvalidMoment::TooFar(text.to_owned()));
        }
        Ok(moment)
    }

    pub(crate) fn past(&self, text: &str) -> Result<DateTime<Utc>, InvalidMoment> {
        let moment = self.moment(text)?;
        if moment > self.now {
            return Err(InvalidMoment::NotYet(text.to_owned()));
        }
        Ok(moment)
    }

    /// A day that has come, as '2026-12-01' or 'day-6'.
    pub(crate) fn past_day(&self, text: &str) -> Result<NaiveDate, InvalidMoment> {
        let day = self.local(&format!("{text} 00:00"));
        let day = day.map_err(|_| InvalidMoment::NotADay(text.chars().take(40).collect()))?;
        if day > self.now.with_timezone(&self.zone).naive_local() {
            return Err(InvalidMoment::NotYet(text.to_owned()));
        }
        Ok(day.date())
    }

    fn local(&self, text: &str) -> Result<NaiveDateTime, InvalidMoment> {
        let not_a_time = || InvalidMoment::NotATime(text.chars().take(40).collect());
        let (day, time) = text.split_once(' ').ok_or_else(not_a_time)?;
        let time = time_of_day(time.trim()).ok_or_else(not_a_time)?;
        let Some(count) = day.strip_prefix("day") else {
            let date = NaiveDate::parse_from_str(day, "%Y-%m-%d").map_err(|_| not_a_time())?;
            if !(2000..2200).contains(&date.year()) {
                return Err(InvalidMoment::TooFar(text.to_owned()));
            }
            return Ok(date.and_time(time));
        };
        let days: i64 = match count {
            "" => 0,
            _ if count.starts_with(['+', '-']) => count.parse().map_err(|_| not_a_time())?,
            _ => return Err(not_a_time()),
        };
        if !(-FARTHEST..=FARTHEST).contains(&days) {
            return Err(InvalidMoment::TooFar(text.to_owned()));
        }
        let today = self.now.with_timezone(&self.zone).date_naive();
        Ok((today + TimeDelta::days(days)).and_time(time))
    }
}

/// A time of day as `06:00`.
pub(crate) fn time_of_day(text: &str) -> Option<NaiveTime> {
    let (hour, minute) = text.split_once(':')?;
    let two = |t: &str| {
        let figures = t.len() == 2 && t.bytes().all(|b| b.is_ascii_digit());
        figures.then(|| t.parse().ok()).flatten()
    };
    NaiveTime::from_hms_opt(two(hour)?, two(minute)?, 0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono_tz::Pacific::Guadalcanal;

    fn at(text: &str) -> DateTime<Utc> {
        text.parse().expect("a time")
    }

    /// 14:30 UTC on the 25th is 01:30 on the 26th eleven hours ahead, and today is the 26th there.
    #[test]
    fn days_count_from_the_day_that_the_site_has() {
        let calendar = Calendar {
            zone: Guadalcanal,
            now: at("2026-11-25T14:30:00Z"),
        };
        assert_eq!(calendar.moment("day 09:00"), Ok(at("2026-11-25T22:00:00Z")));
        assert_eq!(
            calendar.moment("day+6 09:00"),
            Ok(at("2026-12-01T22:00:00Z"))
        );
        assert_eq!(
            calendar.moment("day-4 16:30"),
            Ok(at("2026-11-22T05:30:00Z"))
        );
        assert_eq!(
            calendar.moment("2026-12-01 09:00"),
            Ok(at("2026-11-30T22:00:00Z"))
        );
    }

    /// What was read off a gauge was read before now.
    #[test]
    fn what_has_passed_lies_before_now() {
        let calendar = Calendar {
            zone: Guadalcanal,
            now: at("2026-11-25T14:30:00Z"),
        };
        assert_eq!(calendar.past("day 01:30"), Ok(at("2026-11-25T14:30:00Z")));
        let error = calendar.past("day 01:31").expect_err("a minute ahead");
        assert_eq!(
            error.to_string(),
            "'day 01:31' has not come yet; give a time that has passed at any hour of loading, as day-1 09:00"
        );
    }

    /// Anything else is refused with an example of each way to write it.
    #[test]
    fn a_time_that_cannot_be_read_is_told() {
        let calendar = Calendar {
            zone: Guadalcanal,
            now: at("2026-11-25T14:30:00Z"),
        };
        for wrong in [
            "",
            "day",
            "day6 09:00",
            "day+ 09:00",
            "day+6 9:00",
            "day+6 24:00",
            "2026-02-30 09:00",
        ] {
            let error = calendar.moment(wrong).expect_err(wrong);
            assert!(
                matches!(error, InvalidMoment::NotATime(_)),
                "{wrong}: {error}"
            );
        }
        for far in ["day+99999 09:00", "9999-12-31 09:00", "2190-01-01 09:00"] {
            let error = calendar.moment(far).expect_err(far);
            assert!(matches!(error, InvalidMoment::TooFar(_)), "{far}: {error}");
        }
    }
}
