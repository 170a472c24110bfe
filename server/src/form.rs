//! Forms: what was typed is kept, every fault is told beside its field, and values are parsed here.
//!
//! A form struct is what was typed: all `String` (or `Vec<String>` for repeated fields), with
//! `#[serde(default)]`. Its `parse` runs every field through [`FieldErrors::check`] and answers with
//! the values or with all faults.

pub mod section;

use std::collections::BTreeSet;
use std::ops::RangeInclusive;

use axum::extract::{FromRequest, Request};
use axum::http::StatusCode;
use axum_extra::extract::Form;
use axum_extra::extract::FormRejection;
use chrono::{LocalResult, NaiveDate, NaiveDateTime, TimeZone};
use chrono_tz::Tz;
use mendpost_core::code::{self, InvalidCode};
use serde::de::DeserializeOwned;
use thiserror::Error;

use crate::BODY_LIMIT;
use crate::error::AppError;
use crate::page::whole;

/// A posted form. Refuses a body that is no form with an error page that says so.
pub struct Posted<T>(pub T);

impl<T, S> FromRequest<S> for Posted<T>
where
    T: DeserializeOwned,
    S: Send + Sync,
{
    type Rejection = AppError;

    async fn from_request(request: Request, state: &S) -> Result<Self, AppError> {
        use axum::response::IntoResponse;
        match Form::from_request(request, state).await {
            Ok(Form(form)) => Ok(Posted(form)),
            Err(FormRejection::FailedToDeserializeFormBody(error)) => Err(AppError::Unreadable {
                status: StatusCode::UNPROCESSABLE_ENTITY,
                detail: format!("the form cannot be read: {}", error.body_text()),
            }),
            Err(rejection) => Err(match rejection.into_response().status() {
                StatusCode::PAYLOAD_TOO_LARGE => AppError::TooLarge {
                    limit_kib: BODY_LIMIT / 1024,
                },
                status => AppError::Unreadable {
                    status,
                    detail: "this address takes a form, sent as application/x-www-form-urlencoded"
                        .to_owned(),
                },
            }),
        }
    }
}

/// The most that one weighing may show, in milligrams: a ton, far beyond what a person can lift.
pub const MOST_WEIGHED_MG: i64 = 1_000_000_000;

/// Fields that each posted form carries, whatever it asks for.
pub const OF_EACH_FORM: [&str; 2] = ["csrf", "once"];

/// The faults of a form, in the order of its fields.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct FieldErrors {
    whole: Option<String>,
    fields: Vec<(String, String)>,
}

impl FieldErrors {
    /// Takes the value of a field, or notes its fault.
    pub fn check<T>(&mut self, field: &str, value: Result<T, FieldError>) -> Option<T> {
        value
            .map_err(|error| self.add(field, error.to_string()))
            .ok()
    }

    /// Notes a fault of one field, by the name it has in the page. The first fault of a field stays.
    pub fn add(&mut self, field: &str, text: impl Into<String>) {
        if self.of(field).is_empty() {
            self.fields.push((field.to_owned(), text.into()));
        }
    }

    /// Notes a fault of the form as a whole.
    pub fn add_whole(&mut self, text: impl Into<String>) {
        self.whole = Some(text.into());
    }

    /// Notes fields that the page has not, where something is in them; `allowed` says what may stand there.
    pub fn unknown<'a>(&mut self, given: impl Iterator<Item = (&'a str, &'a str)>, allowed: &str) {
        let filled = given.filter(|(_, value)| !value.trim().is_empty());
        let names: Vec<String> = filled.map(|(name, _)| format!("'{name}'")).collect();
        let (what, it) = match names.len() {
            0 => return,
            1 => ("is no field of this page and was not counted", "it"),
            _ => ("are no fields of this page and were not counted", "them"),
        };
        self.add_whole(format!(
            "{} {what}. {allowed} The rest stands below: send it without {it}.",
            names.join(", ")
        ));
    }

    /// Notes fields in which several things are given, where the page has one of each.
    pub fn repeated(&mut self, given: &[(String, String)]) {
        for (name, _) in given {
            let same = given.iter().filter(|(other, _)| other == name);
            let filled = same.map(|(_, value)| value.trim());
            let filled: Vec<String> = filled
                .filter(|value| !value.is_empty())
                .map(|value| format!("'{value}'"))
                .collect();
            if filled.len() > 1 {
                let all = filled.join(" and ");
                self.add(name, format!("{all} are given; give one"));
            }
        }
    }

    /// The fault of one field, or nothing: as the marks of the templates take it.
    pub fn of(&self, field: &str) -> &str {
        let fault = self.fields.iter().find(|(name, _)| name == field);
        fault.map_or("", |(_, text)| text)
    }

    /// The fault of the form as a whole.
    pub fn whole(&self) -> Option<&str> {
        self.whole.as_deref()
    }

    /// Field and fault, in the order of the form: the list of links on top of the page.
    pub fn iter(&self) -> impl Iterator<Item = (&str, &str)> {
        self.fields
            .iter()
            .map(|(field, text)| (field.as_str(), text.as_str()))
    }

    /// 422 where something is wrong, for the page that shows the form again.
    pub fn status(&self) -> StatusCode {
        if self.is_empty() {
            StatusCode::OK
        } else {
            StatusCode::UNPROCESSABLE_ENTITY
        }
    }

    pub fn is_empty(&self) -> bool {
        self.whole.is_none() && self.fields.is_empty()
    }
}

/// What is wrong with one field, and what to do.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum FieldError {
    #[error("enter something here")]
    Missing,
    #[error("{given} characters are too many; use at most {max}")]
    TooLong { given: usize, max: usize },
    #[error("'{given}' is not a whole number; use figures only")]
    NotWhole { given: String },
    #[error("'{given}' is not a number; use figures with at most one point or comma")]
    NotNumber { given: String },
    #[error("'{given}' is finer than can be kept; use at most {places} figures after the point")]
    TooFine { given: String, places: usize },
    #[error("{given} is out of range; enter {min} to {max}")]
    OutOfRange {
        given: String,
        min: String,
        max: String,
    },
    #[error("'{given}' is not a date; use year-month-day, as 2026-11-25")]
    NotDate { given: String },
    #[error(
        "'{given}' is not a date and time; use year-month-day and hours:minutes, as 2026-11-25 14:40"
    )]
    NotTime { given: String },
    #[error("the clocks are put forward over {given}; that time does not exist here")]
    SkippedTime { given: String },
    #[error("'{given}' is not one of the choices; choose from the list")]
    NotChoice { given: String },
}

/// Text that must be there: trimmed, at most `max` characters.
pub fn text(typed: &str, max: usize) -> Result<String, FieldError> {
    optional_text(typed, max)?.ok_or(FieldError::Missing)
}

/// Text that may be missing.
pub fn optional_text(typed: &str, max: usize) -> Result<Option<String>, FieldError> {
    let typed = typed.trim();
    let given = typed.chars().count();
    if given > max {
        return Err(FieldError::TooLong { given, max });
    }
    Ok((!typed.is_empty()).then(|| typed.to_owned()))
}

/// A whole number within a range; spaces between thousands are allowed.
pub fn integer(typed: &str, range: RangeInclusive<i64>) -> Result<i64, FieldError> {
    let figures = figures(typed)?;
    let value = figures.parse().map_err(|_| FieldError::NotWhole {
        given: typed.trim().into(),
    })?;
    if range.contains(&value) {
        Ok(value)
    } else {
        Err(FieldError::OutOfRange {
            given: whole(value),
            min: whole(*range.start()),
            max: whole(*range.end()),
        })
    }
}

/// A decimal number in some unit, as a whole number of a unit `10^places` times smaller.
///
/// Kilograms in milligrams have 6 places, grams in milligrams 3, litres in millilitres 3. The range is
/// in the small unit. Point and comma both part the decimals.
pub fn decimal(typed: &str, places: usize, range: RangeInclusive<i64>) -> Result<i64, FieldError> {
    let given = typed.trim().to_owned();
    let figures = figures(typed)?.replace(',', ".");
    let not_number = || FieldError::NotNumber {
        given: given.clone(),
    };
    let (head, tail) = figures.split_once('.').unwrap_or((&figures, ""));
    let tail = tail.trim_end_matches('0');
    let (sign, head) = head
        .strip_prefix('-')
        .map_or(("", head), |head| ("-", head));
    let is_figures = |part: &str| part.bytes().all(|byte| byte.is_ascii_digit());
    if (head.is_empty() && tail.is_empty()) || !is_figures(head) || !is_figures(tail) {
        return Err(not_number());
    }
    if tail.len() > places {
        return Err(FieldError::TooFine { given, places });
    }
    let value: i64 = format!("{sign}{head}{tail:0<places$}")
        .parse()
        .map_err(|_| not_number())?;
    if range.contains(&value) {
        Ok(value)
    } else {
        Err(FieldError::OutOfRange {
            given,
            min: plain_decimal(*range.start(), places),
            max: plain_decimal(*range.end(), places),
        })
    }
}

/// A date, as a date field sends it.
pub fn date(typed: &str) -> Result<NaiveDate, FieldError> {
    let given = text(typed, 40)?;
    NaiveDate::parse_from_str(&given, "%Y-%m-%d").map_err(|_| FieldError::NotDate { given })
}

/// A date and time at the site, as a date-and-time field sends it, in milliseconds since 1970, UTC.
/// Of an hour that comes twice, when clocks are put back, the first is meant.
pub fn local_time(typed: &str, zone: Tz) -> Result<i64, FieldError> {
    let given = text(typed, 40)?;
    let local = ["%Y-%m-%dT%H:%M", "%Y-%m-%d %H:%M", "%Y-%m-%dT%H:%M:%S"]
        .into_iter()
        .find_map(|format| NaiveDateTime::parse_from_str(&given, format).ok())
        .ok_or_else(|| FieldError::NotTime {
            given: given.clone(),
        })?;
    match zone.from_local_datetime(&local) {
        LocalResult::Single(time) | LocalResult::Ambiguous(time, _) => Ok(time.timestamp_millis()),
        LocalResult::None => Err(FieldError::SkippedTime { given }),
    }
}

/// One of a fixed set, by its word.
pub fn choice<T: std::str::FromStr>(typed: &str) -> Result<T, FieldError> {
    let given = text(typed, 80)?;
    given.parse().map_err(|_| FieldError::NotChoice { given })
}

/// What was ticked of a list, each by its word.
pub fn ticked<'a, T: Clone + Ord + ToString + 'a>(
    typed: &[String],
    known: impl IntoIterator<Item = &'a T>,
) -> Result<BTreeSet<T>, FieldError> {
    let known: Vec<(String, &T)> = known.into_iter().map(|of| (of.to_string(), of)).collect();
    let one = |typed: &String| {
        let found = known.iter().find(|(word, _)| word == typed);
        let given = || typed.chars().take(80).collect();
        let (_, of) = found.ok_or_else(|| FieldError::NotChoice { given: given() })?;
        Ok((*of).clone())
    };
    typed.iter().map(one).collect()
}

/// A code for something new, by which it gets an address of its own.
pub fn new_code<T: std::str::FromStr<Err = InvalidCode>>(
    typed: &str,
    field: &str,
    errors: &mut FieldErrors,
) -> Option<T> {
    let code = code::new_code(typed);
    code.map_err(|fault| errors.add(field, fault.to_string()))
        .ok()
}

/// What was typed without the spaces that part thousands.
fn figures(typed: &str) -> Result<String, FieldError> {
    let figures: String = typed
        .chars()
        .filter(|letter| !letter.is_whitespace())
        .collect();
    if figures.is_empty() {
        Err(FieldError::Missing)
    } else {
        Ok(figures)
    }
}

/// A number of a unit `10^places` times smaller as it is typed, without zeros that say nothing.
pub fn plain_decimal(value: i64, places: usize) -> String {
    let sign = if value < 0 { "-" } else { "" };
    let figures = format!("{:0>width$}", value.unsigned_abs(), width = places + 1);
    let (head, tail) = figures.split_at(figures.len() - places);
    let tail = tail.trim_end_matches('0');
    if tail.is_empty() {
        format!("{sign}{head}")
    } else {
        format!("{sign}{head}.{tail}")
    }
}

#[cfg(test)]
#[path = "form/tests.rs"]
mod tests;
