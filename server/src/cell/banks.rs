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

#[cfg(test)]
mod tests {
    use super::*;
    use mendpost_core::gas::Gas;
    use mendpost_core::lineup::{BankLeft, Endurance, GasSource, Setting};

    /// Twelve bottles of 50 L at 70 bar, of which regulator and hose take 8.
    fn stand() -> Bank {
        Bank {
            code: "N1".parse().expect("a code"),
            gas: Gas::Nitrogen,
            bottles: 12,
            bottle_ml: 50_000,
            pressure_mbar: 70_000,
            temperature_mc: 20_000,
            read_at: chrono::DateTime::UNIX_EPOCH,
            read_by: "x".to_owned(),
            drop_mbar: 8_000,
            steady_g_per_day: 0,
        }
    }

    fn used(pressure_mbar: i64, usable_g: i64) -> InUse {
        let floor_mbar = pressure_mbar + 8_000;
        let bank = BankLeft {
            bank: stand().code,
            have_mbar: 70_000,
            floor_mbar,
            slow_g: usable_g,
            fast_g: None,
            usable_g,
        };
        InUse {
            setting: Setting {
                gas: Gas::Nitrogen,
                pressure_mbar,
                temperature_c: 500,
            },
            powder: "SS316".parse().expect("a code"),
            recipes: std::collections::BTreeSet::new(),
            stages: 1,
            left: Ok(Endurance {
                source: GasSource::Bank(stand().code),
                floor_mbar,
                have_mbar: 70_000,
                aside_g: 0,
                usable_g: Some(usable_g),
                banks: vec![bank],
                flow_g_per_h: 60_000,
                minutes: Some(usable_g / 1000),
                stretch_permille: 1000,
                cycle: None,
                power_w: 0,
                heater_w: 0,
                fuel_ml_per_h: 1,
                fuel_minutes: 1,
            }),
        }
    }

    /// Floors at 38 and 53 bar, above which 20 and 11 kg may be drawn: 11 kg serve up to 45 bar, 9 more
    /// up to 30, the rest nothing. 64 bar need 72, 2 more than there are.
    #[test]
    fn layers_end_at_the_floors_and_share_out_what_is_there() {
        let bank_here = stand();
        let all = [used(64_000, 0), used(45_000, 11_000), used(30_000, 20_000)];
        let content = bank(&bank_here).expect("a bank").content_grams();
        let layers: Vec<_> = strata(&bank_here, &all)
            .iter()
            .map(|s| (s.from_mbar, s.to_mbar, s.grams, s.serves_mbar))
            .collect();
        assert_eq!(
            layers,
            [
                (0, 38_000, Some(content - 20_000), None),
                (38_000, 53_000, Some(9_000), Some(30_000)),
                (53_000, 70_000, Some(11_000), Some(45_000)),
                (70_000, 72_000, None, Some(64_000)),
            ]
        );
    }

    /// Without a recipe in use all of it serves nothing.
    #[test]
    fn a_bank_that_no_recipe_uses_is_one_layer() {
        let layers = strata(&stand(), &[]);
        assert_eq!(layers.len(), 1);
        assert_eq!(layers[0].serves_mbar, None);
    }
}
