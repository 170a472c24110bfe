//! What is said of a trip, as a page asks for it and rows of two sheets have it.

use std::collections::BTreeSet;

use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use mendpost_core::code::{DeliveryCode, ItemCode};
use mendpost_core::resupply::{Mode, Trip};

use crate::figures::Figure;
use crate::form::section::Fields;
use crate::form::{FieldError, integer};
use crate::page::act::Field;
use crate::page::field_time;
use crate::resupply::form::{Group, Shown, Typed, figure, typed, yes_or_no};

/// The columns of a sheet of trips; the page has them as fields, and `must_go`.
pub const COLUMNS: [&str; 14] = [
    "code",
    "name",
    "mode",
    "payload_kg",
    "reserve_percent",
    "volume_l",
    "longest_mm",
    "heaviest_kg",
    "dangerous",
    "earliest",
    "usual",
    "latest",
    "closes",
    "takes_back",
];

const PAYLOAD: Figure = figure(
    "payload_kg",
    "Payload",
    "kg",
    "cargo for the site, gross, whole kilograms",
    (0, 1, 1_000_000),
);
const RESERVE: Figure = figure(
    "reserve_percent",
    "Of it stay free",
    "%",
    "for what turns up at the last moment",
    (1, 0, 900),
);
const VOLUME: Figure = figure("volume_l", "Room for cargo", "l", "", (3, 1, 1_000_000_000));
const LONGEST: Figure = figure("longest_mm", "Longest piece", "mm", "", (0, 1, 20_000));
const HEAVIEST: Figure = figure(
    "heaviest_kg",
    "Heaviest piece",
    "kg",
    "gross, that can be put in, and taken out here",
    (3, 1, 20_000_000),
);

/// All that are figures.
pub const FIGURES: [Figure; 5] = [PAYLOAD, RESERVE, VOLUME, LONGEST, HEAVIEST];

/// All that are times.
pub const TIMES: [&str; 4] = ["earliest", "usual", "latest", "closes"];

/// The most units of one item that must go.
pub const MOST_UNITS: i64 = 10_000;

/// What is said of the trip of this code, without what must go.
pub fn parse(code: DeliveryCode, it: &mut Typed, zone: Tz) -> Option<Trip> {
    let vehicle = vehicle(code, it, DateTime::UNIX_EPOCH);
    let [earliest, usual, latest, closes] = TIMES.map(|name| it.time(name, zone));
    let takes_back = it.text_or_empty("takes_back", 400);
    for (name, first, then, fault) in [
        ("usual", earliest, usual, "before the earliest"),
        ("latest", usual, latest, "before the usual"),
        ("closes", closes, earliest, "after the earliest arrival"),
    ] {
        if first.zip(then).is_some_and(|(first, then)| then < first) {
            it.fault(name, format!("that is {fault}; give them in their order"));
            return None;
        }
    }
    Some(Trip {
        earliest: earliest?,
        usual: usual?,
        latest: latest?,
        closes: closes?,
        takes_back: takes_back?,
        ..vehicle?
    })
}

/// What a vehicle may carry, as a trip that comes at this moment.
pub fn vehicle(code: DeliveryCode, it: &mut Typed, moment: DateTime<Utc>) -> Option<Trip> {
    let name = it.text("name", 80);
    let mode = it.word("mode");
    let [payload, reserve, volume, longest, heaviest] = FIGURES.map(|of| it.figure(&of));
    let dangerous = it.yes("dangerous");
    Some(Trip {
        code,
        name: name?,
        mode: mode?,
        payload_g: payload? * 1000,
        reserve_permille: reserve?,
        volume_ml: volume?,
        longest_mm: longest?,
        heaviest_g: heaviest?,
        dangerous: dangerous?,
        earliest: moment,
        usual: moment,
        latest: moment,
        closes: moment,
        takes_back: String::new(),
        must_go: Vec::new(),
    })
}

/// What must go, as the page has it: a line for each, the stock number and how many.
pub fn must_go(it: &mut Typed, known: &BTreeSet<ItemCode>) -> Option<Vec<(ItemCode, i64)>> {
    let typed = it.section.typed("must_go");
    let mut lines: Vec<(ItemCode, i64)> = Vec::new();
    for line in typed.lines().map(str::trim).filter(|line| !line.is_empty()) {
        match must_go_line(line, known) {
            Ok((code, _)) if lines.iter().any(|(other, _)| *other == code) => {
                it.fault("must_go", format!("'{code}' is named twice; name it once"));
                return None;
            }
            Ok(named) => lines.push(named),
            Err(fault) => {
                it.fault("must_go", fault);
                return None;
            }
        }
    }
    Some(lines)
}

fn must_go_line(line: &str, known: &BTreeSet<ItemCode>) -> Result<(ItemCode, i64), String> {
    let shown: String = line.chars().take(80).collect();
    let no_line = || format!("'{shown}' is no line; write a stock number, a blank and how many");
    let (code, units) = line.split_once(char::is_whitespace).ok_or_else(no_line)?;
    let units = integer(units, 1..=MOST_UNITS).map_err(|fault: FieldError| fault.to_string())?;
    let code: ItemCode = code.parse().map_err(|_| no_line())?;
    match known.contains(&code) {
        true => Ok((code, units)),
        false => Err(format!(
            "'{code}' is no item that is sent for; list it first"
        )),
    }
}

/// What stands, as it would be typed.
pub fn fields(trip: &Trip, zone: Tz) -> Fields {
    let time = |at: DateTime<Utc>| field_time(at.timestamp_millis(), zone);
    let lines: Vec<String> = trip
        .must_go
        .iter()
        .map(|(code, units)| format!("{code} {units}"))
        .collect();
    let texts = [
        ("earliest", time(trip.earliest)),
        ("usual", time(trip.usual)),
        ("latest", time(trip.latest)),
        ("closes", time(trip.closes)),
        ("takes_back", trip.takes_back.clone()),
        ("must_go", lines.join("\n")),
    ];
    let texts = texts.map(|(name, value)| (name.to_owned(), value));
    vehicle_fields(trip).into_iter().chain(texts).collect()
}

/// The same of what its vehicle may carry.
pub fn vehicle_fields(trip: &Trip) -> Fields {
    let texts = [
        ("name", trip.name.clone()),
        ("mode", trip.mode.to_string()),
        ("dangerous", yes_or_no(trip.dangerous).to_owned()),
    ];
    let figures = [
        typed(&PAYLOAD, trip.payload_g / 1000),
        typed(&RESERVE, trip.reserve_permille),
        typed(&VOLUME, trip.volume_ml),
        typed(&LONGEST, trip.longest_mm),
        typed(&HEAVIEST, trip.heaviest_g),
    ];
    let texts = texts.map(|(name, value)| (name.to_owned(), value));
    texts.into_iter().chain(figures).collect()
}

/// The fields of the page; the code is asked for once.
pub fn groups(fields: &Fields, is_new: bool) -> Vec<Group> {
    let it = Shown(fields);
    let mut named = named(&it);
    if is_new {
        named.insert(0, it.text("code", "Code", "short: BOAT-8"));
    }
    vec![
        Group {
            heading: "",
            words: "",
            fields: named,
        },
        Group {
            heading: "What it may carry",
            words: "For the site, besides what it carries anyway.",
            fields: carried(&it),
        },
        Group {
            heading: "When",
            words: "In the site’s time. The line-up counts with the usual arrival.",
            fields: vec![
                it.time("closes", "Its list closes", ""),
                it.time("earliest", "Arrives at the earliest", ""),
                it.time("usual", "Usually", ""),
                it.time("latest", "At the latest", ""),
            ],
        },
        Group {
            heading: "Besides",
            words: "",
            fields: vec![
                it.text("takes_back", "Takes back", "empty bottles, worn parts; may be empty"),
                it.area(
                    "must_go",
                    "Must go",
                    "a line for each: the stock number, a blank, how many; the first is the dearest",
                ),
            ],
        },
    ]
}

/// What a vehicle is, and what it may carry.
pub fn vehicle_form(fields: &Fields) -> Vec<Field> {
    let it = Shown(fields);
    named(&it).into_iter().chain(carried(&it)).collect()
}

fn named(it: &Shown) -> Vec<Field> {
    let modes = Mode::ALL
        .iter()
        .map(|mode| (mode.to_string(), mode.to_string()));
    vec![
        it.text("name", "Name", "what comes: supply boat"),
        it.choose("mode", "By", modes.collect(), ""),
    ]
}

fn carried(it: &Shown) -> Vec<Field> {
    let dangerous = it.yes(
        "dangerous",
        "Takes dangerous goods",
        "as far as the rules let it; the master or pilot decides",
    );
    let figures = FIGURES.iter().map(|of| it.figure(of));
    figures.chain([dangerous]).collect()
}
