//! What is said of an interim part's end, in words.

use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use mendpost_core::interim::{Left, Limit, Standing};

use super::hours::shown;
use super::queries::Interim;
use crate::page::{age, minutes, moment, whole};

/// When it must come off: 'by 29 Nov 2026 15:40', or 'after 200 h of running, about 29 Nov 2026'.
pub fn take_off(interim: &Interim, now: DateTime<Utc>, zone: Tz) -> String {
    let at = moment(interim.left(now).off_by.timestamp_millis(), zone);
    match interim.limit {
        Limit::Date { .. } => format!("by {at}"),
        Limit::Running { most_min, .. } => {
            format!("after {} of running, about {at}", shown(most_min))
        }
    }
}

/// What is left: '4 d 2 h', '72 h of running', 'over by 10 h of running'.
pub fn left_words(left: &Left, now: DateTime<Utc>) -> String {
    if let Some(left_min) = left.left_min {
        return if left_min < 0 {
            format!("over by {} of running", shown(-left_min))
        } else {
            format!("{} of running", shown(left_min))
        };
    }
    let open = (left.off_by - now).num_minutes();
    if open < 0 {
        format!("over by {}", minutes(-open))
    } else {
        minutes(open)
    }
}

/// The mark of a row.
pub const fn mark(standing: Standing) -> &'static str {
    match standing {
        Standing::Fine => "ready",
        Standing::DueSoon => "expires",
        Standing::Overdue => "lost",
    }
}

/// A line for Now while a part is due soon or overdue.
#[derive(Debug, Clone)]
pub struct Alarm {
    /// 'wrong' when one is overdue, else 'waits'.
    pub kind: &'static str,
    pub head: String,
    pub text: String,
}

impl Alarm {
    /// Of the parts that are out there, the first to come off first; none while all may stay.
    pub fn of(out: &[Interim], now: DateTime<Utc>) -> Option<Alarm> {
        let due: Vec<(&Interim, Left)> = out
            .iter()
            .map(|interim| (interim, interim.left(now)))
            .filter(|(_, left)| left.standing != Standing::Fine)
            .collect();
        let (first, left) = due.first()?;
        let overdue = due.iter().filter(|(_, l)| l.standing == Standing::Overdue);
        let overdue = overdue.count();
        let head = match (overdue, due.len()) {
            (0, 1) => "An interim part must come off soon.".to_owned(),
            (0, many) => format!("{} interim parts must come off soon.", count(many)),
            (1, 1) => "An interim part is overdue: take it off.".to_owned(),
            (over, many) => format!(
                "{} of {} interim parts due are overdue: take them off.",
                count(over),
                count(many)
            ),
        };
        let when = age(left.off_by.timestamp_millis(), now.timestamp_millis());
        let kind = if overdue > 0 { "wrong" } else { "waits" };
        let text = format!("{}, {}: {when}.", first.code(), first.name());
        Some(Alarm { kind, head, text })
    }
}

fn count(number: usize) -> String {
    whole(i64::try_from(number).unwrap_or(i64::MAX))
}
