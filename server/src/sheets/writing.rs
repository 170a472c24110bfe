//! Writes sheets: what stands, or the columns with what each means.
//!
//! They begin with a byte order mark: without one, spreadsheet programs on some systems take UTF-8 for the
//! system's own character set (common practice, no source), and what they save then is damaged. Cells are
//! parted by commas, or by semicolons with decimal commas, as those programs read without asking in
//! countries that write so.

use chrono_tz::Tz;
use csv::{Terminator, WriterBuilder};

use super::cell::Cell;
use super::columns;
use super::comparison::Listed;
use crate::error::AppError;
use crate::seed::guard;
use crate::seed::records::Separator;
use crate::seed::sheet::Sheet;

/// A sheet with these rows.
pub fn sheet<T: Listed>(
    sheet: &Sheet,
    things: impl IntoIterator<Item = T>,
    zone: Tz,
    separator: Separator,
) -> Result<Vec<u8>, AppError> {
    let written = |cell: Cell| guard::put_on(&cell.written(zone, separator.decimal_mark()));
    let rows = things.into_iter().map(|thing| {
        sheet
            .all_columns()
            .map(|column| written(thing.cell(column)))
            .collect()
    });
    text(sheet, rows, separator)
}

/// A sheet without rows: under its columns a remark for each.
pub fn template(sheet: &Sheet, separator: Separator) -> Result<Vec<u8>, AppError> {
    let remarks = sheet.all_columns().map(|column| {
        let may_miss = match sheet.optional.contains(&column) {
            true => " (the column may be left out)",
            false => "",
        };
        vec![format!(
            "# {column}{may_miss}: {}",
            columns::meaning(sheet.file, column)
        )]
    });
    text(sheet, remarks, separator)
}

fn text(
    sheet: &Sheet,
    rows: impl Iterator<Item = Vec<String>>,
    separator: Separator,
) -> Result<Vec<u8>, AppError> {
    let delimiter = u8::try_from(separator.character()).map_err(AppError::internal)?;
    let mut writer = WriterBuilder::new()
        .delimiter(delimiter)
        .flexible(true)
        // RFC 4180.
        .terminator(Terminator::CRLF)
        .from_writer("\u{feff}".as_bytes().to_vec());
    writer
        .write_record(sheet.all_columns())
        .map_err(AppError::internal)?;
    for row in rows {
        writer.write_record(row).map_err(AppError::internal)?;
    }
    writer
        .into_inner()
        .map_err(|error| AppError::internal(error.to_string()))
}
