//! Interim parts that are out there already.

use super::data::SeedInterim;
use super::fault::Faults;
use super::files::SeedFiles;
use super::row::Row;
use super::sheet::Sheet;
use super::time::Calendar;
use crate::interim::hours::{A_DAY, METER, MOST, minutes};
use crate::interim::{End, date_fault};
use chrono::{DateTime, Utc};
use mendpost_core::code::{AssetCode, PartCode};
use mendpost_core::interim::Limit;
use std::collections::BTreeSet;

const INTERIMS: Sheet = Sheet {
    file: "interim_parts.csv",
    columns: &[
        "asset",
        "part",
        "part_name",
        "place",
        "since",
        "owner",
        "plan",
        "released_by",
    ],
    optional: &["off_by", "most_h", "a_day_h", "meter_h"],
    may_be_missing: true,
};

pub(super) fn interims(
    files: &SeedFiles,
    (assets, parts): (&BTreeSet<AssetCode>, &BTreeSet<PartCode>),
    calendar: &Calendar,
    faults: &Faults,
) -> Vec<SeedInterim> {
    let rows = INTERIMS.rows(files, faults);
    let read = |row: &Row| {
        let asset = row.one_of(faults, "asset", assets);
        let part = row.one_of_optional(faults, "part", parts);
        let part_name = row.text(faults, "part_name", 80);
        let place = row.text_or_empty(faults, "place", 80);
        let since = row.past(faults, "since", calendar);
        let end = end(row, since, calendar, faults);
        let owner = row.text(faults, "owner", 80);
        let plan = row.text(faults, "plan", 400);
        let released_by = row.text(faults, "released_by", 80);
        Some(SeedInterim {
            asset: asset?,
            part: part?,
            part_name: part_name?,
            place: place?,
            since: since?,
            end: end?,
            owner: owner?,
            plan: plan?,
            released_by: released_by?,
        })
    };
    rows.iter().filter_map(read).collect()
}

/// By a date, or by running hours.
fn end(
    row: &Row,
    since: Option<DateTime<Utc>>,
    calendar: &Calendar,
    faults: &Faults,
) -> Option<End> {
    let hours = ["most_h", "a_day_h", "meter_h"];
    if row.given("off_by").is_some() {
        for column in hours.iter().filter(|column| row.given(column).is_some()) {
            row.fault(faults, column, "leave it empty, or 'off_by'");
        }
        let off_by = row.moment(faults, "off_by", calendar)?;
        if let Some(fault) = date_fault(off_by, since, calendar.now.timestamp_millis()) {
            row.fault(faults, "off_by", fault);
            return None;
        }
        return Some(End {
            limit: Limit::Date { off_by },
            meter_min: None,
        });
    }
    if row.given("most_h").is_none() {
        row.fault_of_row(faults, "give 'off_by', or 'most_h' and 'a_day_h'");
        return None;
    }
    let most = row.number(faults, "most_h", 1, MOST);
    let a_day = row.number(faults, "a_day_h", 1, A_DAY);
    let meter = row.number_optional(faults, "meter_h", 1, METER);
    Some(End {
        limit: Limit::Running {
            most_min: minutes(most?),
            a_day_min: minutes(a_day?),
        },
        meter_min: meter?.map(minutes),
    })
}
