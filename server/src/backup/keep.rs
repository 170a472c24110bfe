//! Which copies are kept: the stated rule, and nothing but it.

use std::collections::BTreeMap;

use chrono::{DateTime, Datelike};

use super::name::{CopyName, Why};

/// The rule in words, for the page and the command line.
pub const RULE: &str = "Every copy of the last 48 hours is kept, the last of each day for 14 days, \
                        the last of each month for a year, and those made before an update for 90 \
                        days; the newest always.";

/// The copies that may go, of all good ones of one folder. Days and months are those of UTC. A copy
/// from the future, made while the clock was wrong, counts as new.
pub fn may_go(copies: &[CopyName], now: i64) -> Vec<CopyName> {
    let mut last_of_day = BTreeMap::new();
    let mut last_of_month = BTreeMap::new();
    for copy in copies {
        let Some(day) = DateTime::from_timestamp_millis(copy.at) else {
            continue;
        };
        later(&mut last_of_day, day.date_naive(), copy);
        later(&mut last_of_month, (day.year(), day.month()), copy);
    }
    let newest = copies.iter().max();
    let fullest = copies.iter().max_by_key(|copy| (copy.sequence, copy.at));
    let stays = |copy: &CopyName| {
        let age = now.saturating_sub(copy.at);
        let is = |other: &&CopyName| *other == copy;
        age <= ALL_MS
            || newest.is_some_and(|newest| newest == copy)
            || fullest.is_some_and(|fullest| fullest == copy)
            || copy.why == Why::Update && age <= UPDATE_MS
            || age <= DAILY_MS && last_of_day.values().any(is)
            || age <= MONTHLY_MS && last_of_month.values().any(is)
    };
    copies.iter().filter(|copy| !stays(copy)).cloned().collect()
}

const DAY_MS: i64 = 24 * 60 * 60 * 1000;
const ALL_MS: i64 = 2 * DAY_MS;
const DAILY_MS: i64 = 14 * DAY_MS;
const UPDATE_MS: i64 = 90 * DAY_MS;
const MONTHLY_MS: i64 = 366 * DAY_MS;

fn later<'a, K: Ord>(last: &mut BTreeMap<K, &'a CopyName>, key: K, copy: &'a CopyName) {
    let known = last.entry(key).or_insert(copy);
    *known = (*known).max(copy);
}

#[cfg(test)]
mod tests {
    use mendpost_core::journal::Hash;
    use proptest::prelude::*;

    use super::*;

    const HOUR: i64 = 60 * 60 * 1000;
    /// Wednesday, 25 November 2026, 00:00 UTC.
    const MIDNIGHT: i64 = 1_795_564_800_000;

    fn copy(at: i64, sequence: i64) -> CopyName {
        CopyName::new(at, sequence, Hash([1; 32]), Why::Timed)
    }

    fn gone(copies: &[CopyName], now: i64) -> Vec<i64> {
        may_go(copies, now)
            .iter()
            .map(|copy| copy.sequence)
            .collect()
    }

    /// At noon, copies every 4 hours. Of the last 48 hours all stay: from Monday 12:00 on. Of Monday
    /// the 20:00 copy is the last, but those of 12:00 and 16:00 are young enough; 08:00 goes.
    #[test]
    fn everything_of_two_days_stays() {
        let now = MIDNIGHT + 12 * HOUR;
        let copies: Vec<CopyName> = (0..=15)
            .map(|n| copy(now - n * 4 * HOUR, 100 - n))
            .collect();
        // 12 intervals of 4 h are 48 h: numbers 0 to 12 stay; 13, 14 and 15 are Monday's 8:00, 4:00
        // and 0:00.
        assert_eq!(gone(&copies, now), [87, 86, 85]);
    }

    /// Two copies a day for 20 days: of days older than 48 hours the later one stays up to 14 days.
    /// Before that only the last of October would stay, and 25 - 20 = the 5th is still November.
    #[test]
    fn one_a_day_stays_for_a_fortnight() {
        let now = MIDNIGHT + 20 * HOUR;
        let mut copies = Vec::new();
        for day in 0..=20 {
            copies.push(copy(
                MIDNIGHT - day * 24 * HOUR + 6 * HOUR,
                1000 - 2 * day - 1,
            ));
            copies.push(copy(MIDNIGHT - day * 24 * HOUR + 18 * HOUR, 1000 - 2 * day));
        }
        let gone = gone(&copies, now);
        for day in 0..=20_i64 {
            let (morning, evening) = (1000 - 2 * day - 1, 1000 - 2 * day);
            // The morning two days ago is 48 + 14 = 62 hours old.
            assert_eq!(gone.contains(&morning), day >= 2, "morning {day} days ago");
            // The evening 14 days ago is 14 days and 2 hours old: past the fortnight.
            assert_eq!(gone.contains(&evening), day >= 14, "evening {day} days ago");
        }
    }

    /// One copy on the 10th and one on the 20th of each month, 13 months back: those of the 20th stay
    /// for a year.
    #[test]
    fn one_a_month_stays_for_a_year() {
        let made = |year, month, day, sequence| {
            let date = chrono::NaiveDate::from_ymd_opt(year, month, day).expect("a day");
            let at = date.and_time(chrono::NaiveTime::MIN).and_utc();
            copy(at.timestamp_millis(), sequence)
        };
        let copies = [
            made(2026, 11, 20, 9),
            made(2026, 6, 20, 8),
            made(2026, 6, 10, 7),
            made(2026, 1, 20, 6),
            made(2026, 1, 10, 5),
            // 401 days before.
            made(2025, 10, 20, 4),
        ];
        assert_eq!(gone(&copies, MIDNIGHT), [7, 5, 4]);
    }

    /// The one before an update stays 90 days although later ones of its day and month are there.
    #[test]
    fn a_copy_before_an_update_stays_ninety_days() {
        let made = MIDNIGHT - 89 * 24 * HOUR;
        let mut update = copy(made, 1);
        update.why = Why::Update;
        let copies = [update, copy(made + HOUR, 2), copy(MIDNIGHT, 3)];
        assert_eq!(gone(&copies, MIDNIGHT), [] as [i64; 0]);
        assert_eq!(gone(&copies, MIDNIGHT + 3 * 24 * HOUR), [1]);
    }

    /// Left alone for years, the newest is still there; so is the one with the longest journal, though
    /// a clock that ran ahead once made another look newer.
    #[test]
    fn the_newest_never_goes() {
        let years = 5 * 366 * 24 * HOUR;
        let copies = [copy(MIDNIGHT, 700), copy(MIDNIGHT - HOUR, 701)];
        assert_eq!(gone(&copies, MIDNIGHT + years), [] as [i64; 0]);
        assert_eq!(gone(&copies[..1], MIDNIGHT + years), [] as [i64; 0]);
        assert_eq!(gone(&[], MIDNIGHT), [] as [i64; 0]);
    }

    proptest! {
        /// Applied again to what it left, the rule removes nothing more; and young copies never go.
        #[test]
        fn the_rule_settles(hours in prop::collection::vec(0_i64..20_000, 0..60)) {
            let copies: Vec<CopyName> = hours.iter().map(|h| copy(MIDNIGHT - h * HOUR, 1)).collect();
            let gone = may_go(&copies, MIDNIGHT);
            prop_assert!(gone.iter().all(|c| MIDNIGHT - c.at > 48 * HOUR));
            let left: Vec<CopyName> =
                copies.iter().filter(|c| !gone.contains(c)).cloned().collect();
            prop_assert!(copies.is_empty() || !left.is_empty());
            prop_assert_eq!(may_go(&left, MIDNIGHT), []);
        }
    }
}
