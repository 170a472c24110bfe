//! Measuring tools with their last calibration.

use super::fault::Faults;
use super::files::SeedFiles;
use super::row::{Row, codes};
use super::sheet::Sheet;
use super::time::Calendar;
use mendpost_core::code::KitCode;
use mendpost_core::finish::{Calibration, Measures, Tool};

const TOOLS: Sheet = Sheet {
    file: "tools.csv",
    columns: &[
        "code",
        "name",
        "measures",
        "least",
        "most",
        "resolution",
        "certificate",
        "calibrated",
        "due",
    ],
    optional: &[],
    may_be_missing: true,
};

pub(super) fn tools(files: &SeedFiles, calendar: &Calendar, faults: &Faults) -> Vec<Tool> {
    let rows = TOOLS.rows(files, faults);
    codes::<KitCode>(&rows, "code", faults);
    rows.iter()
        .filter_map(|row| tool(row, calendar, faults))
        .collect()
}

fn tool(row: &Row, calendar: &Calendar, faults: &Faults) -> Option<Tool> {
    let code: Option<KitCode> = row.new_code(faults, "code");
    let name = row.text(faults, "name", 80);
    let measures = row.parse::<Measures>(faults, "measures");
    let certificate = row.text(faults, "certificate", 80);
    let at = row.past(faults, "calibrated", calendar);
    let due = row.moment(faults, "due", calendar);
    let measures = measures?;
    let (places, most) = (measures.places(), 100_000);
    let scale = 10_i64.pow(u32::try_from(places).ok()?);
    let figure = |column, from| row.number(faults, column, places, from..=most * scale);
    let least = figure("least", -most * scale);
    let highest = figure("most", -most * scale);
    let resolution = figure("resolution", 1);
    let (least, highest, at, due) = (least?, highest?, at?, due?);
    if highest <= least {
        row.fault(faults, "most", "give more than the least");
    }
    if due < at {
        row.fault(faults, "due", "that is before it was calibrated");
    }
    Some(Tool {
        code: code?.to_string(),
        name: name?,
        measures,
        range: [least, highest],
        resolution: resolution?,
        calibrations: vec![Calibration {
            certificate: certificate?,
            at,
            due,
        }],
        reports: Vec::new(),
    })
}
