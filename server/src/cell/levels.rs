//! What bottles, tank, nozzle and compressor show, each with its age and who read it.

use mendpost_core::lineup::camp_fuel_minutes;
use mendpost_core::situation::Situation;

use super::queries::{BankGauge, Gauges};
use crate::page::{Layout, minutes, whole};
use crate::words::work::sentence;
use crate::words::{bar, kilowatts, litres};

/// One level.
pub struct Level {
    pub name: String,
    pub value: String,
    /// Full passes of six, and the share of the next one in per cent; none without a measure of full.
    pub stack: Option<(usize, usize)>,
    pub foot: String,
    /// Age and author.
    pub read: String,
}

pub fn levels(page: &Layout, situation: &Situation, gauges: &Gauges) -> Vec<Level> {
    let banks = gauges
        .banks
        .iter()
        .map(|gauge| bank(page, situation, gauge));
    let rest = [
        Some(fuel(page, situation, gauges)),
        Some(nozzle(page, situation, gauges)),
        compressor(situation),
    ];
    banks.chain(rest.into_iter().flatten()).collect()
}

const PASSES: i64 = 6;

fn stack(value: i64, full: i64) -> Option<(usize, usize)> {
    if full <= 0 {
        return None;
    }
    let hundredths = (value.max(0) * PASSES * 100 / full).min(PASSES * 100);
    let whole = usize::try_from(hundredths / 100).ok()?;
    Some((whole, usize::try_from(hundredths % 100).ok()?))
}

fn bank(page: &Layout, situation: &Situation, gauge: &BankGauge) -> Level {
    let name = format!("{} bank {}", sentence(&gauge.gas), gauge.code);
    let Some(bank) = situation
        .banks
        .iter()
        .find(|b| b.code.as_str() == gauge.code)
    else {
        return Level {
            name,
            value: "not read".to_owned(),
            stack: None,
            foot: "read its gauge".to_owned(),
            read: "nobody has read it yet".to_owned(),
        };
    };
    let brought = situation.deliveries.iter().flat_map(|d| &d.brings);
    let filled = brought.filter_map(|brings| match brings {
        mendpost_core::situation::Brings::Gas {
            bank: code,
            pressure_mbar,
            ..
        } if *code == bank.code => Some(*pressure_mbar),
        _ => None,
    });
    let full = filled
        .chain([gauge.fullest_mbar, bank.pressure_mbar])
        .max()
        .unwrap_or(0);
    Level {
        name,
        value: bar(bank.pressure_mbar),
        stack: stack(bank.pressure_mbar, full),
        foot: format!("{} of {}", bottles(bank.bottles), litres(bank.bottle_ml)),
        read: read(page, bank.read_at.timestamp_millis(), &bank.read_by),
    }
}

fn bottles(number: i64) -> String {
    format!(
        "{} {}",
        whole(number),
        if number == 1 { "bottle" } else { "bottles" }
    )
}

fn fuel(page: &Layout, situation: &Situation, gauges: &Gauges) -> Level {
    let fuel = &situation.fuel;
    let lasts = camp_fuel_minutes(situation).map_or_else(
        || "the camp takes none".to_owned(),
        |left| format!("{} at camp load", minutes(left)),
    );
    Level {
        name: "Fuel".to_owned(),
        value: litres(fuel.on_hand_ml),
        stack: stack(fuel.on_hand_ml, gauges.fullest_ml),
        foot: lasts,
        read: gauges.fuel.as_ref().map_or_else(
            || "nobody has read the tank: counts as empty".to_owned(),
            |latest| read(page, latest.at_ms, &latest.by),
        ),
    }
}

/// A throat takes gas by its area: a bore 2 % wider takes 4 % more.
fn nozzle(page: &Layout, situation: &Situation, gauges: &Gauges) -> Level {
    let (bore, machined) = (situation.cell.throat_um, gauges.machined_um.max(1));
    let permille = bore * bore * 1000 / (machined * machined) - 1000;
    let more = match permille {
        0 => "as machined".to_owned(),
        _ => {
            let sign = if permille < 0 { "-" } else { "+" };
            let tenths = permille.abs();
            let of = millimetres(machined);
            format!(
                "{of} as machined, gas {sign}{}.{} %",
                tenths / 10,
                tenths % 10
            )
        }
    };
    Level {
        name: "Nozzle throat".to_owned(),
        value: millimetres(bore),
        stack: None,
        foot: more,
        read: gauges.bore.as_ref().map_or_else(
            || "never gauged".to_owned(),
            |latest| read(page, latest.at_ms, &latest.by),
        ),
    }
}

fn millimetres(um: i64) -> String {
    format!("{}.{:02} mm", um / 1000, (um % 1000 + 5) / 10)
}

fn compressor(situation: &Situation) -> Option<Level> {
    let compressor = situation.compressor.as_ref()?;
    let service = compressor.service_in_min.map_or_else(
        || "running hours not counted".to_owned(),
        |left| format!("service in {} h of running", whole(left / 60)),
    );
    Some(Level {
        name: "Compressor".to_owned(),
        value: format!("to {}", bar(compressor.max_mbar)),
        stack: None,
        foot: format!(
            "{} free air a minute, {}",
            litres(compressor.free_air_l_per_min * 1000),
            kilowatts(compressor.power_w)
        ),
        read: service,
    })
}

fn read(page: &Layout, at_ms: i64, by: &str) -> String {
    format!("read {}, {}, {by}", page.clock(&at_ms), page.age(&at_ms))
}
