//! The fields of a handover as they are typed: their names, and what they say of its record.
//!
//! Each field is called by the key of its item and what it asks, as `bank-A_reading`; core names what is missing in
//! the same way, so that a fault finds its field.

use chrono::{NaiveTime, TimeDelta};
use chrono_tz::Tz;
use mendpost_core::shift::{HalfKind, Record};

use crate::form::section::Fields;
use crate::form::{FieldErrors, optional_text};
use crate::situation;

/// The time of one round in which all that has no time of its own was read.
pub(super) const ROUND: &str = "round";
/// The longest text of a field.
const LONGEST: usize = 400;

/// The text of a field, without the blanks around it; too long, it is told beside the field and counts as none.
pub(super) fn said(typed: &Fields, name: &str, errors: &mut FieldErrors) -> String {
    let typed = typed.get(name).map_or("", String::as_str);
    let text = errors.check(name, optional_text(typed, LONGEST));
    text.flatten().unwrap_or_default()
}

/// What was answered to a question; none where it was not.
pub(super) fn answered(typed: &Fields, name: &str) -> Option<bool> {
    match typed.get(name)?.as_str() {
        "yes" => Some(true),
        "no" => Some(false),
        _ => None,
    }
}

/// Whether something was ticked.
pub(super) fn ticked(typed: &Fields, name: &str) -> bool {
    answered(typed, name) == Some(true)
}

/// Whether a field holds a time of day, which says nothing any more once its hour is over.
pub(super) fn is_time(name: &str) -> bool {
    name == ROUND || name.ends_with("_read")
}

/// The names of all fields of a record, in the order of the page.
pub(super) fn names(record: &Record) -> Vec<String> {
    let mut names = vec![ROUND.to_owned()];
    let mut add = |key: &str, fields: &[&str]| {
        names.extend(fields.iter().map(|field| format!("{key}_{field}")));
    };
    for stand in &record.stands {
        add(&stand.key, &["word", "reading", "read"]);
    }
    for half in &record.half {
        add(&half.key, asked(half.kind));
    }
    for line in &record.guards {
        add(line.guard.as_str(), &["off", "what", "restore"]);
    }
    add("could", &["bite"]);
    for (question, _) in &record.people.answers {
        add("people", &[question.as_str()]);
    }
    add("people", &["words"]);
    add("clock", &["agrees"]);
    names
}

/// What is asked of half-done work: powder left in the feeder is parked there.
pub(super) const fn asked(kind: HalfKind) -> &'static [&'static str] {
    match kind {
        HalfKind::Feeder => &["next", "not", "seen"],
        HalfKind::Build | HalfKind::Load | HalfKind::Part => &["next", "parked", "not", "seen"],
    }
}

/// Writes what was typed into a record; what cannot be read is told beside its field.
pub(super) fn apply(
    record: &mut Record,
    fields: &Fields,
    (now, zone): (i64, Tz),
    errors: &mut FieldErrors,
) {
    let said = |key: &str, field: &str, errors: &mut FieldErrors| {
        said(fields, &format!("{key}_{field}"), errors)
    };
    let yes = |key: &str, field: &str| answered(fields, &format!("{key}_{field}"));
    let round = time(fields, ROUND, (now, zone), errors);
    for stand in &mut record.stands {
        let key = stand.key.clone();
        stand.word = said(&key, "word", errors);
        stand.reading = said(&key, "reading", errors);
        let own = time(fields, &format!("{key}_read"), (now, zone), errors);
        stand.read_ms = own.or(round);
    }
    for half in &mut record.half {
        let key = half.key.clone();
        half.next = said(&key, "next", errors);
        half.parked = said(&key, "parked", errors);
        half.not_for = said(&key, "not", errors);
        half.confirmed = yes(&key, "seen") == Some(true);
    }
    for line in &mut record.guards {
        let key = line.guard.as_str();
        line.off = yes(key, "off");
        // What was typed of a guard that is not off after all is left out.
        let off = line.off == Some(true);
        let what = said(key, "what", errors);
        let restore = said(key, "restore", errors);
        line.what = if off { what } else { String::new() };
        line.restore = if off { restore } else { String::new() };
    }
    record.could_bite = said("could", "bite", errors);
    for (question, answer) in &mut record.people.answers {
        *answer = yes("people", question.as_str());
    }
    record.people.words = said("people", "words", errors);
    record.clock.agrees = yes("clock", "agrees");
}

/// A time of day: the last such time at the site, or the coming one where that is within the hour.
fn time(
    fields: &Fields,
    name: &str,
    (now, zone): (i64, Tz),
    errors: &mut FieldErrors,
) -> Option<i64> {
    let typed = fields.get(name).map_or("", |typed| typed.trim());
    if typed.is_empty() {
        return None;
    }
    let read = ["%H:%M", "%H:%M:%S", "%H.%M"]
        .iter()
        .find_map(|format| NaiveTime::parse_from_str(typed, format).ok());
    let found = read.and_then(|time| last(time, now, zone));
    if found.is_none() {
        let typed: String = typed.chars().take(40).collect();
        let fault = format!("'{typed}' is no time of day; use hours:minutes, as 17:40");
        errors.add(name, fault);
    }
    found
}

fn last(time: NaiveTime, now: i64, zone: Tz) -> Option<i64> {
    let here = situation::moment(now).ok()?.with_timezone(&zone);
    let soon = here + TimeDelta::hours(1);
    let days = [soon.date_naive(), soon.date_naive().pred_opt()?];
    let mut moments = days.iter().filter_map(|day| {
        let at = day.and_time(time).and_local_timezone(zone).earliest()?;
        Some(at.timestamp_millis())
    });
    moments.find(|at| *at <= soon.timestamp_millis())
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::NaiveDate;
    use chrono_tz::Pacific::Noumea;

    fn at(day: u32, hour: u32, minute: u32) -> i64 {
        let day = NaiveDate::from_ymd_opt(2026, 11, day).expect("a day");
        let local = day.and_hms_opt(hour, minute, 0).expect("a time");
        local
            .and_local_timezone(Noumea)
            .single()
            .expect("no change of clocks")
            .timestamp_millis()
    }

    fn read(typed: &str, now: i64) -> Option<i64> {
        let fields = Fields::from([("round".to_owned(), typed.to_owned())]);
        time(&fields, "round", (now, Noumea), &mut FieldErrors::default())
    }

    /// At ten past midnight of the 26th 23:50 was yesterday and 00:05 today; 00:30 is a slip to be told, not a time
    /// of yesterday, and 02:00 was yesterday.
    #[test]
    fn a_time_of_day_is_the_last_one() {
        let now = at(26, 0, 10);
        assert_eq!(read("23:50", now), Some(at(25, 23, 50)));
        assert_eq!(read("00:05", now), Some(at(26, 0, 5)));
        assert_eq!(read("00:30", now), Some(at(26, 0, 30)));
        assert_eq!(read("02:00", now), Some(at(25, 2, 0)));
        assert_eq!(read("25:00", now), None);
        assert_eq!(read("", now), None);
    }
}
