//! Readings of one round: bank pressure and temperature, fuel, nozzle bore.

use axum::response::Response;
use chrono_tz::Tz;
use mendpost_core::gas::isa_pressure_bar;
use mendpost_core::journal::Subject;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

use super::queries::{self, BankGauge, Gauges, NewReading};
use crate::AppState;
use crate::change::Change;
use crate::error::AppError;
use crate::form::{FieldErrors, decimal, local_time};
use crate::page::{Notice, Screen, moment};
use crate::people::Who;

/// What was typed on a round of the gauges; what was not read stays empty.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub struct ReadingForm {
    /// Code of the bank read.
    pub bank: String,
    pub pressure: String,
    /// Whether the pressure is over that of the air or absolute.
    pub scale: String,
    pub temperature: String,
    pub fuel: String,
    pub bore: String,
    pub read_at: String,
}

/// The pressure of most gauges: over that of the air.
pub const GAUGE: &str = "gauge";
/// Pressure over that of nothing.
pub const ABSOLUTE: &str = "absolute";

/// Readings to be kept, all of one time.
#[derive(Debug, PartialEq, Eq)]
pub struct Round {
    pub at_ms: i64,
    pub readings: Vec<Read>,
}

/// One reading, in the unit in which it is kept.
#[derive(Debug, PartialEq, Eq)]
pub struct Read {
    pub what: &'static str,
    pub bank: Option<(Uuid, String)>,
    pub value: i64,
}

impl ReadingForm {
    /// The readings, or every fault. A reading may not be older than the one that counts now, since it
    /// would change nothing.
    pub fn parse(
        &self,
        gauges: &Gauges,
        zone: Tz,
        altitude_m: i64,
        now: i64,
    ) -> Result<Round, FieldErrors> {
        let mut errors = FieldErrors::default();
        let mut readings = Vec::new();
        self.parse_bank(gauges, altitude_m, &mut errors, &mut readings);
        for (field, typed, what, range) in [
            ("fuel", &self.fuel, "fuel", 0..=1_000_000_000),
            ("bore", &self.bore, "nozzle-bore", 500..=10_000),
        ] {
            if !typed.trim().is_empty() {
                let value = errors.check(field, decimal(typed, 3, range));
                readings.extend(value.map(|value| Read {
                    what,
                    bank: None,
                    value,
                }));
            }
        }
        let at_ms = self.parse_time(zone, now, &mut errors);
        if errors.is_empty() && readings.is_empty() {
            errors.add(
                "pressure",
                "nothing was entered; enter what was read, here or below",
            );
        }
        let latest = readings
            .iter()
            .filter_map(|read| last_read(gauges, read))
            .max();
        if let Some(latest) = latest.filter(|latest| at_ms.is_some_and(|at| at < *latest)) {
            let on_record = moment(latest, zone);
            errors.add(
                "read_at",
                format!("a reading of {on_record} is on record and counts; enter a later one"),
            );
        }
        match at_ms.filter(|_| errors.is_empty()) {
            Some(at_ms) => Ok(Round { at_ms, readings }),
            None => Err(errors),
        }
    }

    fn parse_bank(
        &self,
        gauges: &Gauges,
        altitude_m: i64,
        errors: &mut FieldErrors,
        readings: &mut Vec<Read>,
    ) {
        let typed = [&self.pressure, &self.temperature].map(|typed| !typed.trim().is_empty());
        if typed == [false, false] {
            return;
        }
        let Some(bank) = gauges.banks.iter().find(|b| b.code == self.bank.trim()) else {
            errors.add("bank", "choose the bank that was read");
            return;
        };
        let of_bank = |what, value| Read {
            what,
            bank: Some((bank.id, bank.code.clone())),
            value,
        };
        if typed[0] {
            let value = self.pressure_mbar(altitude_m, errors);
            readings.extend(value.map(|value| of_bank("bank-pressure", value)));
        } else if bank.pressure_at.is_none() {
            errors.add("pressure", first_time(bank, "pressure"));
        }
        if typed[1] {
            let value = errors.check(
                "temperature",
                decimal(&self.temperature, 3, -60_000..=80_000),
            );
            readings.extend(value.map(|value| of_bank("bank-temperature", value)));
        } else if bank.temperature_at.is_none() {
            errors.add("temperature", first_time(bank, "temperature"));
        }
    }

    /// Absolute, in millibar.
    fn pressure_mbar(&self, altitude_m: i64, errors: &mut FieldErrors) -> Option<i64> {
        let air = match self.scale.as_str() {
            ABSOLUTE => 0,
            GAUGE => air_mbar(altitude_m),
            _ => {
                errors.add("scale", "choose what the gauge shows");
                return None;
            }
        };
        let range = (100 - air).max(0)..=400_000 - air;
        let value = errors.check("pressure", decimal(&self.pressure, 3, range))?;
        Some(value + air)
    }

    /// The minute of the reading; now if nothing was typed.
    fn parse_time(&self, zone: Tz, now: i64, errors: &mut FieldErrors) -> Option<i64> {
        if self.read_at.trim().is_empty() {
            return Some(now);
        }
        let at = errors.check("read_at", local_time(&self.read_at, zone))?;
        if at > now {
            let now = moment(now, zone);
            errors.add(
                "read_at",
                format!("that is later than now, {now}; enter when it was read"),
            );
        }
        // The field knows minutes only: what was read in this minute was read now.
        Some(if now - at < 60_000 { now } else { at })
    }
}

fn first_time(bank: &BankGauge, what: &str) -> String {
    format!(
        "enter the {what} too: bank {} has never been read",
        bank.code
    )
}

fn last_read(gauges: &Gauges, read: &Read) -> Option<i64> {
    let bank = || {
        let (id, _) = read.bank.as_ref()?;
        gauges.banks.iter().find(|b| b.id == *id)
    };
    match read.what {
        "bank-pressure" => bank()?.pressure_at,
        "bank-temperature" => bank()?.temperature_at,
        "fuel" => gauges.fuel.as_ref().map(|l| l.at_ms),
        _ => gauges.bore.as_ref().map(|l| l.at_ms),
    }
}

/// What a gauge reads less than the absolute pressure, in millibar: the standard air of the altitude.
#[expect(
    clippy::cast_precision_loss,
    clippy::cast_possible_truncation,
    reason = "about a thousand millibar"
)]
pub fn air_mbar(altitude_m: i64) -> i64 {
    isa_pressure_bar(altitude_m as f64).map_or(1013, |air| (air.get() * 1000.0).round() as i64)
}

#[derive(Serialize)]
struct Entered<'a> {
    what: &'a str,
    bank: Option<&'a str>,
    value: i64,
    read_at: i64,
    read_by: &'a str,
}

/// Keeps the readings of a round, and leads to where they count.
pub async fn enter(state: &AppState, who: &Who, round: &Round) -> Result<Response, AppError> {
    let mut change = Change::begin(state, who).await?;
    let mut last = 0;
    for read in &round.readings {
        let id = Uuid::now_v7();
        let new = NewReading {
            id,
            what: read.what,
            bank: read.bank.as_ref().map(|(id, _)| *id),
            value: read.value,
            at_ms: round.at_ms,
            by: &who.name,
        };
        queries::insert(change.connection(), &new).await?;
        let entered = Entered {
            what: read.what,
            bank: read.bank.as_ref().map(|(_, code)| code.as_str()),
            value: read.value,
            read_at: round.at_ms,
            read_by: &who.name,
        };
        let subject = Subject::new("reading", id);
        last = change.journal("reading.entered", subject, entered).await?;
    }
    let what = match round.readings.len() {
        1 => "One reading",
        _ => "All readings",
    };
    let text = format!("{what} entered, journal {last}. Plan again to count with them.");
    let notice = Notice::done("SAVED", text);
    change.finish(who, Screen::Cell.path(), notice).await
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cell::queries::Latest;

    const NOW: i64 = 1_795_581_600_000;

    fn gauges() -> Gauges {
        Gauges {
            banks: vec![BankGauge {
                id: Uuid::from_u128(1),
                code: "N1".to_owned(),
                gas: "nitrogen".to_owned(),
                fullest_mbar: 0,
                pressure_at: Some(NOW - 3_600_000),
                temperature_at: None,
            }],
            fuel: Some(Latest {
                at_ms: NOW - 60_000,
                by: "x".to_owned(),
            }),
            fullest_ml: 0,
            bore: None,
            machined_um: 2_000,
        }
    }

    fn typed(fields: &[(&str, &str)]) -> ReadingForm {
        let of = |name: &str| {
            let field = fields.iter().find(|(field, _)| *field == name);
            field.map_or_else(String::new, |(_, typed)| (*typed).to_owned())
        };
        ReadingForm {
            bank: of("bank"),
            pressure: of("pressure"),
            scale: of("scale"),
            temperature: of("temperature"),
            fuel: of("fuel"),
            bore: of("bore"),
            read_at: of("read_at"),
        }
    }

    fn fault(fields: &[(&str, &str)], field: &str) -> String {
        let errors = typed(fields)
            .parse(&gauges(), Tz::UTC, 0, NOW)
            .expect_err("a fault");
        errors.of(field).to_owned()
    }

    /// At sea level the air is 1.013 bar (ISO 2533): 68.5 bar on the gauge are 69.513 absolute.
    #[test]
    fn a_gauge_is_corrected_for_the_air() {
        let form = typed(&[
            ("bank", "N1"),
            ("pressure", "68,5"),
            ("scale", GAUGE),
            ("temperature", "-4.5"),
            ("fuel", "410"),
            ("bore", "2.05"),
        ]);
        let round = form.parse(&gauges(), Tz::UTC, 0, NOW).expect("readings");
        let values: Vec<_> = round.readings.iter().map(|r| (r.what, r.value)).collect();
        assert_eq!(
            values,
            [
                ("bank-pressure", 69_513),
                ("bank-temperature", -4_500),
                ("fuel", 410_000),
                ("nozzle-bore", 2_050)
            ]
        );
        assert_eq!(round.at_ms, NOW);
    }

    #[test]
    fn each_fault_stands_at_its_field() {
        let pressure = &[("bank", "N1"), ("scale", GAUGE), ("temperature", "20")];
        let with = |typed| [pressure.as_slice(), &[("pressure", typed)]].concat();
        assert!(fault(&with("400"), "pressure").contains("out of range"));
        assert!(fault(&with("full"), "pressure").contains("not a number"));
        assert!(fault(&[("temperature", "20")], "bank").contains("choose"));
        assert!(
            fault(&[("bank", "N1"), ("pressure", "5"), ("scale", "")], "scale").contains("choose")
        );
        assert!(
            fault(
                &[("bank", "N1"), ("pressure", "5"), ("scale", GAUGE)],
                "temperature"
            )
            .contains("never been read")
        );
        assert!(fault(&[("bore", "0.4")], "bore").contains("out of range"));
        assert!(fault(&[("fuel", "-1")], "fuel").contains("out of range"));
        assert!(fault(&[], "pressure").contains("nothing was entered"));
    }

    /// Now is 2026-11-25 04:40 UTC; the tank was read a minute before.
    #[test]
    fn a_reading_is_neither_of_the_future_nor_older_than_what_counts() {
        let at = |time| fault(&[("fuel", "400"), ("read_at", time)], "read_at");
        assert!(at("2026-11-25T04:41").contains("later than now"));
        assert!(at("2026-11-25T04:00").contains("on record"));
        assert!(at("yesterday").contains("not a date"));
        let same = typed(&[("fuel", "400"), ("read_at", "2026-11-25T04:40")]);
        assert!(same.parse(&gauges(), Tz::UTC, 0, NOW).is_ok());
    }
}
