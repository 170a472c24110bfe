//! `site.toml`: the site, its cell, bottles, compressor and set; and `people.csv`.

use super::data::{SeedPerson, SeedReading};
use super::fault::Faults;
use super::files::SeedFiles;
use super::row::{Row, codes};
use super::sheet::{Sheet, Table, toml_rows};
use super::time::Calendar;
use chrono_tz::Tz;
use mendpost_core::code::BankCode;
use mendpost_core::people::Role;
use mendpost_core::situation::{Bank, Chances, Compressor, Fuel, Receiver, Site};
use std::collections::{BTreeMap, BTreeSet};

const FILE: &str = "site.toml";

const TABLES: [Table; 6] = [
    Table {
        name: "site",
        keys: &[
            "name",
            "zone",
            "altitude_m",
            "loss_word",
            "plan_days",
            "need_permille",
            "receiving_min",
        ],
        several: false,
    },
    Table {
        name: "cell",
        keys: &[
            "name",
            "free_from",
            "feeder",
            "feeder_container",
            "feeder_g",
            "warm_up_min",
            "same_powder_min",
            "default_changeover_min",
            "booth_x_mm",
            "booth_y_mm",
            "booth_z_mm",
            "max_part_kg",
            "throat_mm",
            "discharge_permille",
            "carrier_permille",
            "max_bar",
            "max_c",
            "heater_permille",
            "extraction_kw",
            "heater_kw",
            "nozzle_exit_mm",
            "nozzle_divergent_mm",
            "worn_mm",
            "collector_limit_pa",
            "heel_g",
            "fast_permille",
        ],
        several: false,
    },
    Table {
        name: "nozzle",
        keys: &["bore_mm", "read_at", "read_by"],
        several: false,
    },
    Table {
        name: "bank",
        keys: &[
            "code",
            "gas",
            "bottles",
            "bottle_l",
            "pressure_bar",
            "temperature_c",
            "read_at",
            "read_by",
            "drop_bar",
            "steady_g_per_day",
        ],
        several: true,
    },
    Table {
        name: "compressor",
        keys: &[
            "free_air_l_per_min",
            "max_bar",
            "inlet_c",
            "power_kw",
            "service_in_h",
            "receiver_l",
            "receiver_low_bar",
        ],
        several: false,
    },
    Table {
        name: "fuel",
        keys: &[
            "on_hand_l",
            "read_at",
            "read_by",
            "rated_kw",
            "ml_per_kwh",
            "idle_ml_per_h_kw",
            "camp_kw",
        ],
        several: false,
    },
];

pub(super) type Rows = BTreeMap<&'static str, Vec<Row>>;

pub(super) fn rows(files: &SeedFiles, faults: &Faults) -> Rows {
    toml_rows(FILE, &TABLES, files, faults)
}

/// The one row of a table that must be there.
pub(super) fn only<'r>(rows: &'r Rows, table: &str, faults: &Faults) -> Option<&'r Row> {
    let row = rows.get(table).and_then(|r| r.first());
    // Without any row the file itself is missing or unreadable, which is told already.
    if row.is_none() && !rows.is_empty() {
        faults.in_file(FILE, format!("the table [{table}] is missing"));
    }
    row
}

pub(super) fn zone(rows: &Rows, faults: &Faults) -> Option<Tz> {
    let row = rows.get("site")?.first()?;
    let text = row.text(faults, "zone", 64)?;
    text.parse()
        .map_err(|_| {
            let what = format!("'{text}' is no time zone; give a name as Pacific/Auckland");
            row.fault(faults, "zone", what);
        })
        .ok()
}

pub(super) fn site(rows: &Rows, zone: Option<Tz>, faults: &Faults) -> Option<Site> {
    let row = only(rows, "site", faults)?;
    let name = row.text(faults, "name", 80);
    let altitude_m = row.number(faults, "altitude_m", 0, -500..=6000);
    let loss_word = row.text(faults, "loss_word", 40);
    let plan_days = row.number(faults, "plan_days", 0, 1..=60);
    let need_permille = row.number(faults, "need_permille", 0, 500..=999);
    let receiving_min = row.number(faults, "receiving_min", 0, 0..=10_080);
    Some(Site {
        name: name?,
        zone: zone?,
        altitude_m: altitude_m?,
        loss_word: loss_word?,
        plan_days: plan_days?,
        need_permille: need_permille?,
        receiving_min: receiving_min?,
        chances: Chances::default(),
    })
}

pub(super) fn nozzle(
    rows: &Rows,
    calendar: &Calendar,
    faults: &Faults,
) -> Option<Option<SeedReading>> {
    let Some(row) = rows.get("nozzle").and_then(|r| r.first()) else {
        return Some(None);
    };
    let value = row.number(faults, "bore_mm", 3, 500..=10_000);
    let read_at = row.past(faults, "read_at", calendar);
    let read_by = row.text(faults, "read_by", 80);
    Some(Some(SeedReading {
        value: value?,
        read_at: read_at?,
        read_by: read_by?,
    }))
}

pub(super) fn banks(rows: &Rows, calendar: &Calendar, faults: &Faults) -> Vec<Bank> {
    bank_rows(rows)
        .iter()
        .filter_map(|row| bank(row, calendar, faults))
        .collect()
}

pub(super) fn bank_codes(rows: &Rows, faults: &Faults) -> BTreeSet<BankCode> {
    codes(bank_rows(rows), "code", faults)
}

fn bank_rows(rows: &Rows) -> &[Row] {
    rows.get("bank").map_or(&[], Vec::as_slice)
}

fn bank(row: &Row, calendar: &Calendar, faults: &Faults) -> Option<Bank> {
    let code = row.parse(faults, "code");
    let gas = row.parse(faults, "gas");
    let bottles = row.number(faults, "bottles", 0, 1..=1000);
    let bottle_ml = row.number(faults, "bottle_l", 3, 1..=1_000_000);
    let pressure_mbar = row.number(faults, "pressure_bar", 3, 0..=1_000_000);
    let temperature_mc = row.number(faults, "temperature_c", 3, -60_000..=80_000);
    let read_at = row.past(faults, "read_at", calendar);
    let read_by = row.text(faults, "read_by", 80);
    let drop_mbar = row.number(faults, "drop_bar", 3, 0..=50_000);
    let steady_g_per_day = row.number(faults, "steady_g_per_day", 0, 0..=1_000_000);
    Some(Bank {
        code: code?,
        gas: gas?,
        bottles: bottles?,
        bottle_ml: bottle_ml?,
        pressure_mbar: pressure_mbar?,
        temperature_mc: temperature_mc?,
        read_at: read_at?,
        read_by: read_by?,
        drop_mbar: drop_mbar?,
        steady_g_per_day: steady_g_per_day?,
    })
}

pub(super) fn compressor(rows: &Rows, faults: &Faults) -> Option<Option<Compressor>> {
    let Some(row) = rows.get("compressor").and_then(|r| r.first()) else {
        return Some(None);
    };
    let free_air_l_per_min = row.number(faults, "free_air_l_per_min", 0, 1..=1_000_000);
    let max_mbar = row.number(faults, "max_bar", 3, 1000..=1_000_000);
    let inlet_c = row.number(faults, "inlet_c", 0, -40..=60);
    let power_w = row.number(faults, "power_kw", 3, 0..=1_000_000);
    let service = row.number_optional(faults, "service_in_h", 0, 0..=100_000);
    let receiver = receiver(row, faults);
    Some(Some(Compressor {
        free_air_l_per_min: free_air_l_per_min?,
        max_mbar: max_mbar?,
        inlet_c: inlet_c?,
        power_w: power_w?,
        service_in_min: service?.map(|hours| hours * 60),
        receiver: receiver?,
    }))
}

fn receiver(row: &Row, faults: &Faults) -> Option<Option<Receiver>> {
    let volume = row.number_optional(faults, "receiver_l", 3, 1000..=100_000_000);
    let low = row.number_optional(faults, "receiver_low_bar", 3, 1000..=1_000_000);
    match (volume?, low?) {
        (Some(volume_ml), Some(low_mbar)) => Some(Some(Receiver {
            volume_ml,
            low_mbar,
        })),
        (None, None) => Some(None),
        (Some(_), None) => needs(row, faults, "receiver_low_bar", "receiver_l"),
        (None, Some(_)) => needs(row, faults, "receiver_l", "receiver_low_bar"),
    }
}

/// Notes a figure that is missing beside one that needs it.
pub(super) fn needs<T>(row: &Row, faults: &Faults, missing: &str, beside: &str) -> Option<T> {
    let what = format!("nothing is given, and '{beside}' needs it; give both or neither");
    row.fault(faults, missing, what);
    None
}

pub(super) fn fuel(rows: &Rows, calendar: &Calendar, faults: &Faults) -> Option<Fuel> {
    let row = only(rows, "fuel", faults)?;
    let on_hand_ml = row.number(faults, "on_hand_l", 3, 0..=1_000_000_000);
    let read_at = row.past(faults, "read_at", calendar);
    let read_by = row.text(faults, "read_by", 80);
    let rated_w = row.number(faults, "rated_kw", 3, 1..=10_000_000);
    let ml_per_kwh = row.number(faults, "ml_per_kwh", 0, 1..=10_000);
    let idle_ml_per_h_kw = row.number(faults, "idle_ml_per_h_kw", 0, 0..=1000);
    let camp_w = row.number(faults, "camp_kw", 3, 0..=10_000_000);
    Some(Fuel {
        on_hand_ml: on_hand_ml?,
        read_at: read_at?,
        read_by: read_by?,
        rated_w: rated_w?,
        ml_per_kwh: ml_per_kwh?,
        idle_ml_per_h_kw: idle_ml_per_h_kw?,
        camp_w: camp_w?,
    })
}

const PEOPLE: Sheet = Sheet {
    file: "people.csv",
    columns: &["name", "role"],
    optional: &[],
    may_be_missing: true,
};

pub(super) fn people(files: &SeedFiles, faults: &Faults) -> Vec<SeedPerson> {
    let mut names = BTreeSet::new();
    let mut people = Vec::new();
    for row in PEOPLE.rows(files, faults) {
        let name = row.text(faults, "name", 60);
        let role = row.parse::<Role>(faults, "role");
        let (Some(name), Some(role)) = (name, role) else {
            continue;
        };
        if !names.insert(name.to_lowercase()) {
            row.fault(faults, "name", format!("'{name}' is listed twice"));
        }
        people.push(SeedPerson { name, role });
    }
    people
}
