//! Times that are typed on a request: past or to come, and within a year.

use chrono_tz::Tz;

use crate::form::{FieldErrors, local_time};
use crate::page::age;

/// A year: what lies further away than that is a slip of the finger.
const FARTHEST_MS: i64 = 366 * 24 * 3_600_000;

/// By which clock a form is read.
pub struct Times {
    pub zone: Tz,
    pub now: i64,
}

impl Times {
    /// What is seen at a moment is seen by whole minutes: what stops now is down in this one.
    pub fn this_minute(&self) -> i64 {
        self.now - self.now.rem_euclid(60_000)
    }

    pub fn past(&self, field: &str, typed: &str, errors: &mut FieldErrors) -> Option<i64> {
        let at = errors.check(field, local_time(typed, self.zone))?;
        if at > self.now {
            errors.add(
                field,
                format!(
                    "that is {}; give a time up to now, or choose 'worn'",
                    self.distance(at)
                ),
            );
            return None;
        }
        self.within_a_year(field, at, errors)
    }

    /// A time up to now.
    pub fn received(&self, field: &str, typed: &str, errors: &mut FieldErrors) -> Option<i64> {
        let at = errors.check(field, local_time(typed, self.zone))?;
        if at > self.now {
            errors.add(
                field,
                format!("that is {}; give a time up to now", self.distance(at)),
            );
            return None;
        }
        self.within_a_year(field, at, errors)
    }

    pub fn to_come(&self, field: &str, typed: &str, errors: &mut FieldErrors) -> Option<i64> {
        let at = errors.check(field, local_time(typed, self.zone))?;
        if at <= self.now {
            errors.add(
                field,
                format!("that was {}; give a time to come", self.distance(at)),
            );
            return None;
        }
        self.within_a_year(field, at, errors)
    }

    pub fn to_come_if(
        &self,
        field: &str,
        typed: &str,
        errors: &mut FieldErrors,
    ) -> Option<Option<i64>> {
        if typed.trim().is_empty() {
            return Some(None);
        }
        self.to_come(field, typed, errors).map(Some)
    }

    /// When the broken part comes to the cell; within: none if it is there.
    pub fn at_cell(
        &self,
        whereabouts: &str,
        arrives_at: &str,
        errors: &mut FieldErrors,
    ) -> Option<Option<i64>> {
        let at = arrives_at.trim();
        match whereabouts {
            "here" if at.is_empty() => Some(None),
            "here" => {
                errors.add(
                    "arrives_at",
                    "leave the time empty, or choose 'arrives later'",
                );
                None
            }
            "arrives" => self.to_come("arrives_at", at, errors).map(Some),
            _ => {
                errors.add("broken_part", "say whether the broken part is at the cell");
                None
            }
        }
    }

    fn within_a_year(&self, field: &str, at: i64, errors: &mut FieldErrors) -> Option<i64> {
        if at.abs_diff(self.now) > FARTHEST_MS.unsigned_abs() {
            errors.add(
                field,
                format!(
                    "that is more than a year away, {}; look at the year",
                    self.distance(at)
                ),
            );
            return None;
        }
        Some(at)
    }

    fn distance(&self, at: i64) -> String {
        age(at, self.now)
    }
}
