//! The cell, the stations, when they are closed, and who is on duty.

use super::data::{SeedFeeder, SeedLot};
use super::fault::Faults;
use super::files::SeedFiles;
use super::row::{Row, codes};
use super::sheet::Sheet;
use super::site::{Rows, only};
use super::time::{Calendar, time_of_day};
use crate::cell::figures::{COUNT, FIGURES, contradictions};
use crate::figures::Values;
use chrono::{DateTime, TimeDelta, Utc, Weekday};
use chrono_tz::Tz;
use mendpost_core::code::{PowderCode, StationCode};
use mendpost_core::quantity::Milligrams;
use mendpost_core::situation::{Cell, Closed, Divergent, DutyHours, Station, duty_shifts};
use std::collections::{BTreeMap, BTreeSet};

/// More than any feeder holds: 100 kg.
const MOST_IN_FEEDER_MG: i64 = 100_000_000;

const STATIONS: Sheet = Sheet {
    file: "stations.csv",
    columns: &["code", "name", "slots", "power_kw"],
    optional: &["batch"],
    may_be_missing: false,
};

const CLOSURES: Sheet = Sheet {
    file: "closures.csv",
    columns: &["station", "from", "to", "slots", "reason"],
    optional: &[],
    may_be_missing: true,
};

const CHANGEOVERS: Sheet = Sheet {
    file: "changeovers.csv",
    columns: &["from", "to", "minutes"],
    optional: &[],
    may_be_missing: true,
};

const DUTY_HOURS: Sheet = Sheet {
    file: "duty_hours.csv",
    columns: &["days", "from", "to", "crew"],
    optional: &["sprayers", "machinists"],
    may_be_missing: false,
};

pub(super) struct Sheets {
    stations: Vec<Row>,
    closures: Vec<Row>,
    changeovers: Vec<Row>,
    duty: Vec<Row>,
}

impl Sheets {
    pub(super) fn new(files: &SeedFiles, faults: &Faults) -> Self {
        Self {
            stations: STATIONS.rows(files, faults),
            closures: CLOSURES.rows(files, faults),
            changeovers: CHANGEOVERS.rows(files, faults),
            duty: DUTY_HOURS.rows(files, faults),
        }
    }

    pub(super) fn codes(&self, faults: &Faults) -> BTreeSet<StationCode> {
        codes(&self.stations, "code", faults)
    }

    pub(super) fn stations(&self, calendar: &Calendar, faults: &Faults) -> Vec<Station> {
        let stations: Vec<Station> = self
            .stations
            .iter()
            .filter_map(|row| station(row, faults))
            .collect();
        let slots: BTreeMap<StationCode, i64> =
            stations.iter().map(|s| (s.code.clone(), s.slots)).collect();
        for row in &self.closures {
            self.check_closure(row, &slots, faults);
        }
        stations
            .into_iter()
            .map(|station| Station {
                closed: self.closed(Some(&station.code), calendar, faults),
                ..station
            })
            .collect()
    }

    fn check_closure(&self, row: &Row, slots: &BTreeMap<StationCode, i64>, faults: &Faults) {
        let known = slots.keys().cloned().collect();
        let station = row.one_of_optional::<StationCode>(faults, "station", &known);
        let most = match station {
            Some(Some(code)) => slots.get(&code).copied().unwrap_or(1),
            _ => 1,
        };
        row.number(faults, "slots", 0, 1..=most);
    }

    /// The closures of a station, or of the cell.
    fn closed(
        &self,
        station: Option<&StationCode>,
        calendar: &Calendar,
        faults: &Faults,
    ) -> Vec<Closed> {
        self.closures
            .iter()
            .filter(|row| row.given("station") == station.map(StationCode::as_str))
            .filter_map(|row| closed(row, calendar, faults))
            .collect()
    }

    pub(super) fn duty(&self, zone: Tz, now: DateTime<Utc>, faults: &Faults) -> Vec<DutyHours> {
        let hours: Vec<DutyHours> = self
            .duty
            .iter()
            .filter_map(|row| duty_hours(row, faults))
            .collect();
        // Ten days hold every weekday with its neighbours.
        if let Err(error) = duty_shifts(&hours, zone, now, now + TimeDelta::days(10)) {
            faults.in_file(DUTY_HOURS.file, error);
        }
        hours
    }

    /// What lies in the feeder, if somebody knows, of one of these lots.
    pub(super) fn feeder(
        &self,
        rows: &Rows,
        lots: &[SeedLot],
        faults: &Faults,
    ) -> Option<SeedFeeder> {
        let row = only(rows, "cell", faults)?;
        let (name, powder) = (row.given("feeder_container")?, row.given("feeder"));
        let mass = row.number(faults, "feeder_g", 3, 1..=MOST_IN_FEEDER_MG)?;
        let mut containers = lots
            .iter()
            .flat_map(|of| of.containers.iter().map(move |it| (of, it)));
        let fault = match containers.find(|(_, it)| it.code.as_str() == name) {
            None => format!("'{name}' is no container of containers.csv"),
            Some((lot, _)) if Some(lot.lot.powder.as_str()) != powder => format!(
                "'{name}' holds {}, and 'feeder' names another powder",
                lot.lot.powder
            ),
            Some((_, container)) if container.used.0 < mass => {
                format!("more is in the feeder than 'used_g' of '{name}' says was taken from it")
            }
            Some((_, container)) => {
                return Some(SeedFeeder {
                    container: container.code.clone(),
                    mass: Milligrams(mass),
                });
            }
        };
        row.fault(faults, "feeder_container", fault);
        None
    }

    pub(super) fn cell(
        &self,
        rows: &Rows,
        powders: &BTreeSet<PowderCode>,
        calendar: &Calendar,
        faults: &Faults,
    ) -> Option<Cell> {
        let closed = self.closed(None, calendar, faults);
        let changeover_min = self.changeovers(powders, faults);
        let row = only(rows, "cell", faults)?;
        let name = row.text(faults, "name", 80);
        let free_from = row.moment_optional(faults, "free_from", calendar);
        let feeder = row.one_of_optional(faults, "feeder", powders);
        let minutes = |column, most| row.number(faults, column, 0, 0..=most);
        let warm_up_min = minutes("warm_up_min", 600);
        let same_powder_min = minutes("same_powder_min", 600);
        let default_changeover_min = minutes("default_changeover_min", 1440);
        let figures = figures(row, faults);
        let discharge_permille = row.number(faults, "discharge_permille", 0, 500..=1000);
        let carrier_permille = row.number(faults, "carrier_permille", 0, 0..=500);
        let heater_permille = row.number(faults, "heater_permille", 0, 100..=1000);
        let extraction_w = row.number(faults, "extraction_kw", 3, 0..=1_000_000);
        let fast_permille = row.number_optional(faults, "fast_permille", 0, 0..=1000);
        let [
            throat,
            worn_um,
            exit,
            length,
            mbar,
            c,
            heater_w,
            x,
            y,
            z,
            heaviest,
            heel,
            collector,
        ] = figures?;
        Some(Cell {
            name: name?,
            free_from: free_from?,
            feeder: feeder?,
            feeder_g: None,
            warm_up_min: warm_up_min?,
            same_powder_min: same_powder_min?,
            default_changeover_min: default_changeover_min?,
            changeover_min,
            booth_mm: [x?, y?, z?],
            max_part_g: heaviest?,
            throat_um: throat?,
            discharge_permille: discharge_permille?,
            carrier_permille: carrier_permille?,
            max_mbar: mbar?,
            max_c: c?,
            heater_permille: heater_permille?,
            extraction_w: extraction_w?,
            heater_w,
            divergent: exit
                .zip(length)
                .map(|(exit_um, length_um)| Divergent { exit_um, length_um }),
            worn_um,
            collector_limit_pa: collector,
            heel_g: heel.unwrap_or(0),
            fast_permille: fast_permille?.unwrap_or(HALFWAY),
            closed,
        })
    }

    fn changeovers(
        &self,
        powders: &BTreeSet<PowderCode>,
        faults: &Faults,
    ) -> BTreeMap<(PowderCode, PowderCode), i64> {
        let mut minutes = BTreeMap::new();
        for row in &self.changeovers {
            let from = row.one_of(faults, "from", powders);
            let to = row.one_of(faults, "to", powders);
            let given = row.number(faults, "minutes", 0, 0..=1440);
            let (Some(from), Some(to), Some(given)) = (from, to, given) else {
                continue;
            };
            if from == to {
                row.fault_of_row(
                    faults,
                    "from and to are one powder; that is same_powder_min of site.toml",
                );
            } else if minutes.insert((from, to), given).is_some() {
                row.fault_of_row(faults, "this pair is listed twice");
            }
        }
        minutes
    }
}

/// Bottles are drawn halfway between slow and fast unless the site says otherwise: an assumption
/// without a source.
const HALFWAY: i64 = 500;

/// What the cell is, by the ranges of its form.
fn figures(row: &Row, faults: &Faults) -> Option<Values<COUNT>> {
    let read = FIGURES.each_ref().map(|figure| {
        let (name, places, range) = (figure.name, figure.places, figure.range());
        match figure.needed {
            true => row.number(faults, name, places, range).map(Some),
            false => row.number_optional(faults, name, places, range),
        }
    });
    let mut values = [None; COUNT];
    for (value, read) in values.iter_mut().zip(read) {
        *value = read?;
    }
    let contradictions = contradictions(&values);
    for (name, fault) in &contradictions {
        row.fault(faults, name, fault);
    }
    contradictions.is_empty().then_some(values)
}

fn station(row: &Row, faults: &Faults) -> Option<Station> {
    let code = row.parse(faults, "code");
    let name = row.text(faults, "name", 80);
    let slots = row.number(faults, "slots", 0, 1..=99);
    let power_w = row.number(faults, "power_kw", 3, 0..=1_000_000);
    let batch = match row.given("batch") {
        Some(_) => row.yes_or_no(faults, "batch"),
        None => Some(false),
    };
    Some(Station {
        code: code?,
        name: name?,
        slots: slots?,
        batch: batch?,
        power_w: power_w?,
        closed: Vec::new(),
    })
}

fn closed(row: &Row, calendar: &Calendar, faults: &Faults) -> Option<Closed> {
    let from = row.moment(faults, "from", calendar);
    let to = row.moment(faults, "to", calendar);
    let reason = row.text(faults, "reason", 200);
    // How many there are is checked where the station is known.
    let slots = row.given("slots")?.parse().ok()?;
    let (from, to) = (from?, to?);
    if to <= from {
        row.fault(faults, "to", "not after 'from'");
        return None;
    }
    Some(Closed {
        from,
        to,
        slots,
        reason: reason?,
    })
}

fn duty_hours(row: &Row, faults: &Faults) -> Option<DutyHours> {
    let days = days(row, faults);
    let time = |column| {
        let text = row.text(faults, column, 5)?;
        let time = time_of_day(&text);
        if time.is_none() {
            let what = format!("'{text}' is no time of day; write it as 06:00");
            row.fault(faults, column, what);
        }
        time
    };
    let from = time("from");
    let to = time("to");
    let crew = row.number(faults, "crew", 0, 1..=20);
    let able = |column| row.number_optional(faults, column, 0, 0..=crew.unwrap_or(20));
    let sprayers = able("sprayers");
    let machinists = able("machinists");
    Some(DutyHours {
        days: days?,
        from: from?,
        to: to?,
        crew: crew?,
        sprayers: sprayers?,
        machinists: machinists?,
    })
}

/// Weekdays by their first three letters, or `every-day`.
fn days(row: &Row, faults: &Faults) -> Option<Vec<Weekday>> {
    const WEEK: [(&str, Weekday); 7] = [
        ("mon", Weekday::Mon),
        ("tue", Weekday::Tue),
        ("wed", Weekday::Wed),
        ("thu", Weekday::Thu),
        ("fri", Weekday::Fri),
        ("sat", Weekday::Sat),
        ("sun", Weekday::Sun),
    ];
    let text = row.text(faults, "days", 40)?;
    if text == "every-day" {
        return Some(WEEK.map(|(_, day)| day).to_vec());
    }
    let day = |word: &str| {
        let found = WEEK.iter().find(|(name, _)| *name == word);
        if found.is_none() {
            let what = format!(
                "'{word}' is no day; give every-day or some of mon tue wed thu fri sat sun"
            );
            row.fault(faults, "days", what);
        }
        found.map(|(_, day)| *day)
    };
    text.split_whitespace().map(day).collect()
}
