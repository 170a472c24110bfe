//! What was typed about an operation that is done, and about the end of an interim part.

use chrono_tz::Tz;
use mendpost_core::catalogue::OperationKind;
use mendpost_core::interim::Limit;
use serde::Deserialize;

use super::work::Next;
use crate::form::{FieldErrors, local_time, optional_text, text};
use crate::interim::{End, EndForm};
use crate::page::{minutes, moment};
use crate::people::Visit;

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub struct WorkForm {
    /// The recipe that it is built by, where several are open.
    pub recipe: String,
    /// 'in-time' if it is not what is to be done again, but what waited for it and was begun in time.
    pub what: String,
    pub ended: String,
    pub note: String,
    /// When it comes off again; its limit may be 'full' too: it stays.
    #[serde(flatten)]
    pub end: EndForm,
    pub owner: String,
    pub plan: String,
    pub sign_passphrase: String,
}

pub(super) const IN_TIME: &str = "in-time";

/// An operation as it will be entered.
#[derive(Debug)]
pub struct NewWork {
    pub ended_ms: i64,
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
        let note = errors.check("note", optional_text(&self.note, 400));
        let interim = match next.kind() {
            OperationKind::Release => self.interim(next, visit, errors),
            _ => Some(None),
        };
        Some(NewWork {
            ended_ms: ended_ms?,
            note: note?.unwrap_or_default(),
            interim: interim?,
        })
    }

    /// Now if nothing was typed; not before what was done before it.
    fn ended(&self, next: &Next<'_>, visit: &Visit, errors: &mut FieldErrors) -> Option<i64> {
        let zone = visit.site.zone;
        if self.ended.trim().is_empty() {
            if next.in_time {
                errors.add("ended", "say when it was done: it waits too long by now");
                return None;
            }
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
        let began = ended - next.minutes * 60_000;
        if let Some(latest) = next.latest().map(|at| at.timestamp_millis())
            && began > latest
        {
            let fault = format!(
                "it takes {} and would have begun {}, after {}: do again what comes before it",
                minutes(next.minutes),
                moment(began, zone),
                moment(latest, zone)
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
