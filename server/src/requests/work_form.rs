//! What was typed about an operation that is done, and about the end of an interim part.

use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use mendpost_core::catalogue::OperationKind;
use mendpost_core::interim::Limit;
use serde::Deserialize;

use super::work::Next;
use crate::finish::{CrackForm, SizesForm};
use crate::form::{FieldError, FieldErrors, integer, local_time, optional_text, text};
use crate::interim::{End, EndForm};
use crate::page::moment;
use crate::people::Visit;

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub struct WorkForm {
    /// The recipe that it is built by, where several are open.
    pub recipe: String,
    /// Where something waits too long: 'again' if what comes before it was done again, 'in-time' if it was
    /// begun in time.
    pub what: String,
    /// Place of the operation that the page was for, from 1.
    pub position: String,
    pub begun: String,
    pub ended: String,
    /// Minutes that it took.
    pub took: String,
    pub note: String,
    /// When it comes off again; its limit may be 'full' too: it stays.
    #[serde(flatten)]
    pub end: EndForm,
    pub owner: String,
    pub plan: String,
    /// What was found in a look for cracks.
    #[serde(flatten)]
    pub cracks: CrackForm,
    pub sign_passphrase: String,
    /// What was found of each dimension, and all else.
    #[serde(flatten)]
    pub sizes: SizesForm,
}

pub(super) const IN_TIME: &str = "in-time";
pub(super) const AGAIN: &str = "again";

/// An operation as it will be entered.
#[derive(Debug)]
pub struct NewWork {
    /// When it was begun, where that decides whether it was in time.
    pub begun_ms: Option<i64>,
    pub ended_ms: i64,
    /// Minutes that it took, where somebody said so.
    pub took_min: Option<i64>,
    pub note: String,
    pub interim: Option<NewEnd>,
}

/// The end of an interim part.
#[derive(Debug)]
pub struct NewEnd {
    pub end: End,
    pub owner: String,
    pub plan: String,
}

impl WorkForm {
    pub(super) fn in_time(&self) -> bool {
        self.what == IN_TIME
    }

    pub(super) fn parse(
        &self,
        next: &Next<'_>,
        visit: &Visit,
        errors: &mut FieldErrors,
    ) -> Option<NewWork> {
        let ended_ms = self.ended(next, visit, errors);
        let begun_ms = match next.latest() {
            Some(latest) => self.begun(next, latest, visit, errors).map(Some),
            None => Some(None),
        };
        if let (Some(Some(begun)), Some(ended)) = (begun_ms, ended_ms)
            && ended < begun
        {
            errors.add("ended", "that is before it was begun");
        }
        let took_min = errors.check("took", took(&self.took));
        let note = errors.check("note", optional_text(&self.note, 400));
        let interim = match next.kind() {
            OperationKind::Release => self.interim(next, visit, errors),
            _ => Some(None),
        };
        Some(NewWork {
            begun_ms: begun_ms?,
            ended_ms: ended_ms?,
            took_min: took_min?,
            note: note?.unwrap_or_default(),
            interim: interim?,
        })
    }

    /// Refuses what was typed for another operation than the one that comes next.
    pub(super) fn is_of(&self, next: &Next<'_>, waits_too_long: bool, errors: &mut FieldErrors) {
        if waits_too_long && ![AGAIN, IN_TIME].contains(&self.what.as_str()) {
            errors.add("what", "say which of the two was done");
        }
        let at = (next.at + 1).to_string();
        if !self.position.is_empty() && !waits_too_long && self.position != at {
            let fault = format!(
                "this was typed for operation {}, and operation {at} comes next by now; look at it again",
                self.position
            );
            errors.add("note", fault);
        }
    }

    /// Not before what comes before it was done, and not after it had waited too long.
    fn begun(
        &self,
        next: &Next<'_>,
        latest: DateTime<Utc>,
        visit: &Visit,
        errors: &mut FieldErrors,
    ) -> Option<i64> {
        let zone = visit.site.zone;
        let begun = errors.check("begun", local_time(&self.begun, zone))?;
        let latest = latest.timestamp_millis();
        let before = next.request.begun.as_ref();
        let before = before.map_or(begun, |begun| begun.ended_at.timestamp_millis());
        let fault = if begun > latest {
            format!(
                "it was to begin by {}; do again what comes before it",
                moment(latest, zone)
            )
        } else if begun < before - before.rem_euclid(60_000) {
            format!("what comes before it was done {}", moment(before, zone))
        } else {
            return Some(begun);
        };
        errors.add("begun", fault);
        None
    }

    /// Now if nothing was typed; not before what was done before it.
    fn ended(&self, next: &Next<'_>, visit: &Visit, errors: &mut FieldErrors) -> Option<i64> {
        let zone = visit.site.zone;
        if self.ended.trim().is_empty() {
            return Some(visit.now);
        }
        let ended = errors.check("ended", local_time(&self.ended, zone))?;
        let before = next.request.begun.as_ref();
        let before = before.map(|begun| begun.ended_at.timestamp_millis());
        if ended > visit.now {
            let fault = format!(
                "that is still to come: it is {}; enter it when it is done",
                moment(visit.now, zone)
            );
            errors.add("ended", fault);
            return None;
        }
        // Fields know no seconds.
        if let Some(before) = before.filter(|before| ended < before - before.rem_euclid(60_000)) {
            let fault = format!(
                "what comes before it was done {}; give a time after it",
                moment(before, zone)
            );
            errors.add("ended", fault);
            return None;
        }
        Some(ended)
    }

    fn interim(
        &self,
        next: &Next<'_>,
        visit: &Visit,
        errors: &mut FieldErrors,
    ) -> Option<Option<NewEnd>> {
        if self.end.limit == "full" {
            if next.stand_in().is_some() {
                errors.add(
                    "limit",
                    "it was sorted as a stand-in: say when it comes off, or sort it anew",
                );
                return None;
            }
            return Some(None);
        }
        let clock = (visit.site.zone, visit.now);
        let end = match self.end.limit.as_str() {
            "date" | "hours" => self.end.read(None, clock, errors),
            _ => {
                errors.add(
                    "limit",
                    "say whether it stays, or by when it must come off again",
                );
                None
            }
        };
        let end = end.filter(|end| to_come(end, clock, errors));
        let owner = errors.check("owner", text(&self.owner, 80));
        let plan = errors.check("plan", text(&self.plan, 400));
        Some(Some(NewEnd {
            end: end?,
            owner: owner?,
            plan: plan?,
        }))
    }
}

fn took(typed: &str) -> Result<Option<i64>, FieldError> {
    match typed.trim() {
        "" => Ok(None),
        typed => integer(typed, 1..=20_160).map(Some),
    }
}

/// Refuses to let a part go whose end is past already.
fn to_come(end: &End, (zone, now): (Tz, i64), errors: &mut FieldErrors) -> bool {
    let past = matches!(end.limit, Limit::Date { off_by } if off_by.timestamp_millis() <= now);
    if past {
        let now = moment(now, zone);
        errors.add(
            "off_by",
            format!("that is past: it is {now}; give a time to come"),
        );
    }
    !past
}
