//! A list as a sheet with columns for the depot's answer, and such a sheet read back.

use chrono_tz::Tz;
use csv::{Terminator, WriterBuilder};
use mendpost_core::resupply::list::{ListLine, LoadList};

use super::answer::form::of_line;
use super::words::plain_kg;
use crate::error::AppError;
use crate::form::section::Fields;
use crate::page::field_time;
use crate::seed::guard;
use crate::seed::records::records;

/// The columns, those of the answer last.
const COLUMNS: [&str; 18] = [
    "list",
    "trip",
    "line",
    "stock_number",
    "name",
    "unit",
    "units",
    "net_kg",
    "gross_kg",
    "length_mm",
    "width_mm",
    "height_mm",
    "dangerous_goods",
    "priority",
    "needed_by",
    "one_lot",
    "substitutes",
    "reason",
];

/// What the depot fills in: of each line by the names of the answer's form, and when all of it arrives.
const ANSWER: [&str; 9] = [
    "sent",
    "cut",
    "later",
    "later_on",
    "instead",
    "instead_units",
    "consignment",
    "note",
    "arrival",
];

/// UTF-8 with a byte order mark, commas, guarded against formulas, as all sheets.
pub fn write(list: &LoadList, zone: Tz) -> Result<Vec<u8>, AppError> {
    let mut writer = WriterBuilder::new()
        .terminator(Terminator::CRLF)
        .from_writer("\u{feff}".as_bytes().to_vec());
    writer
        .write_record(COLUMNS.iter().chain(&ANSWER))
        .map_err(AppError::internal)?;
    for (number, units) in list.asked() {
        let Some(line) = list.line(number).filter(|_| units > 0) else {
            continue;
        };
        let cells = row(list, line, units, zone).map(|cell| guard::put_on(&cell));
        let empty = ANSWER.map(|_| String::new());
        writer
            .write_record(cells.iter().chain(&empty))
            .map_err(AppError::internal)?;
    }
    writer
        .into_inner()
        .map_err(|error| AppError::internal(error.to_string()))
}

fn row(list: &LoadList, line: &ListLine, units: i64, zone: Tz) -> [String; 18] {
    let [x, y, z] = line.size_mm.map(|mm| mm.to_string());
    let substitutes: Vec<&str> = line.substitutes.iter().map(|it| it.as_str()).collect();
    let needed_by = line
        .needed_by
        .map(|at| field_time(at.timestamp_millis(), zone).replace('T', " "));
    [
        list.number.to_string(),
        list.trip.to_string(),
        line.number.to_string(),
        line.item.to_string(),
        line.name.clone(),
        line.unit.clone(),
        units.to_string(),
        plain_kg(line.net_g),
        plain_kg(line.gross_g),
        x,
        y,
        z,
        line.goods.clone(),
        line.priority.to_string(),
        needed_by.unwrap_or_default(),
        if line.one_lot { "yes" } else { "no" }.to_owned(),
        substitutes.join(" "),
        line.reason.clone(),
    ]
}

/// The answer that a sheet holds, as it would be typed: the number of its list, and the fields of its form.
pub fn read(text: &str) -> Result<(i64, Fields), String> {
    let (_, records) = records(text.trim_start_matches('\u{feff}'));
    let mut records = records.into_iter();
    let header = records
        .next()
        .ok_or("the sheet is empty; send the one that was filled in")?;
    let place = |name: &str| header.cells.iter().position(|it| it == name);
    let (Some(list), Some(line)) = (place("list"), place("line")) else {
        return Err(
            "the sheet has no columns 'list' and 'line'; send the sheet of a load list".to_owned(),
        );
    };
    let mut fields = Fields::new();
    let mut numbers: Vec<String> = Vec::new();
    for record in records {
        let of = |at: usize| record.cells.get(at).map_or("", String::as_str);
        let number: i64 = of(line).parse().map_err(|_| {
            format!(
                "row {} has '{}' as its line; give the number of a line",
                record.line,
                of(line)
            )
        })?;
        numbers.push(of(list).to_owned());
        for name in ANSWER {
            let typed = place(name).map_or("", of).to_owned();
            if typed.is_empty() && name == "arrival" {
                continue;
            }
            let field = if name == "arrival" {
                name.to_owned()
            } else {
                of_line(name, number)
            };
            if let Some(before) = fields
                .insert(field, typed.clone())
                .filter(|it| *it != typed)
            {
                return Err(match name {
                    "arrival" => format!(
                        "the sheet says that it arrives {before} and {typed}; one trip arrives once"
                    ),
                    _ => format!("line {number} stands twice in the sheet; leave one of them out"),
                });
            }
        }
    }
    numbers.dedup();
    match numbers.as_slice() {
        [one] => {
            let number = one
                .parse()
                .map_err(|_| format!("'{one}' is no number of a list"))?;
            Ok((number, fields))
        }
        [] => Err("the sheet has no line; send the one that was filled in".to_owned()),
        many => Err(format!(
            "the sheet is of several lists: {}; send one at a time",
            many.join(", ")
        )),
    }
}
