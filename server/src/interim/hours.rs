//! Hours as a meter shows them, typed and shown with one decimal, kept in minutes.

use std::ops::RangeInclusive;

use crate::form::{FieldError, FieldErrors, decimal};
use crate::page::whole;

/// What an hour meter shows, in tenths of an hour.
pub const METER: RangeInclusive<i64> = 0..=9_999_999;
/// The most that a part may run, in tenths of an hour.
pub const MOST: RangeInclusive<i64> = 1..=1_000_000;
/// How long a machine runs each day, in tenths of an hour.
pub const A_DAY: RangeInclusive<i64> = 1..=240;

/// Tenths of an hour in minutes.
pub const fn minutes(tenths: i64) -> i64 {
    tenths * 6
}

/// What an hour meter shows, in minutes.
pub fn meter(typed: &str) -> Result<i64, FieldError> {
    decimal(typed, 1, METER).map(minutes)
}

/// The same where it may be left open.
pub fn meter_if(field: &str, typed: &str, errors: &mut FieldErrors) -> Option<Option<i64>> {
    if typed.trim().is_empty() {
        return Some(None);
    }
    errors.check(field, meter(typed)).map(Some)
}

/// The most that a part may run, in minutes.
pub fn most(typed: &str) -> Result<i64, FieldError> {
    decimal(typed, 1, MOST).map(minutes)
}

/// How long a machine runs each day, in minutes.
pub fn a_day(typed: &str) -> Result<i64, FieldError> {
    decimal(typed, 1, A_DAY).map(minutes)
}

/// Minutes as a meter shows them: '1 204.5 h', rounded towards nought.
pub fn shown(minutes: i64) -> String {
    let tenths = (minutes.unsigned_abs()) / 6;
    let sign = if minutes < 0 && tenths > 0 { "-" } else { "" };
    let hours = i64::try_from(tenths / 10).unwrap_or(i64::MAX);
    match tenths % 10 {
        0 => format!("{sign}{} h", whole(hours)),
        rest => format!("{sign}{}.{rest} h", whole(hours)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 1 204.5 h are 72 270 min.
    #[test]
    fn hours_are_kept_in_minutes_and_shown_with_one_decimal() {
        assert_eq!(meter("1204.5"), Ok(72_270));
        assert_eq!(shown(72_270), "1\u{202f}204.5 h");
        assert_eq!(shown(480), "8 h");
        assert_eq!(shown(-600), "-10 h");
        assert_eq!(shown(-5), "0 h");
        assert_eq!(shown(65), "1 h");
        assert!(a_day("24.1").is_err() && a_day("0").is_err());
        assert!(meter("12.34").is_err(), "no meter shows hundredths");
    }
}
