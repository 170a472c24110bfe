//! Times as people at the site read them.

use chrono::{DateTime, Offset, TimeZone};
use chrono_tz::Tz;

/// With the day of the month, since a line-up reaches past one week.
pub fn clock(unix_ms: i64, zone: Tz) -> String {
    show(unix_ms, zone, "%a %-d %H:%M")
}

pub fn weekday(unix_ms: i64, zone: Tz) -> String {
    show(unix_ms, zone, "%a %-d")
}

pub fn hour(unix_ms: i64, zone: Tz) -> String {
    show(unix_ms, zone, "%H:%M")
}

/// As it stands at the head of a page.
pub fn head(unix_ms: i64, zone: Tz) -> String {
    show(unix_ms, zone, "%a %-d %b %Y, %H:%M")
}

pub fn day(unix_ms: i64, zone: Tz) -> String {
    show(unix_ms, zone, "%-d %b %Y")
}

pub fn moment(unix_ms: i64, zone: Tz) -> String {
    show(unix_ms, zone, "%-d %b %Y %H:%M")
}

pub fn field_time(unix_ms: i64, zone: Tz) -> String {
    show(unix_ms, zone, "%Y-%m-%dT%H:%M")
}

/// Distance of the zone from UTC at that time, as '+10:00'.
pub fn offset(unix_ms: i64, zone: Tz) -> String {
    zone.timestamp_millis_opt(unix_ms)
        .single()
        .map(|time| time.offset().fix().to_string())
        .unwrap_or_default()
}

/// How long ago, in the largest unit that fits, rounded down; what is to come is 'in ...'.
pub fn age(unix_ms: i64, now: i64) -> String {
    let elapsed = now.saturating_sub(unix_ms);
    let minutes = elapsed.unsigned_abs() / 60_000;
    let amount = match minutes {
        0 => return "just now".to_owned(),
        1..60 => format!("{minutes} min"),
        60..2880 => format!("{} h", minutes / 60),
        _ => format!("{} days", minutes / 1440),
    };
    if elapsed > 0 {
        format!("{amount} ago")
    } else {
        format!("in {amount}")
    }
}

/// A time outside what calendars hold is shown as its number.
fn show(unix_ms: i64, zone: Tz, format: &str) -> String {
    match DateTime::from_timestamp_millis(unix_ms) {
        Some(time) => time.with_timezone(&zone).format(format).to_string(),
        None => format!("{unix_ms} ms"),
    }
}

#[cfg(test)]
mod tests {
    use chrono_tz::Pacific::Port_Moresby;

    use super::*;

    /// 04:40 UTC on Wednesday, 25 November 2026 is 14:40 in Port Moresby, ten hours ahead.
    #[test]
    fn times_are_those_of_the_site() {
        let time = 1_795_581_600_000;
        assert_eq!(clock(time, Port_Moresby), "Wed 25 14:40");
        assert_eq!(weekday(time, Port_Moresby), "Wed 25");
        assert_eq!(hour(time, Port_Moresby), "14:40");
        assert_eq!(head(time, Port_Moresby), "Wed 25 Nov 2026, 14:40");
        assert_eq!(day(time, Port_Moresby), "25 Nov 2026");
        assert_eq!(moment(time, Port_Moresby), "25 Nov 2026 14:40");
        assert_eq!(field_time(time, Port_Moresby), "2026-11-25T14:40");
        assert_eq!(offset(time, Port_Moresby), "+10:00");
        // Fifteen hours earlier it was still Tuesday.
        assert_eq!(clock(time - 15 * 3_600_000, Port_Moresby), "Tue 24 23:40");
    }

    #[test]
    fn ages_round_down_and_look_both_ways() {
        let minute = 60_000;
        for (elapsed, text) in [
            (0, "just now"),
            (59_999, "just now"),
            (7 * minute, "7 min ago"),
            (-7 * minute, "in 7 min"),
            (119 * minute, "1 h ago"),
            (47 * 60 * minute, "47 h ago"),
            (49 * 60 * minute, "2 days ago"),
        ] {
            assert_eq!(age(1_000_000_000, 1_000_000_000 + elapsed), text);
        }
    }

    #[test]
    fn a_time_beyond_all_calendars_is_no_panic() {
        assert_eq!(clock(i64::MAX, Port_Moresby), "9223372036854775807 ms");
        assert_eq!(offset(i64::MAX, Port_Moresby), "");
        assert_eq!(age(i64::MIN, i64::MAX), "106751991167 days ago");
    }
}
