//! What was typed about an operation that is done, and about the end of an interim part.

use mendpost_core::catalogue::OperationKind;
use mendpost_core::interim::Limit;
use serde::Deserialize;

use super::work::Next;
use crate::form::{FieldErrors, decimal, local_time, optional_text, text};
use crate::page::moment;
use crate::people::Visit;

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub struct WorkForm {
    /// The recipe that it is built by, where several are open.
    pub recipe: String,
    pub ended: String,
    pub note: String,
    /// 'full', 'date' or 'hours'.
    pub limits: String,
    pub off_by: String,
    pub most_hours: String,
    pub a_day: String,
    pub meter: String,
    pub owner: String,
    pub plan: String,
    pub sign_passphrase: String,
}

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
    pub limit: Limit,
    pub meter_min: Option<i64>,
    pub owner: String,
    pub plan: String,
}

impl WorkForm {
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
        if self.ended.trim().is_empty() {
            return Some(visit.now);
        }
        let zone = visit.site.zone;
        let ended = errors.check("ended", local_time(&self.ended, zone))?;
        let before = next.request.begun.as_ref().filter(|_| next.at > 0);
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
        if self.limits == "full" {
            if next.stand_in().is_some() {
                errors.add(
                    "limits",
                    "it was sorted as a stand-in: say when it comes off, or sort it anew",
                );
                return None;
            }
            return Some(None);
        }
        let limit = match self.limits.as_str() {
            "date" => self.by_date(visit, errors),
            "hours" => self.by_hours(errors),
            _ => {
                errors.add(
                    "limits",
                    "say whether it stays, or by when it must come off again",
                );
                None
            }
        };
        let meter_min = match self.limits == "hours" {
            true => errors
                .check("meter", decimal(&self.meter, 1, 0..=9_999_999))
                .map(|tenths| Some(tenths * 6)),
            false => Some(None),
        };
        let owner = errors.check("owner", text(&self.owner, 80));
        let plan = errors.check("plan", text(&self.plan, 400));
        Some(Some(NewEnd {
            limit: limit?,
            meter_min: meter_min?,
            owner: owner?,
            plan: plan?,
        }))
    }

    fn by_date(&self, visit: &Visit, errors: &mut FieldErrors) -> Option<Limit> {
        let zone = visit.site.zone;
        let off_by = errors.check("off_by", local_time(&self.off_by, zone))?;
        if off_by <= visit.now {
            let now = moment(visit.now, zone);
            errors.add(
                "off_by",
                format!("that is past: it is {now}; give a time to come"),
            );
            return None;
        }
        let off_by = chrono::DateTime::from_timestamp_millis(off_by)?;
        Some(Limit::Date { off_by })
    }

    fn by_hours(&self, errors: &mut FieldErrors) -> Option<Limit> {
        let most = errors.check("most_hours", decimal(&self.most_hours, 1, 1..=1_000_000));
        let a_day = errors.check("a_day", decimal(&self.a_day, 1, 1..=240));
        Some(Limit::Running {
            most_min: most? * 6,
            a_day_min: a_day? * 6,
        })
    }
}
