//! Readings of one round: banks, tank, nozzle, heater, collector, compressor, furnaces.

use std::ops::RangeInclusive;

use chrono_tz::Tz;
use serde::Deserialize;
use uuid::Uuid;

use super::gauge::Gauge;
use super::queries::Gauges;
use super::scale::Scale;
use crate::form::{FieldError, FieldErrors, choice, decimal, local_time};
use crate::page::moment;

/// What was typed on a round of the gauges; what was not read stays empty. Of banks and furnaces there
/// may be several: their fields repeat, each list in the order of the page.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub struct ReadingForm {
    /// Codes of the banks.
    pub bank: Vec<String>,
    pub pressure: Vec<String>,
    pub temperature: Vec<String>,
    /// What the pressures were read on.
    pub scale: String,
    pub fuel: String,
    pub bore: String,
    pub heater: String,
    pub collector: String,
    /// Pascal or millibar.
    pub collector_unit: String,
    pub service: String,
    /// Codes of the furnaces.
    pub furnace: Vec<String>,
    pub furnace_temperature: Vec<String>,
    pub read_at: String,
}

/// The units in which a collector's drop may be entered.
pub const PASCAL: &str = "pa";
/// 100 Pa.
pub const MILLIBAR: &str = "mbar";

/// Readings to be kept, all of one time.
#[derive(Debug, PartialEq, Eq)]
pub struct Round {
    pub at_ms: i64,
    pub readings: Vec<Read>,
}

/// One reading, in the unit in which it is kept.
#[derive(Debug, PartialEq, Eq)]
pub struct Read {
    pub gauge: Gauge,
    pub of: Of,
    pub value: i64,
}

/// What was read, with the code that the journal names it by.
#[derive(Debug, PartialEq, Eq)]
pub enum Of {
    Cell,
    Bank(Uuid, String),
    Furnace(Uuid, String),
}

impl Of {
    const fn id(&self) -> Option<Uuid> {
        match self {
            Of::Cell => None,
            Of::Bank(id, _) | Of::Furnace(id, _) => Some(*id),
        }
    }
}

/// The field of one bank or furnace, as the page and its faults name it.
pub fn field_of(name: &str, code: &str) -> String {
    format!("{name}-{code}")
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
        let mut parse = Parse {
            form: self,
            gauges,
            errors: FieldErrors::default(),
            readings: Vec::new(),
        };
        parse.banks(altitude_m);
        parse.cell();
        parse.furnaces();
        let at_ms = parse.time(zone, now);
        if parse.errors.is_empty() && parse.readings.is_empty() {
            let first = gauges.banks.first();
            let field = first.map_or_else(|| "fuel".to_owned(), |b| field_of("pressure", &b.code));
            let told = "nothing was entered; enter what was read, here or below";
            parse.errors.add(&field, told);
        }
        parse.later_than_known(zone, at_ms);
        let Parse {
            errors, readings, ..
        } = parse;
        match at_ms.filter(|_| errors.is_empty()) {
            Some(at_ms) => Ok(Round { at_ms, readings }),
            None => Err(errors),
        }
    }
}

/// Readings and faults found so far.
struct Parse<'a> {
    form: &'a ReadingForm,
    gauges: &'a Gauges,
    errors: FieldErrors,
    readings: Vec<Read>,
}

/// What was typed in a place of a repeated field.
fn typed(list: &[String], place: usize) -> &str {
    list.get(place).map_or("", |typed| typed.trim())
}

impl Parse<'_> {
    fn banks(&mut self, altitude_m: i64) {
        let form = self.form;
        if form.pressure.len().max(form.temperature.len()) > form.bank.len() {
            let told = "a pressure or temperature came without its bank; open the page again";
            self.errors.add_whole(told);
        }
        for (place, code) in form.bank.iter().enumerate() {
            let (pressure, temperature) = (
                typed(&form.pressure, place),
                typed(&form.temperature, place),
            );
            if !pressure.is_empty() || !temperature.is_empty() {
                self.bank(code.trim(), pressure, temperature, altitude_m);
            }
        }
    }

    fn bank(&mut self, code: &str, pressure: &str, temperature: &str, altitude_m: i64) {
        let Some(bank) = self.gauges.banks.iter().find(|b| b.code == code) else {
            let told = format!("'{code}' is no bank here; open the page again");
            self.errors.add_whole(told);
            return;
        };
        let (id, code) = (bank.id, bank.code.clone());
        let of = || Of::Bank(id, code.clone());
        let field = field_of("pressure", &code);
        if pressure.is_empty() {
            self.first_time(Gauge::BankPressure, (id, &code), &field);
        } else if let Some(scale) = self.scale() {
            self.keep(
                Gauge::BankPressure,
                of(),
                &field,
                scale.mbar(pressure, altitude_m),
            );
        }
        let field = field_of("temperature", &code);
        if temperature.is_empty() {
            self.first_time(Gauge::BankTemperature, (id, &code), &field);
        } else {
            let value = decimal(temperature, 3, -60_000..=80_000);
            self.keep(Gauge::BankTemperature, of(), &field, value);
        }
    }

    fn scale(&mut self) -> Option<Scale> {
        let scale = choice(&self.form.scale).ok();
        if scale.is_none() {
            self.errors.add("scale", "choose what the gauge shows");
        }
        scale
    }

    /// Of a bank neither counts without the other.
    fn first_time(&mut self, gauge: Gauge, (id, code): (Uuid, &str), field: &str) {
        if self.gauges.latest(gauge, Some(id)).is_none() {
            let what = gauge.word();
            let told = format!("enter the {what} too: bank {code} has never been read");
            self.errors.add(field, told);
        }
    }

    fn cell(&mut self) {
        let form = self.form;
        let at = |typed: &str, range: RangeInclusive<i64>| decimal(typed, 3, range);
        for (gauge, field, typed, range) in [
            (Gauge::Fuel, "fuel", &form.fuel, 0..=1_000_000_000),
            (Gauge::NozzleBore, "bore", &form.bore, 500..=10_000),
            (Gauge::HeaterPower, "heater", &form.heater, 100..=1_000_000),
        ] {
            if !typed.trim().is_empty() {
                self.keep(gauge, Of::Cell, field, at(typed, range));
            }
        }
        if !form.collector.trim().is_empty() {
            self.collector();
        }
        if !form.service.trim().is_empty() {
            if self.gauges.compressor {
                // A tenth of an hour is 6 min.
                let tenths = decimal(&form.service, 1, 0..=200_000);
                let minutes = tenths.map(|tenths| tenths * 6);
                self.keep(Gauge::CompressorService, Of::Cell, "service", minutes);
            } else {
                let told = "there is no compressor on record; leave this empty";
                self.errors.add("service", told);
            }
        }
    }

    fn collector(&mut self) {
        let typed = &self.form.collector;
        let pascal = match self.form.collector_unit.as_str() {
            PASCAL => decimal(typed, 0, 0..=20_000),
            MILLIBAR => decimal(typed, 2, 0..=20_000),
            _ => {
                let told = "choose the unit that the collector’s gauge has";
                self.errors.add("collector_unit", told);
                return;
            }
        };
        self.keep(Gauge::CollectorDrop, Of::Cell, "collector", pascal);
    }

    fn furnaces(&mut self) {
        let form = self.form;
        for (place, code) in form.furnace.iter().enumerate() {
            let (code, celsius) = (code.trim(), typed(&form.furnace_temperature, place));
            if celsius.is_empty() {
                continue;
            }
            let Some(furnace) = self.gauges.furnaces.iter().find(|f| f.code == code) else {
                let told = format!("'{code}' is no furnace here; open the page again");
                self.errors.add_whole(told);
                continue;
            };
            let of = Of::Furnace(furnace.id, furnace.code.clone());
            let field = field_of("furnace", code);
            let value = decimal(celsius, 3, -60_000..=1_600_000);
            self.keep(Gauge::FurnaceTemperature, of, &field, value);
        }
    }

    fn keep(&mut self, gauge: Gauge, of: Of, field: &str, value: Result<i64, FieldError>) {
        let value = self.errors.check(field, value);
        self.readings
            .extend(value.map(|value| Read { gauge, of, value }));
    }

    /// The minute of the reading; now if nothing was typed.
    fn time(&mut self, zone: Tz, now: i64) -> Option<i64> {
        let typed = &self.form.read_at;
        if typed.trim().is_empty() {
            return Some(now);
        }
        let at = self.errors.check("read_at", local_time(typed, zone))?;
        if at > now {
            let now = moment(now, zone);
            let told = format!("that is later than now, {now}; enter when it was read");
            self.errors.add("read_at", told);
        }
        // The field knows minutes only: what was read in this minute was read now.
        Some(if now - at < 60_000 { now } else { at })
    }

    fn later_than_known(&mut self, zone: Tz, at_ms: Option<i64>) {
        let known = self
            .readings
            .iter()
            .filter_map(|read| self.gauges.latest(read.gauge, read.of.id()))
            .map(|latest| latest.at_ms)
            .max();
        if let Some(latest) = known.filter(|latest| at_ms.is_some_and(|at| at < *latest)) {
            let on_record = moment(latest, zone);
            self.errors.add(
                "read_at",
                format!("a reading of {on_record} is on record and counts; enter a later one"),
            );
        }
    }
}

#[cfg(test)]
mod tests;
