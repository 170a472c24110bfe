//! The depot's answer as fields of a form: one set for each line, named by its number.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, NaiveDate};
use chrono_tz::Tz;
use mendpost_core::code::ItemCode;
use mendpost_core::resupply::list::LoadList;
use mendpost_core::resupply::list::answer::{Answer, AnswerLine, Instead, Place};

use super::super::draft::{note, one_line};
use crate::form::section::Fields;
use crate::form::{FieldErrors, date, integer, local_time};
use crate::page::field_time;
use crate::resupply::trip::form::MOST_UNITS;

/// Of each line.
pub const OF_LINE: [&str; 8] = [
    "sent",
    "cut",
    "later",
    "later_on",
    "instead",
    "instead_units",
    "consignment",
    "note",
];

pub fn of_line(field: &str, line: i64) -> String {
    format!("{field}-{line}")
}

fn place(place: Place) -> &'static str {
    match place {
        Place::Line | Place::Sent => "sent",
        Place::Cut => "cut",
        Place::Later => "later",
        Place::LaterOn => "later_on",
        Place::Instead => "instead",
        Place::InsteadUnits => "instead_units",
        Place::Note => "note",
    }
}

/// An answer as it would be typed.
pub fn fields(answer: &Answer, zone: Tz) -> Fields {
    let mut fields = Fields::from([("by".to_owned(), answer.by.clone())]);
    if let Some(at) = answer.arrival {
        fields.insert(
            "arrival".to_owned(),
            field_time(at.timestamp_millis(), zone),
        );
    }
    for line in &answer.lines {
        let figure = |units: i64| {
            if units == 0 {
                String::new()
            } else {
                units.to_string()
            }
        };
        let (instead, instead_units) = match &line.instead {
            Some(it) => (it.item.to_string(), it.units.to_string()),
            None => (String::new(), String::new()),
        };
        let later_on = line.later_on.map(|on| on.to_string());
        let typed = [
            figure(line.sent),
            figure(line.cut),
            figure(line.later),
            later_on.unwrap_or_default(),
            instead,
            instead_units,
            line.consignment.clone(),
            line.note.clone(),
        ];
        let names = OF_LINE.iter().map(|name| of_line(name, line.line));
        fields.extend(names.zip(typed));
    }
    fields
}

/// The lines of which anything is typed, whether the list has them or not.
fn answered(fields: &Fields) -> BTreeSet<i64> {
    let typed = fields.iter().filter(|(_, typed)| !typed.trim().is_empty());
    let lines = typed.filter_map(|(name, _)| {
        let (field, line) = name.rsplit_once('-')?;
        OF_LINE.contains(&field).then(|| line.parse().ok())?
    });
    lines.collect()
}

/// What was typed, held against the list; every fault stands beside its field.
pub fn parse(
    fields: &Fields,
    list: &LoadList,
    known: &BTreeSet<ItemCode>,
    zone: Tz,
    errors: &mut FieldErrors,
) -> Option<Answer> {
    let of = |name: &str| fields.get(name).map_or("", |it| it.trim());
    let by = errors.check("by", note(of("by"), 80));
    let arrival = match of("arrival") {
        "" => Some(None),
        typed => errors
            .check("arrival", local_time(typed, zone))
            .map(DateTime::from_timestamp_millis),
    };
    let lines = answered(fields).into_iter();
    let lines: Vec<Option<AnswerLine>> = lines
        .map(|line| parse_line(line, fields, known, errors))
        .collect();
    let lines: Option<Vec<AnswerLine>> = lines.into_iter().collect();
    let answer = Answer {
        list: list.number,
        trip: list.trip.clone(),
        by: by?,
        arrival: arrival?,
        lines: lines?,
    };
    let asked = list.asked();
    for (line, at, fault) in answer.check(list) {
        match asked.get(&line).is_some_and(|units| *units > 0) {
            true => errors.add(&of_line(place(at), line), fault.to_string()),
            // The page has no row for it.
            false => errors.add_whole(fault.to_string()),
        }
    }
    errors.is_empty().then_some(answer)
}

fn parse_line(
    line: i64,
    fields: &Fields,
    known: &BTreeSet<ItemCode>,
    errors: &mut FieldErrors,
) -> Option<AnswerLine> {
    let typed: BTreeMap<&str, &str> = OF_LINE
        .iter()
        .map(|name| {
            (
                *name,
                fields.get(&of_line(name, line)).map_or("", |it| it.trim()),
            )
        })
        .collect();
    let mut units = |name: &str| match typed[name] {
        "" => Some(0),
        given => errors.check(&of_line(name, line), integer(given, 0..=MOST_UNITS)),
    };
    let (sent, cut, later) = (units("sent"), units("cut"), units("later"));
    let instead_units = units("instead_units");
    let later_on: Option<Option<NaiveDate>> = match typed["later_on"] {
        "" => Some(None),
        given => errors
            .check(&of_line("later_on", line), date(given))
            .map(Some),
    };
    let instead = instead(
        typed["instead"],
        (line, instead_units.unwrap_or(0)),
        known,
        errors,
    );
    let consignment = consignment(typed["consignment"], line, errors);
    let note = errors.check(&of_line("note", line), note(typed["note"], 200));
    Some(AnswerLine {
        line,
        sent: sent?,
        cut: cut?,
        later: later?,
        later_on: later_on?,
        instead: instead?,
        consignment: consignment?,
        note: note?,
    })
}

fn instead(
    typed: &str,
    (line, units): (i64, i64),
    known: &BTreeSet<ItemCode>,
    errors: &mut FieldErrors,
) -> Option<Option<Instead>> {
    if typed.is_empty() {
        if units > 0 {
            let what = "say which stock number is sent instead, or leave this empty";
            errors.add(&of_line("instead_units", line), what);
            return None;
        }
        return Some(None);
    }
    // Read by voice, a stock number has capitals only.
    let found = known
        .iter()
        .find(|it| it.as_str().eq_ignore_ascii_case(typed));
    if found.is_none() {
        let what = format!(
            "'{typed}' is no item that is listed here; list it first, or have the depot look again"
        );
        errors.add(&of_line("instead", line), what);
    }
    Some(Some(Instead {
        item: found?.clone(),
        units,
    }))
}

/// By what a consignment is asked after is read aloud too: as a code is written.
fn consignment(typed: &str, line: i64, errors: &mut FieldErrors) -> Option<String> {
    if typed.is_empty() {
        return Some(String::new());
    }
    let field = of_line("consignment", line);
    let typed = errors.check(&field, one_line(typed, 40))?;
    match typed.parse::<ItemCode>() {
        Ok(code) => Some(code.into()),
        Err(fault) => {
            errors.add(&field, fault.to_string());
            None
        }
    }
}
