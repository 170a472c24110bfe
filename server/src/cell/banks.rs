//! Each bank as layers that end at the floors of the pressures in use: what lies above a floor serves
//! the recipes of that pressure and all below it.

use mendpost_core::lineup::bank;
use mendpost_core::situation::{Bank, Situation};

use super::gauge::Gauge;
use super::layers::{Column, Fill, Layer, Sheet, draw};
use super::minutes::InUse;
use super::queries::{BankGauge, Gauges};
use super::reads::Reads;
use crate::drawing::Drawing;
use crate::page::whole;
use crate::words::work::sentence;
use crate::words::{bar, kilograms, litres};

/// A layer as the table behind the picture has it.
pub struct LayerRow {
    pub bank: String,
    pub between: String,
    pub kilograms: String,
    pub serves: String,
}

/// What is drawn of the banks, and the same as rows.
pub struct Banks {
    /// For a wide page and a narrow one.
    pub drawn: [Drawing; 2],
    pub rows: Vec<LayerRow>,
}

/// None where there is no bank.
pub fn banks(
    reads: &Reads<'_>,
    situation: &Situation,
    gauges: &Gauges,
    used: &[InUse],
) -> Option<Banks> {
    if gauges.banks.is_empty() {
        return None;
    }
    let mut rows = Vec::new();
    let mut columns = Vec::new();
    for gauge in &gauges.banks {
        let here = situation
            .banks
            .iter()
            .find(|b| b.code.as_str() == gauge.code);
        let layers = here.map(|bank| strata(bank, used)).unwrap_or_default();
        rows.extend(layers.iter().map(|layer| layer.row(&gauge.code)));
        columns.push(Column {
            name: format!("{} bank {}", sentence(&gauge.gas), gauge.code),
            below: below(reads, gauge, here),
            layers: layers.iter().map(Stratum::layer).collect(),
            target: None,
        });
    }
    let title = "Each bank in layers that end at the floors of the recipe pressures in use; the \
                 table below has the same figures";
    let sheet = |wide| Sheet {
        id: "banks",
        title: title.to_owned(),
        wide,
        tall: 216.0,
        pitch: 312,
    };
    Some(Banks {
        drawn: [640, 752].map(|wide| draw(&columns, sheet(wide))),
        rows,
    })
}

/// Gas between two pressures, or pressure that is missing.
struct Stratum {
    from_mbar: i64,
    to_mbar: i64,
    /// None above what the bank holds.
    grams: Option<i64>,
    /// The highest recipe pressure that it serves; above what the bank holds, the one that waits.
    serves_mbar: Option<i64>,
}

/// From the bottom: what the bank gives at the site's pace above the floor of each pressure in use.
fn strata(stand: &Bank, used: &[InUse]) -> Vec<Stratum> {
    let have = stand.pressure_mbar;
    // Pressure, floor and grams above it.
    let mut levels: Vec<[i64; 3]> = used
        .iter()
        .filter_map(|used| {
            let left = used.left.as_ref().ok()?;
            let here = left.banks.iter().find(|b| b.bank == stand.code)?;
            Some([used.setting.pressure_mbar, here.floor_mbar, here.usable_g])
        })
        .collect();
    levels.sort_unstable();
    let reached = levels.iter().take_while(|l| l[1] < have).count();
    let (open, waiting) = levels.split_at(reached);
    let mut strata = Vec::new();
    let (mut from, mut serves) = (0, None);
    let mut above = bank(stand).map_or(0, |bank| bank.content_grams());
    let ends = open.iter().copied().chain([[0, have, 0]]);
    for [pressure, end, left] in ends {
        strata.push(Stratum {
            from_mbar: from,
            to_mbar: end,
            grams: Some((above - left).max(0)),
            serves_mbar: serves,
        });
        (from, serves, above) = (end, Some(pressure), left);
    }
    for [pressure, floor, _] in waiting.iter().filter(|l| l[1] > have) {
        strata.push(Stratum {
            from_mbar: from,
            to_mbar: *floor,
            grams: None,
            serves_mbar: Some(*pressure),
        });
        from = *floor;
    }
    strata
}

impl Stratum {
    fn layer(&self) -> Layer {
        let between = format!("{} to {}", tenths(self.from_mbar), bar(self.to_mbar));
        let (fill, bold, text, caption) = match (self.grams, self.serves_mbar) {
            (Some(grams), Some(serves)) => (
                Fill::Ready,
                kilograms(grams),
                between,
                format!("serves up to {}", bar(serves)),
            ),
            (Some(grams), None) => (
                Fill::Lost,
                kilograms(grams),
                between,
                "serves no recipe in use".to_owned(),
            ),
            (None, waits) => (
                Fill::Waits,
                format!("{} waits", bar(waits.unwrap_or(self.to_mbar))),
                String::new(),
                format!("needs {}", bar(self.to_mbar)),
            ),
        };
        Layer {
            amount: self.to_mbar - self.from_mbar,
            fill,
            bold,
            text,
            caption,
        }
    }

    fn row(&self, bank: &str) -> LayerRow {
        LayerRow {
            bank: bank.to_owned(),
            between: format!("{} to {}", tenths(self.from_mbar), bar(self.to_mbar)),
            kilograms: self.grams.map_or_else(|| "not there".to_owned(), kilograms),
            serves: match (self.grams, self.serves_mbar) {
                (Some(_), Some(serves)) => format!("recipes up to {}", bar(serves)),
                (_, None) => "no recipe in use".to_owned(),
                (None, Some(waits)) => format!("would serve {}", bar(waits)),
            },
        }
    }
}

/// A pressure without its unit.
fn tenths(mbar: i64) -> String {
    bar(mbar).trim_end_matches(" bar").to_owned()
}

fn below(reads: &Reads<'_>, gauge: &BankGauge, here: Option<&Bank>) -> Vec<(String, bool)> {
    let Some(bank) = here else {
        return vec![("not read yet: read its gauge".to_owned(), true)];
    };
    let bottles = format!(
        "{}, {} °C, {} {} of {}",
        bar(bank.pressure_mbar),
        (bank.temperature_mc + 500).div_euclid(1000),
        whole(bank.bottles),
        if bank.bottles == 1 {
            "bottle"
        } else {
            "bottles"
        },
        litres(bank.bottle_ml),
    );
    let mut lines = vec![(bottles, false)];
    let [pressure, temperature] =
        [Gauge::BankPressure, Gauge::BankTemperature].map(|kind| reads.of(kind, Some(gauge.id)));
    let apart = pressure.when != temperature.when;
    lines.push((pressure.when, false));
    lines.extend(pressure.again.map(|again| (again, true)));
    if apart {
        lines.push((format!("temperature {}", temperature.when), false));
        lines.extend(temperature.again.map(|again| (again, true)));
    }
    lines
}
