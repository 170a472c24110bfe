//! Shapes of parts: the STL files that lie beside `parts.csv`, and are named in it.

use super::fault::Faults;
use super::files::SeedFiles;
use super::row::Row;
use super::site::needs;
use crate::shape::{Reading, Sent};
use mendpost_core::catalogue::Part;
use mendpost_core::shape::Unit;
use std::collections::BTreeSet;

/// The shape of each row of `parts.csv` that names one, read as the catalogue's page reads it, with the
/// part's own machining allowance.
pub(super) fn shapes(
    rows: &[Row],
    parts: &[Part],
    files: &SeedFiles,
    faults: &Faults,
) -> Vec<Reading> {
    let named: BTreeSet<&str> = rows.iter().filter_map(|row| row.given("shape")).collect();
    for file in files.shapes().filter(|file| !named.contains(file)) {
        faults.in_file(
            file,
            "no row of parts.csv has it as its 'shape'; name it there, or take the file away",
        );
    }
    let shape = |row: &Row| shape(row, parts, files, faults);
    rows.iter().filter_map(shape).collect()
}

/// None without a shape, or after a fault was noted.
fn shape(row: &Row, parts: &[Part], files: &SeedFiles, faults: &Faults) -> Option<Reading> {
    if row.given("shape").is_none() {
        let unit = row.given("shape_unit");
        return unit.and_then(|_| needs(row, faults, "shape", "shape_unit"));
    }
    let name = row.text(faults, "shape", 100);
    let unit = match row.parse_optional::<Unit>(faults, "shape_unit") {
        Some(None) => needs(row, faults, "shape_unit", "shape"),
        unit => unit.flatten(),
    };
    let (name, unit, code) = (name?, unit?, row.given("code")?);
    let Some(bytes) = files.shape(&name) else {
        let what = format!("there is no '{name}' beside it; put the STL file there");
        row.fault(faults, "shape", what);
        return None;
    };
    let part = parts.iter().find(|part| part.code.as_str() == code);
    let sent = Sent {
        part: code.to_owned(),
        file_name: name.clone(),
        bytes: bytes.to_owned(),
        unit,
        allowance_um: part.map_or(0, |part| part.allowance_um),
    };
    let reading = Reading::of(sent);
    reading
        .map_err(|fault| row.fault(faults, "shape", format!("'{name}' {fault}")))
        .ok()
}
