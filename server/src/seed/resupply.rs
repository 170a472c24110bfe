//! What the depot can send, what trips may carry, by which rules, and how often parts fail. Rows are read by
//! the rules of the pages' forms.

use super::fault::Faults;
use super::files::SeedFiles;
use super::row::{FigureFault, Row, codes};
use super::sheet::Sheet;
use super::time::Calendar;
use crate::figures::Figure;
use crate::form::FieldErrors;
use crate::form::section::Fields;
use crate::page::field_time;
use crate::resupply::form::Typed;
use crate::resupply::{carriage, failure, item, set, trip};
use mendpost_core::code::{DeliveryCode, ItemCode, PartCode};
use mendpost_core::resupply::{CarriageRules, Content, Counted, Item, Mode, Trip};
use mendpost_core::situation::Delivery;
use std::collections::{BTreeMap, BTreeSet};

const ITEMS: Sheet = Sheet {
    file: "items.csv",
    columns: &item::form::COLUMNS,
    optional: &["here", "counted_by", "counted_at"],
    may_be_missing: true,
};

const SETS: Sheet = Sheet {
    file: "item_sets.csv",
    columns: &["items", "why"],
    optional: &[],
    may_be_missing: true,
};

const TRIPS: Sheet = Sheet {
    file: "trips.csv",
    columns: &[
        "delivery",
        "mode",
        "reserve_percent",
        "volume_l",
        "longest_mm",
        "heaviest_kg",
        "dangerous",
        "earliest",
        "closes",
        "takes_back",
    ],
    optional: &[],
    may_be_missing: true,
};

const MUST_GO: Sheet = Sheet {
    file: "must_go.csv",
    columns: &["trip", "item", "units"],
    optional: &[],
    may_be_missing: true,
};

const CARRIAGE: Sheet = Sheet {
    file: "carriage.csv",
    columns: &["mode", "edition", "points_limit", "entered_by", "entered"],
    optional: &[],
    may_be_missing: true,
};

const RULES: Sheet = Sheet {
    file: "carriage_rules.csv",
    columns: &[
        "mode",
        "un",
        "class",
        "packing_group",
        "refused",
        "package",
        "load",
        "points",
        "note",
    ],
    optional: &[],
    may_be_missing: true,
};

const APART: Sheet = Sheet {
    file: "carriage_apart.csv",
    columns: &["mode", "one", "other", "what", "can_be_kept"],
    optional: &[],
    may_be_missing: true,
};

const FAILURES: Sheet = Sheet {
    file: "part_failures.csv",
    columns: &["part", "times", "days", "why", "said_by"],
    optional: &[],
    may_be_missing: true,
};

/// The records that resupply rests on.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct SeedResupply {
    pub items: Vec<Item>,
    /// Items that go together, and why.
    pub sets: Vec<(Vec<ItemCode>, String)>,
    pub trips: Vec<Trip>,
    pub carriage: Vec<CarriageRules>,
    /// How often a part is expected to fail, and by whom.
    pub failures: Vec<(PartCode, failure::Rate, String)>,
}

pub(super) fn resupply(
    files: &SeedFiles,
    mut known: item::form::Known,
    deliveries: &[Delivery],
    calendar: &Calendar,
    faults: &Faults,
) -> SeedResupply {
    let rows = ITEMS.rows(files, faults);
    known.items = codes(&rows, "code", faults);
    let items = rows
        .iter()
        .filter_map(|row| item(row, &known, calendar, faults));
    SeedResupply {
        items: items.collect(),
        sets: sets(files, &known.items, faults),
        trips: trips(files, &known.items, deliveries, calendar, faults),
        carriage: rules_of_carriage(files, calendar, faults),
        failures: failures(files, &known.parts, faults),
    }
}

/// A row as the fields of a form, read by the form's rules; `more` are fields that other files tell.
fn read<T>(
    row: &Row,
    (columns, figures): (&[&str], &[Figure]),
    more: Fields,
    faults: &Faults,
    parse: impl FnOnce(&mut Typed) -> Option<T>,
) -> Option<T> {
    let mut fields = more;
    let mut told = BTreeSet::new();
    for column in columns {
        let Some(text) = row.given(column) else {
            continue;
        };
        let figure = figures.iter().find(|of| of.name == *column);
        let fault = figure.and_then(|of| row.decimal(text, of.places, of.range()).err());
        if let Some(fault @ FigureFault::Unclear { .. }) = fault {
            row.fault(faults, column, fault);
            told.insert((*column).to_owned());
        }
        fields.insert((*column).to_owned(), text.to_owned());
    }
    let mut errors = FieldErrors::default();
    let value = parse(&mut Typed::new(&fields, &mut errors));
    for (column, what) in errors.iter().filter(|(column, _)| !told.contains(*column)) {
        row.fault(faults, column, what);
    }
    value.filter(|_| errors.is_empty() && told.is_empty())
}

fn item(
    row: &Row,
    known: &item::form::Known,
    calendar: &Calendar,
    faults: &Faults,
) -> Option<Item> {
    let code: Option<ItemCode> = row.new_code(faults, "code");
    let counted = counted(row, calendar, faults);
    let of = (ITEMS.columns, &item::form::FIGURES[..]);
    // Its own faults are told where it has no code, too.
    let read_as = code.clone().or_else(|| "X".parse().ok())?;
    let item = read(row, of, Fields::new(), faults, |it| {
        item::form::parse(read_as, it, known)
    });
    let (mut item, counted) = (item?, counted?);
    code?;
    match &mut item.content {
        Content::Consumable(used) => used.counted = counted,
        _ if counted.is_some() => {
            row.fault(
                faults,
                "here",
                "only a consumable is counted here; leave it empty",
            );
        }
        _ => {}
    }
    Some(item)
}

fn counted(row: &Row, calendar: &Calendar, faults: &Faults) -> Option<Option<Counted>> {
    let here = row.number_optional(faults, "here", 0, 0..=1_000_000)?;
    let Some(units) = here else {
        return Some(None);
    };
    let by = row.text(faults, "counted_by", 80);
    let at = row.past(faults, "counted_at", calendar);
    Some(Some(Counted {
        units,
        at: at?,
        by: by?,
    }))
}

fn sets(
    files: &SeedFiles,
    known: &BTreeSet<ItemCode>,
    faults: &Faults,
) -> Vec<(Vec<ItemCode>, String)> {
    let rows = SETS.rows(files, faults);
    let one = |row: &Row| {
        read(row, (SETS.columns, &[]), Fields::new(), faults, |it| {
            let (items, why) = (it.some_of("items", known), it.text("why", 400));
            let items = items?;
            if let Some(fault) = set::size_fault(items.len()) {
                it.fault("items", fault);
            }
            Some((items, why?))
        })
    };
    rows.iter().filter_map(one).collect()
}

fn trips(
    files: &SeedFiles,
    items: &BTreeSet<ItemCode>,
    deliveries: &[Delivery],
    calendar: &Calendar,
    faults: &Faults,
) -> Vec<Trip> {
    let rows = TRIPS.rows(files, faults);
    let known: BTreeSet<DeliveryCode> = codes(&rows, "delivery", faults);
    let mut must_go = must_go(files, (&known, items), faults);
    let one = |row: &Row| trip(row, deliveries, calendar, faults);
    let mut trips: Vec<Trip> = rows.iter().filter_map(one).collect();
    for trip in &mut trips {
        trip.must_go = must_go.remove(&trip.code).unwrap_or_default();
    }
    trips
}

/// Name, payload and arrival are those of the delivery.
fn trip(row: &Row, deliveries: &[Delivery], calendar: &Calendar, faults: &Faults) -> Option<Trip> {
    let listed: BTreeSet<DeliveryCode> = deliveries.iter().map(|it| it.code.clone()).collect();
    let code = row.one_of(faults, "delivery", &listed)?;
    let delivery = deliveries.iter().find(|it| it.code == code)?;
    let (Some(latest), Some(payload_kg)) = (delivery.latest, delivery.payload_kg) else {
        let what = "deliveries.csv gives it no latest arrival or no payload; give both there";
        row.fault(faults, "delivery", what);
        return None;
    };
    let shown =
        |at: chrono::DateTime<chrono::Utc>| field_time(at.timestamp_millis(), calendar.zone);
    let mut more: Fields = [
        ("name", delivery.name.clone()),
        ("payload_kg", payload_kg.to_string()),
        ("usual", shown(delivery.expected)),
        ("latest", shown(latest)),
    ]
    .into_iter()
    .map(|(name, text)| (name.to_owned(), text))
    .collect();
    let times = ["earliest", "closes"].map(|column| {
        let at = row.moment(faults, column, calendar)?;
        more.insert(column.to_owned(), shown(at));
        Some(())
    });
    if times.contains(&None) {
        return None;
    }
    let columns: Vec<&str> = TRIPS
        .columns
        .iter()
        .copied()
        .filter(|column| !["delivery", "earliest", "closes"].contains(column))
        .collect();
    let of = (&columns[..], &trip::form::FIGURES[..]);
    read(row, of, more, faults, |it| {
        trip::form::parse(code, it, calendar.zone)
    })
}

type MustGo = BTreeMap<DeliveryCode, Vec<(ItemCode, i64)>>;

fn must_go(
    files: &SeedFiles,
    (trips, items): (&BTreeSet<DeliveryCode>, &BTreeSet<ItemCode>),
    faults: &Faults,
) -> MustGo {
    let mut all = MustGo::new();
    for row in &MUST_GO.rows(files, faults) {
        let trip = row.one_of(faults, "trip", trips);
        let item = row.one_of(faults, "item", items);
        let units = row.number(faults, "units", 0, 1..=trip::form::MOST_UNITS);
        let (Some(trip), Some(item), Some(units)) = (trip, item, units) else {
            continue;
        };
        let lines = all.entry(trip).or_default();
        if lines.iter().any(|(other, _)| *other == item) {
            row.fault(
                faults,
                "item",
                format!("'{item}' is named twice; name it once"),
            );
        }
        lines.push((item, units));
    }
    all
}

fn rules_of_carriage(
    files: &SeedFiles,
    calendar: &Calendar,
    faults: &Faults,
) -> Vec<CarriageRules> {
    let rows = CARRIAGE.rows(files, faults);
    let known: BTreeSet<Mode> = codes(&rows, "mode", faults);
    let figures = &carriage::form::FIGURES[..];
    let rules = by_mode(&RULES, &known, figures, files, faults, carriage::form::rule);
    let apart = by_mode(&APART, &known, &[], files, faults, carriage::form::apart);
    let one = |row: &Row| {
        let mode: Option<Mode> = row.parse(faults, "mode");
        let entered_by = row.text(faults, "entered_by", 80);
        let entered_at = row.past(faults, "entered", calendar);
        let of = (&CARRIAGE.columns[1..3], &[carriage::form::LIMIT][..]);
        let said = read(row, of, Fields::new(), faults, |it| {
            let (edition, points) = (
                it.text("edition", 200),
                it.figure_if(&carriage::form::LIMIT),
            );
            Some((edition?, points?))
        });
        let (mode, (edition, points_milli)) = (mode?, said?);
        let of_mode = |all: &BTreeMap<Mode, _>| all.get(&mode).cloned().unwrap_or_default();
        let said = CarriageRules {
            mode,
            edition,
            entered_by: entered_by?,
            entered_at: entered_at?,
            points_milli,
            rules: of_mode(&rules),
            apart: apart.get(&mode).cloned().unwrap_or_default(),
        };
        match carriage::form::twice(&said.rules, &said.apart) {
            (None, None) => {}
            (Some(at), _) => {
                let what = format!("rule {} by {mode} repeats another; keep one", at + 1);
                faults.in_file(RULES.file, what);
            }
            (None, Some(at)) => {
                let what = format!("pair {} by {mode} repeats another; keep one", at + 1);
                faults.in_file(APART.file, what);
            }
        }
        Some(said)
    };
    rows.iter().filter_map(one).collect()
}

/// The rows of a sheet, each read under the mode that it names.
fn by_mode<T>(
    sheet: &Sheet,
    known: &BTreeSet<Mode>,
    figures: &[Figure],
    files: &SeedFiles,
    faults: &Faults,
    parse: fn(&mut Typed) -> Option<T>,
) -> BTreeMap<Mode, Vec<T>> {
    let mut all: BTreeMap<Mode, Vec<T>> = BTreeMap::new();
    for row in &sheet.rows(files, faults) {
        let mode = row.one_of(faults, "mode", known);
        let of = (&sheet.columns[1..], figures);
        let value = read(row, of, Fields::new(), faults, parse);
        if let (Some(mode), Some(value)) = (mode, value) {
            all.entry(mode).or_default().push(value);
        }
    }
    all
}

fn failures(
    files: &SeedFiles,
    parts: &BTreeSet<PartCode>,
    faults: &Faults,
) -> Vec<(PartCode, failure::Rate, String)> {
    let rows = FAILURES.rows(files, faults);
    codes::<PartCode>(&rows, "part", faults);
    let one = |row: &Row| {
        let part = row.one_of(faults, "part", parts);
        let said_by = row.text(faults, "said_by", 80);
        let of = (&failure::COLUMNS[1..], &failure::FIGURES[..]);
        let rate = read(row, of, Fields::new(), faults, failure::parse);
        Some((part?, rate?, said_by?))
    };
    rows.iter().filter_map(one).collect()
}
