//! What was typed of the lines of a list: rows of fields of one name each, so that another page can post them
//! too.

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use mendpost_core::code::ItemCode;
use mendpost_core::resupply::list::{Judged, LoadList, judge};
use mendpost_core::resupply::{Carrier, Item, Load};

use super::words;
use crate::error::AppError;
use crate::form::{FieldError, FieldErrors, integer, local_time, optional_text, text};
use crate::resupply::trip::form::MOST_UNITS;

/// The most lines that a list has.
pub const MOST_LINES: usize = 200;
/// Rows that wait for something to be typed.
const BLANK: usize = 3;

/// One row as it was typed.
#[derive(Debug, Clone, Default)]
pub struct Row {
    pub item: String,
    pub units: String,
    pub priority: String,
    pub needed_by: String,
    pub reason: String,
    pub one_lot: String,
    /// The number of the line of which it takes units back; empty where it asks for them.
    pub takes_back: String,
}

impl Row {
    fn is_blank(&self) -> bool {
        let typed = [
            &self.item,
            &self.units,
            &self.reason,
            &self.takes_back,
            &self.needed_by,
        ];
        typed.iter().all(|it| it.trim().is_empty())
    }
}

/// All that was typed.
#[derive(Debug, Clone, Default)]
pub struct Draft {
    pub trip: String,
    /// Why something is added.
    pub why: String,
    pub rows: Vec<Row>,
    /// 'look' or 'freeze'.
    pub step: String,
    pub version: String,
}

impl Draft {
    /// Of a form's fields in their order; the n-th of each name belongs to the n-th row.
    pub fn of(fields: &[(String, String)]) -> Draft {
        let all = |name: &str| -> Vec<String> {
            let named = fields.iter().filter(|(it, _)| it == name);
            named.map(|(_, typed)| typed.clone()).collect()
        };
        let one = |name: &str| all(name).pop().unwrap_or_default();
        let names = [
            "item",
            "units",
            "priority",
            "needed_by",
            "reason",
            "one_lot",
            "takes_back",
        ];
        let columns = names.map(all);
        let most = columns.iter().map(Vec::len).max().unwrap_or(0);
        let rows = (0..most.min(MOST_LINES)).map(|at| {
            let of = |column: usize| columns[column].get(at).cloned().unwrap_or_default();
            Row {
                item: of(0),
                units: of(1),
                priority: of(2),
                needed_by: of(3),
                reason: of(4),
                one_lot: of(5),
                takes_back: of(6),
            }
        });
        Draft {
            trip: one("trip").trim().to_owned(),
            why: one("why"),
            rows: rows.filter(|row| !row.is_blank()).collect(),
            step: one("do"),
            version: one("version"),
        }
    }

    /// With rows to be typed into.
    pub fn with_blanks(mut self) -> Draft {
        let room = MOST_LINES.saturating_sub(self.rows.len()).min(BLANK);
        self.rows.extend(std::iter::repeat_n(Row::default(), room));
        self
    }
}

/// The name by which a page finds a field of a row.
pub fn id(field: &str, row: usize) -> String {
    format!("{field}-{}", row + 1)
}

/// A line as it was wanted.
#[derive(Debug, Clone)]
pub struct Wanted {
    /// Its place among the rows.
    pub row: usize,
    pub item: ItemCode,
    pub units: i64,
    pub priority: i64,
    pub needed_by: Option<DateTime<Utc>>,
    pub reason: String,
    pub one_lot: bool,
    pub takes_back: Option<i64>,
}

/// What a draft is held against.
pub struct Against<'a> {
    pub items: &'a [Item],
    pub carrier: Carrier<'a>,
    pub zone: Tz,
    /// What is asked for already.
    pub list: Option<&'a LoadList>,
}

/// What was understood of a draft, and what it comes to with all that is asked for already.
pub struct Read {
    pub wanted: Vec<Wanted>,
    pub judged: Judged,
}

/// Reads a draft; every fault stands beside its field, and what speaks against a row of it there too.
pub fn parse(
    draft: &Draft,
    against: &Against<'_>,
    errors: &mut FieldErrors,
) -> Result<Read, AppError> {
    let mut wanted = Vec::new();
    for (at, row) in draft
        .rows
        .iter()
        .enumerate()
        .filter(|(_, row)| !row.is_blank())
    {
        wanted.extend(read_row(at, row, against, errors));
    }
    taken_back(&wanted, against, errors);
    let mut load = against.list.map_or_else(Load::new, LoadList::load);
    for line in &wanted {
        let signed = if line.takes_back.is_some() {
            -line.units
        } else {
            line.units
        };
        *load.entry(line.item.clone()).or_default() += signed;
    }
    let mut judged = judge(&against.carrier, against.items, &load);
    if let Some(list) = against.list {
        as_frozen(&mut judged, list, &wanted, against);
    }
    refuse(&wanted, &judged, against, errors);
    if wanted.is_empty() && errors.is_empty() {
        errors.add_whole("Nothing is asked for: fill in at least one row.");
    }
    Ok(Read { wanted, judged })
}

/// What is on the list counts as it was frozen, whatever its items weigh by now.
fn as_frozen(judged: &mut Judged, list: &LoadList, wanted: &[Wanted], against: &Against<'_>) {
    let uses = |line: &Wanted, limit: &str| {
        let back = line.takes_back.and_then(|of| list.line(of));
        let item = against.items.iter().find(|it| it.code == line.item);
        match (back, item) {
            (Some(asks), _) => -line.units * asks.uses.get(limit).copied().unwrap_or(0),
            (None, Some(item)) => {
                line.units * against.carrier.uses(item).get(limit).copied().unwrap_or(0)
            }
            (None, None) => 0,
        }
    };
    for (limit, taken, _) in &mut judged.taken {
        *taken = list.taken(limit) + wanted.iter().map(|line| uses(line, limit)).sum::<i64>();
    }
}

fn read_row(
    at: usize,
    row: &Row,
    against: &Against<'_>,
    errors: &mut FieldErrors,
) -> Option<Wanted> {
    let zone = against.zone;
    let takes_back = match row.takes_back.trim() {
        "" => Some(None),
        typed => errors
            .check(&id("takes_back", at), integer(typed, 1..=10_000))
            .map(Some),
    };
    let item = match takes_back {
        Some(Some(line)) => of_line(line, at, row, against, errors),
        _ => of_items(at, row, against, errors),
    };
    let units = errors.check(&id("units", at), integer(&row.units, 1..=MOST_UNITS));
    let priority = match row.priority.trim() {
        "" => Some(1),
        typed => errors.check(&id("priority", at), integer(typed, 1..=9)),
    };
    let needed_by = match row.needed_by.trim() {
        "" => Some(None),
        typed => errors
            .check(&id("needed_by", at), local_time(typed, zone))
            .map(Some),
    };
    let reason = errors.check(&id("reason", at), one_line(&row.reason, 400));
    let one_lot = match row.one_lot.trim() {
        "" | "no" => Some(false),
        "yes" => Some(true),
        other => {
            let given = other.chars().take(80).collect();
            errors.check(&id("one_lot", at), Err(FieldError::NotChoice { given }))
        }
    };
    Some(Wanted {
        row: at,
        item: item?,
        units: units?,
        priority: priority?,
        needed_by: needed_by?.and_then(DateTime::from_timestamp_millis),
        reason: reason?,
        one_lot: one_lot?,
        takes_back: takes_back?,
    })
}

/// Text on one line.
pub fn one_line(typed: &str, most: usize) -> Result<String, FieldError> {
    let words: Vec<&str> = typed.split_whitespace().collect();
    text(&words.join(" "), most)
}

fn of_items(
    at: usize,
    row: &Row,
    against: &Against<'_>,
    errors: &mut FieldErrors,
) -> Option<ItemCode> {
    let field = id("item", at);
    let typed = errors.check(&field, text(&row.item, 80))?;
    let found = against.items.iter().find(|it| it.code.as_str() == typed);
    if found.is_none() {
        errors.add(
            &field,
            format!(
                "'{typed}' is no item that is sent for; choose one of the list, or list it first"
            ),
        );
    }
    found.map(|it| it.code.clone())
}

/// The item of the line that is taken back; what is typed besides must be the same.
fn of_line(
    line: i64,
    at: usize,
    row: &Row,
    against: &Against<'_>,
    errors: &mut FieldErrors,
) -> Option<ItemCode> {
    let asks = against.list.and_then(|list| list.line(line));
    let Some(asks) = asks.filter(|it| it.takes_back.is_none()) else {
        let what = format!("line {line} asks for nothing here; name a line of the list that does");
        errors.add(&id("takes_back", at), what);
        return None;
    };
    let typed = row.item.trim();
    if !typed.is_empty() && typed != asks.item.as_str() {
        let what = format!(
            "line {line} is of {}; leave this empty, or name that",
            asks.item
        );
        errors.add(&id("item", at), what);
        return None;
    }
    Some(asks.item.clone())
}

/// No more is taken back of a line than it still asks for.
fn taken_back(wanted: &[Wanted], against: &Against<'_>, errors: &mut FieldErrors) {
    let mut left: BTreeMap<i64, i64> = against.list.map(LoadList::asked).unwrap_or_default();
    for line in wanted {
        let Some(of) = line.takes_back else { continue };
        let still = left.entry(of).or_default();
        if line.units > *still {
            let what = format!(
                "{} are more than line {of} still asks for: {still}",
                line.units
            );
            errors.add(&id("units", line.row), what);
        }
        *still -= line.units;
    }
}

/// What does not go is told beside the row that asks for it; what goes beyond a limit beside the last that
/// takes of it.
fn refuse(wanted: &[Wanted], judged: &Judged, against: &Against<'_>, errors: &mut FieldErrors) {
    let asks = || wanted.iter().filter(|it| it.takes_back.is_none());
    for line in asks() {
        if let Some(bars) = judged.barred.get(&line.item) {
            let why: Vec<String> = bars.iter().map(words::barred).collect();
            let what = format!(
                "{} does not go on {}: {}",
                line.item,
                against.carrier.trip.code,
                why.join("; ")
            );
            errors.add(&id("item", line.row), what);
        }
        let never = judged
            .never
            .iter()
            .find(|(one, other)| *one == line.item || *other == line.item);
        if let Some((one, other)) = never {
            let with = if *one == line.item { other } else { one };
            let what = format!(
                "{} and {with} are not loaded together by the rules written down here; leave one of them out",
                line.item
            );
            errors.add(&id("item", line.row), what);
        }
    }
    for (limit, taken, most) in judged.over() {
        let (what, unit) = words::limit(limit, against.carrier.rules);
        let plain = |value: i64| crate::form::plain_decimal(value, 3);
        let fault = format!(
            "all together take {} {unit} of {what}, and {} are allowed: {} too much",
            plain(*taken),
            plain(*most),
            plain(taken - most)
        );
        let uses = |line: &&Wanted| {
            let item = against.items.iter().find(|it| it.code == line.item);
            item.is_some_and(|it| against.carrier.uses(it).contains_key(limit))
        };
        match asks().rfind(uses) {
            Some(line) => errors.add(&id("units", line.row), fault),
            None => errors.add_whole(fault),
        }
    }
}

/// Why something is added.
pub fn why(draft: &Draft, errors: &mut FieldErrors) -> Option<String> {
    errors.check("why", one_line(&draft.why, 400))
}

/// A note that may be missing.
pub fn note(typed: &str, most: usize) -> Result<String, FieldError> {
    Ok(optional_text(
        &typed.split_whitespace().collect::<Vec<_>>().join(" "),
        most,
    )?
    .unwrap_or_default())
}
