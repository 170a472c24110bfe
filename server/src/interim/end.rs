//! When an interim part must come off, as it is typed wherever one goes out.

use chrono::{DateTime, TimeDelta, Utc};
use chrono_tz::Tz;
use mendpost_core::interim::Limit;
use serde::Deserialize;

use super::hours;
use crate::form::{FieldErrors, local_time};
use crate::situation::moment;

/// The fields of an end: by a date, or by running hours.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub struct EndForm {
    /// 'date' or 'hours'.
    pub limit: String,
    pub off_by: String,
    pub most: String,
    pub a_day: String,
    pub meter: String,
}

/// When a part must come off, and what its machine's hour meter shows as it is fitted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct End {
    pub limit: Limit,
    /// Only for a limit by running hours, and only where it was read.
    pub meter_min: Option<i64>,
}

/// Ten years: what lies further away is a slip of the finger.
pub(super) const FARTHEST: TimeDelta = TimeDelta::days(3660);

/// What is wrong with the date by which a part must come off that was fitted `since`.
pub fn date_fault(
    off_by: DateTime<Utc>,
    since: Option<DateTime<Utc>>,
    now_ms: i64,
) -> Option<&'static str> {
    if since.is_some_and(|since| off_by <= since) {
        return Some("it was fitted only then; give a time after that");
    }
    let away = off_by.timestamp_millis() - now_ms;
    (away > FARTHEST.num_milliseconds())
        .then_some("that is more than ten years away; look at the year")
}

impl EndForm {
    /// Reads the end of a part that was fitted `since`: a date after that, which may be past, or running
    /// hours with those of a day.
    pub fn read(
        &self,
        since: Option<DateTime<Utc>>,
        (zone, now): (Tz, i64),
        errors: &mut FieldErrors,
    ) -> Option<End> {
        let by_hours = self.limit == "hours";
        if !by_hours && self.limit != "date" {
            errors.add(
                "limit",
                "say whether it must come off by a date or by running hours",
            );
            return None;
        }
        self.refuse_unused(by_hours, errors);
        if by_hours {
            let most_min = errors.check("most", hours::most(&self.most));
            let a_day_min = errors.check("a_day", hours::a_day(&self.a_day));
            let meter_min = hours::meter_if("meter", &self.meter, errors);
            return Some(End {
                limit: Limit::Running {
                    most_min: most_min?,
                    a_day_min: a_day_min?,
                },
                meter_min: meter_min?,
            });
        }
        let off_by = errors.check("off_by", local_time(&self.off_by, zone))?;
        let off_by = moment(off_by).ok()?;
        if let Some(fault) = date_fault(off_by, since, now) {
            errors.add("off_by", fault);
            return None;
        }
        Some(End {
            limit: Limit::Date { off_by },
            meter_min: None,
        })
    }

    /// What belongs to the other kind of end stays empty.
    fn refuse_unused(&self, by_hours: bool, errors: &mut FieldErrors) {
        let by_date_only: &[(&str, &String)] = &[("off_by", &self.off_by)];
        let by_hours_only = [
            ("most", &self.most),
            ("a_day", &self.a_day),
            ("meter", &self.meter),
        ];
        let (unused, other) = match by_hours {
            true => (by_date_only, "a date"),
            false => (by_hours_only.as_slice(), "running hours"),
        };
        for (field, typed) in unused {
            if !typed.trim().is_empty() {
                errors.add(field, format!("leave this empty, or choose '{other}'"));
            }
        }
    }
}
