//! The words for what core returns: gates, what opens them, readiness, changes.
//!
//! Core speaks in values; here, and nowhere else, they become sentences of the trade.

mod assume;
pub mod authority;
pub mod build;
pub mod catalogue;
pub mod certificate;
pub mod draw;
mod earlier;
pub mod efficiency;
pub mod flight;
mod gate;
pub mod keep_back;
pub mod powder;
pub mod recipe;
pub mod work;

pub use authority::who_word;
use std::collections::BTreeSet;

use chrono::{DateTime, Utc};
use mendpost_core::code::{BankCode, PartCode};
use mendpost_core::lineup::{Change, GasSource, Readiness, StageNeed};
use mendpost_core::situation::Situation;

use crate::page::{clock, hour, minutes, moment, weekday, whole};

/// Names come from the situation, times are in its site's clock.
#[derive(Clone, Copy)]
pub struct Words<'a> {
    situation: &'a Situation,
}

impl<'a> Words<'a> {
    pub const fn new(situation: &'a Situation) -> Self {
        Words { situation }
    }

    /// A part's name; empty where it is not listed.
    pub fn part_name(&self, code: &PartCode) -> &'a str {
        self.situation
            .part(code)
            .map_or("", |part| part.name.as_str())
    }

    /// The site's word for what it loses.
    pub fn loss_word(&self) -> &'a str {
        &self.situation.site.loss_word
    }

    /// Whether work could start now: the mark, its word, and what it waits for.
    pub fn readiness(&self, readiness: &Readiness) -> (&'static str, String) {
        match readiness {
            Readiness::Ready => ("ready", String::new()),
            Readiness::WaitsForPart(at) => {
                ("waits", format!("for the broken part, {}", self.clock(*at)))
            }
            Readiness::WaitsForYes(at) => ("waits", format!("for the yes, {}", self.when(*at))),
            Readiness::WaitsForTruePart(at) => {
                ("waits", format!("for the true part, {}", self.clock(*at)))
            }
            Readiness::WaitsForDelivery(code) => {
                let delivery = self.situation.deliveries.iter().find(|d| d.code == *code);
                let name = delivery.map_or(code.as_str(), |d| d.name.as_str());
                let when = delivery
                    .map(|d| format!(", {}", self.clock(d.expected)))
                    .unwrap_or_default();
                ("waits", format!("for the {name}{when}"))
            }
        }
    }

    /// What a new line-up does otherwise than the accepted one: asset, part, what changes.
    pub fn change(&self, change: &Change) -> (String, String) {
        let (request, what) = match change {
            Change::In { request, place } => (request, format!("is new, place {place}")),
            Change::Out { request } => (request, "is no longer planned".to_owned()),
            Change::OtherWay { request } => (request, "is served another way".to_owned()),
            Change::Moved {
                request,
                from,
                to,
                was_place,
                place,
            } => {
                let word = if to < from { "earlier" } else { "later" };
                let (from, to) = (self.clock(*from), self.clock(*to));
                let mut what = format!("starts {word}: {to}, was {from}");
                if place != was_place {
                    what.push_str(&format!("; place {place}, was {was_place}"));
                }
                (request, what)
            }
            Change::OtherLots { request, from, to } => {
                let named = |lots: &BTreeSet<String>| match lots.len() {
                    0 => "no lot".to_owned(),
                    _ => lots.iter().cloned().collect::<Vec<_>>().join(" and "),
                };
                let what = format!("draws from {}, was {}", named(to), named(from));
                (request, what)
            }
        };
        (self.request(request.as_str()), what)
    }

    /// 'Feed pump 2 impeller (R41)'.
    pub fn request(&self, code: &str) -> String {
        let request = self
            .situation
            .requests
            .iter()
            .find(|r| r.code.as_str() == code);
        request.map_or_else(
            || code.to_owned(),
            |r| format!("{} {} ({code})", self.asset(r.asset.as_str()), r.part_name),
        )
    }

    /// 'Feed pump 2', with its capital.
    pub fn asset(&self, code: &str) -> String {
        let asset = self
            .situation
            .assets
            .iter()
            .find(|a| a.code.as_str() == code);
        asset.map_or_else(|| code.to_owned(), |a| work::sentence(&a.name))
    }

    pub fn powder(&self, code: &str) -> String {
        self.situation
            .powders
            .iter()
            .find(|p| p.code.as_str() == code)
            .map_or_else(|| code.to_owned(), |p| p.name.clone())
    }

    pub fn station(&self, code: &str) -> String {
        let station = self
            .situation
            .stations
            .iter()
            .find(|s| s.code.as_str() == code);
        station.map_or_else(|| code.to_owned(), |s| s.name.to_lowercase())
    }

    /// A plate or a fixture by its name.
    pub fn kit(&self, code: &str) -> String {
        let kit = self.situation.kit.iter().find(|k| k.code.as_str() == code);
        kit.map_or_else(|| code.to_owned(), |kit| kit.name.clone())
    }

    /// 'Wed 25 14:40' in the site's clock.
    pub fn clock(&self, at: DateTime<Utc>) -> String {
        self.clock_ms(at.timestamp_millis())
    }

    /// 'Wed 14:40' within six days, else '16 Dec 14:40'.
    pub fn clock_day(&self, at: DateTime<Utc>) -> String {
        if (at - self.situation.now).num_days().abs() < 6 {
            return self.clock(at);
        }
        let local = at.with_timezone(&self.situation.site.zone);
        local.format("%-d %b %H:%M").to_string()
    }

    /// 'Wed 25'.
    pub fn weekday(&self, at: DateTime<Utc>) -> String {
        weekday(at.timestamp_millis(), self.situation.site.zone)
    }

    /// '14:40'.
    pub fn hour(&self, at: DateTime<Utc>) -> String {
        hour(at.timestamp_millis(), self.situation.site.zone)
    }

    /// '25 Nov 2026 14:40'.
    pub fn moment(&self, at: DateTime<Utc>) -> String {
        moment(at.timestamp_millis(), self.situation.site.zone)
    }

    /// The same as a clock of milliseconds since 1970.
    pub fn clock_ms(&self, unix_ms: i64) -> String {
        clock(unix_ms, self.situation.site.zone)
    }

    /// 'bank N1'; for bottles that are not here yet, 'the bottles of BOAT-7'.
    pub fn bank(&self, bank: &BankCode) -> String {
        let stands = self.situation.banks.iter().any(|b| b.code == *bank);
        match bank.as_str().rsplit_once('/') {
            Some((delivery, _)) if !stands => format!("the bottles of {delivery}"),
            _ => format!("bank {bank}"),
        }
    }

    /// Gas that a stage takes, and where from: '12.4 kg from bank A', or 'compressor, 2 h 10 min'.
    pub fn gas(&self, need: &StageNeed) -> String {
        match &need.source {
            GasSource::Bank(bank) => {
                format!("{} from {}", kilograms(need.gas_g), self.bank(bank))
            }
            GasSource::Compressor => format!("compressor, {}", minutes(need.gas_min)),
        }
    }
}

/// '900 x 200 x 200 mm'.
pub fn size(mm: [i64; 3]) -> String {
    format!("{} x {} x {} mm", whole(mm[0]), whole(mm[1]), whole(mm[2]))
}

/// Absolute pressure, as '31 bar'.
pub fn bar(mbar: i64) -> String {
    tenths(mbar, 1000, "bar")
}

/// Grams in kilograms, as '11.2 kg'.
pub fn kilograms(grams: i64) -> String {
    tenths(grams, 1000, "kg")
}

/// Watts in kilowatts, as '38.5 kW'.
pub fn kilowatts(watts: i64) -> String {
    tenths(watts, 1000, "kW")
}

/// Millilitres in litres, as '410 L'.
pub fn litres(ml: i64) -> String {
    format!("{} L", whole((ml + 500).div_euclid(1000)))
}

fn tenths(value: i64, unit: i64, word: &str) -> String {
    format!("{} {word}", tenths_of(value, unit))
}

/// A value in a larger unit with one decimal, without one if it is whole.
pub(crate) fn tenths_of(value: i64, unit: i64) -> String {
    let tenths = (value * 10 + unit / 2).div_euclid(unit);
    if tenths % 10 == 0 {
        whole(tenths / 10)
    } else {
        format!("{}.{}", whole(tenths / 10), tenths.rem_euclid(10))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_are_shown_to_the_tenth_and_no_finer() {
        assert_eq!(bar(31_000), "31 bar");
        assert_eq!(bar(54_960), "55 bar"); // 54.96 is 55.0 to the tenth
        assert_eq!(kilograms(11_240), "11.2 kg");
        assert_eq!(litres(410_499), "410 L");
    }
}
