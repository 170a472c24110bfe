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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::seed::fault::Faults;
    use crate::seed::need::ASSETS;
    use proptest::prelude::*;

    /// An asset of which only the name matters.
    struct Named(String);

    impl Listed for Named {
        fn cell(&self, column: &str) -> Cell {
            match column {
                "code" => Cell::text("A"),
                "name" => Cell::text(&self.0),
                _ => Cell::text(""),
            }
        }
    }

    /// RFC 4180: cells with the separator or a quote go between quotes, lines end with CR and LF.
    #[test]
    fn a_sheet_is_written_as_the_standard_has_it() {
        let named = [Named("a \"b\", c".to_owned()), Named("=1;2".to_owned())];
        let text = sheet(&ASSETS, named, Tz::UTC, Separator::Comma).expect("a text");
        assert_eq!(
            String::from_utf8(text).as_deref(),
            Ok("\u{feff}code,name,down_from,back\r\nA,\"a \"\"b\"\", c\",,\r\nA,'=1;2,,\r\n")
        );
    }

    proptest! {
        /// Whatever a name holds on its one line is read as it was written, whatever parts the cells.
        #[test]
        fn what_is_written_is_read(
            names in prop::collection::vec("['\"=+@;,\t#a-]{1,6}|\\PC{1,30}", 1..5),
            separator in prop::sample::select(vec![Separator::Comma, Separator::Semicolon]),
        ) {
            let names: Vec<String> = names
                .into_iter()
                .map(|name| name.trim().to_owned())
                .filter(|name| !name.contains('\t'))
                .collect();
            let named = names.iter().cloned().map(Named);
            let bytes = sheet(&ASSETS, named, Tz::UTC, separator).expect("a text");
            let text = String::from_utf8(bytes).expect("UTF-8");
            let faults = Faults::default();
            let (told, rows) = ASSETS.read(text.trim_start_matches('\u{feff}'), &faults);
            prop_assert!(faults.is_empty());
            prop_assert_eq!(told, separator);
            let read: Vec<&str> = rows.iter().map(|row| row.given("name").unwrap_or_default()).collect();
            prop_assert_eq!(read, names);
        }
    }
}
