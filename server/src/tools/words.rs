//! Words for tools: where one stands, and why a figure of it does not count.

use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use mendpost_core::finish::{Measures, Tool, ToolFault};

use crate::form::plain_decimal;
use crate::page::moment;

/// What a tool of this kind measures.
pub const fn measures(measures: Measures) -> &'static str {
    match measures {
        Measures::Length => "lengths",
        Measures::Strength => "bond strength",
        Measures::Hardness => "hardness",
        Measures::Share => "density and pores",
    }
}

/// A figure in the unit of what is measured: '0.01 mm'.
pub fn figure(of: Measures, value: i64) -> String {
    format!("{} {}", plain_decimal(value, of.places()), of.unit())
}

pub fn range(tool: &Tool) -> String {
    let [least, most] = tool.range;
    let places = tool.measures.places();
    format!(
        "{} to {} {}",
        plain_decimal(least, places),
        plain_decimal(most, places),
        tool.measures.unit()
    )
}

/// Mark and word of where a tool stands at a time.
pub fn stands(tool: &Tool, now: DateTime<Utc>) -> (&'static str, &'static str) {
    match tool.fault_at(now) {
        None => ("ready", "counts"),
        Some(ToolFault::ReportedOut { .. }) => ("lost", "reported out"),
        Some(ToolFault::PastDue { .. }) => ("hold", "past due"),
        Some(_) => ("waits", "not calibrated"),
    }
}

/// Why a figure of a tool does not count, and what to do.
pub fn fault(tool: &Tool, fault: &ToolFault, zone: Tz) -> String {
    let at = |time: &DateTime<Utc>| moment(time.timestamp_millis(), zone);
    let code = &tool.code;
    match fault {
        ToolFault::Measures { measures: of } => {
            format!("{code} measures {}; take another", measures(*of))
        }
        ToolFault::NotCalibrated => {
            format!("{code} was not calibrated then; take another, or enter its calibration")
        }
        ToolFault::PastDue { due } => format!(
            "{code} was to be calibrated by {}; take another, or enter its calibration",
            at(due)
        ),
        ToolFault::ReportedOut { since, reason } => format!(
            "{code} is reported out since {} ({reason}); take another",
            at(since)
        ),
        ToolFault::OutOfRange { .. } => {
            format!(
                "{code} shows {}; take another, or look at the figure",
                range(tool)
            )
        }
    }
}
