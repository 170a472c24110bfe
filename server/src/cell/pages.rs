use askama::Template;
use mendpost_core::gas::Gas;
use mendpost_core::lineup::{GasSource, LineUp, camp_fuel_minutes};
use mendpost_core::situation::Situation;

use super::banks::{Banks, banks};
use super::bottles::{self, Waiting};
use super::gauge::Gauge;
use super::minutes::{InUse, Minutes, in_use, main, minutes as minutes_of, minutes_left};
use super::queries::Gauges;
use super::reading::{MILLIBAR, PASCAL, ReadingForm, field_of};
use super::reads::{Reads, good_for_all};
use super::scale::{Scale, air_mbar};
use super::setting::{Asked, SettingForm, stages};
use super::stations::{self, DutyRow, StationRow};
use super::tiles::{Around, Marks, Tile, tiles};
use super::worked::{Bench, Worked};
use crate::drawing::Mark;
use crate::form::FieldErrors;
use crate::page::{Layout, minutes};
use crate::words::work::sentence;
use crate::words::{Words, bar};

#[derive(Template)]
#[template(path = "cell/show.html")]
pub struct CellPage {
    page: Layout,
    answer: String,
    reason: String,
    banks: Option<Banks>,
    /// Full bottles that stand with no bank yet, in words.
    waiting: Vec<String>,
    minutes: Minutes,
    /// How bottles are taken to be drawn.
    pace: String,
    air: String,
    tiles: Vec<Tile>,
    good_for: String,
    setting: SettingForm,
    setting_faults: FieldErrors,
    stages: Vec<(String, String)>,
    powders: Vec<(String, String)>,
    /// None if something asked for was wrong, or no recipe is in use.
    worked: Option<Worked>,
    /// Whether it is worked out for what was asked for, or for what most stages ask for.
    asked: bool,
    stations: Vec<StationRow>,
    duty: Vec<DutyRow>,
    entry: Option<Entry>,
}

/// The form of a round of readings.
struct Entry {
    form: ReadingForm,
    faults: FieldErrors,
    banks: Vec<BankFields>,
    furnaces: Vec<FurnaceField>,
    compressor: bool,
}

/// The row of one bank, as typed.
struct BankFields {
    code: String,
    name: String,
    pressure: Field,
    temperature: Field,
}

/// The row of one furnace, as typed.
struct FurnaceField {
    code: String,
    name: String,
    celsius: Field,
}

/// A field of a row: its own name in the page, what was typed, its fault.
struct Field {
    id: String,
    typed: String,
    fault: String,
}

impl CellPage {
    pub fn new(
        page: Layout,
        situation: &Situation,
        (gauges, waiting): (&Gauges, &[Waiting]),
        line_up: Option<&LineUp>,
        setting: SettingForm,
        reading: Option<(ReadingForm, FieldErrors)>,
    ) -> Self {
        let words = Words::new(situation);
        let reads = Reads::new(&page, gauges);
        let used = in_use(situation);
        let (answer, reason) = answer(situation, gauges, &reads, &words, &used);
        let parsed = setting.parse(situation);
        let asked = matches!(parsed, Ok(Some(_)));
        let shown = || {
            let used = main(&used).or_else(|| used.first())?;
            Some(Asked {
                setting: used.setting,
                powder: Some(used.powder.clone()),
                throat_um: None,
            })
        };
        let (tried, setting_faults) = match parsed {
            Ok(tried) => (tried.or_else(shown), FieldErrors::default()),
            Err(faults) => (None, faults),
        };
        let bench = Bench {
            situation,
            gauges,
            reads: &reads,
            words: &words,
        };
        let spraying = main(&used).and_then(|used| used.left.as_ref().ok());
        let around = Around {
            situation,
            gauges,
            reads: &reads,
            words: &words,
            line_up,
            spraying_min: spraying.map(|left| left.fuel_minutes),
        };
        CellPage {
            answer,
            reason,
            banks: banks(&reads, situation, gauges, &used),
            waiting: waiting.iter().map(Waiting::words).collect(),
            minutes: minutes_of(&words, gauges, &used),
            pace: pace(situation.cell.fast_permille),
            air: bar(air_mbar(situation.site.altitude_m)),
            tiles: tiles(&around),
            good_for: good_for_all(),
            stages: stages(situation),
            powders: powders(situation),
            worked: tried.map(|tried| bench.work_out(&tried)),
            asked,
            setting,
            setting_faults,
            stations: stations::rows(situation, gauges, &reads, &words, line_up),
            duty: stations::duty(situation),
            entry: reading.map(|(form, faults)| entry(gauges, form, faults)),
            page,
        }
    }

    /// Whether something typed must be put right.
    pub fn has_faults(&self) -> bool {
        let entry = self.entry.as_ref().is_some_and(|e| !e.faults.is_empty());
        entry || !self.setting_faults.is_empty()
    }

    fn gases(&self) -> Vec<(&'static str, &'static str)> {
        let gases = Gas::ALL.iter();
        gases.map(|gas| (gas.as_str(), gas.as_str())).collect()
    }

    fn scales(&self) -> Vec<(&'static str, &'static str)> {
        let scales = Scale::ALL.iter();
        scales.map(|scale| (scale.as_str(), scale.word())).collect()
    }

    fn join_path(&self) -> &'static str {
        bottles::PATH
    }

    fn drop_units(&self) -> [(&'static str, &'static str); 2] {
        [(PASCAL, "Pa"), (MILLIBAR, "mbar")]
    }
}

/// '0.5 of the way from slow to fast'.
fn pace(fast_permille: i64) -> String {
    match fast_permille {
        0 => "drawn slowly".to_owned(),
        1000 => "drawn fast".to_owned(),
        between => format!("drawn {} % of the way from slow to fast", between / 10),
    }
}

/// How long the cell can spray at the pressure that most recipes in use ask for.
fn answer(
    situation: &Situation,
    gauges: &Gauges,
    reads: &Reads<'_>,
    words: &Words<'_>,
    used: &[InUse],
) -> (String, String) {
    let again = again(gauges, reads);
    let Some((used, left)) = main(used).and_then(|u| Some((u, u.left.as_ref().ok()?))) else {
        let camp = camp_fuel_minutes(situation);
        let fuel = camp.map_or_else(String::new, |left| {
            format!("Fuel lasts {} at camp load.", minutes(left))
        });
        let unread = gauges.banks.iter().find(|bank| {
            let read = |kind| gauges.latest(kind, Some(bank.id)).is_some();
            !(read(Gauge::BankPressure) && read(Gauge::BankTemperature))
        });
        let answer = match (unread, used.first()) {
            (Some(bank), _) => format!("Read the gauge of bank {}: nobody has yet.", bank.code),
            (None, None) => "Spray nothing: no recipe is approved.".to_owned(),
            (None, Some(first)) => {
                let gate = first.left.as_ref().err().map(|s| words.gate(&s.gate));
                format!("Spray nothing: {}.", gate.unwrap_or_default())
            }
        };
        return (answer, format!("{fuel} {again}").trim().to_owned());
    };
    let at = format!("{} {}", bar(used.setting.pressure_mbar), used.setting.gas);
    let answer = match (&left.source, left.minutes) {
        _ if left.fuel_minutes == 0 => format!("Get fuel before you spray at {at}."),
        (GasSource::Bank(bank), Some(0)) => format!("Fill bank {bank} before you spray at {at}."),
        (GasSource::Bank(_), _) => {
            format!(
                "Spray for {} at {at}, then fill bottles.",
                minutes_left(left.minutes)
            )
        }
        (GasSource::Compressor, Some(0)) => "Service the compressor before you spray.".to_owned(),
        (GasSource::Compressor, Some(_)) => format!(
            "Spray for {} at {at}, then service the compressor.",
            minutes_left(left.minutes)
        ),
        (GasSource::Compressor, None) => format!("Spray at {at} as long as there is fuel."),
    };
    let fuel = format!("Fuel for {}.", minutes(left.fuel_minutes));
    (answer, format!("{fuel} {again}").trim().to_owned())
}

/// 'Read again: N1, fuel.' What is too old, or nobody has read; a heater as built need not be.
fn again(gauges: &Gauges, reads: &Reads<'_>) -> String {
    let old = |kind, of| reads.of(kind, of).again.is_some();
    let banks = gauges.banks.iter().filter(|bank| {
        let of = Some(bank.id);
        old(Gauge::BankPressure, of) || old(Gauge::BankTemperature, of)
    });
    let mut names: Vec<String> = banks.map(|bank| bank.code.clone()).collect();
    let heater_read = gauges.only(Gauge::HeaterPower).is_some();
    for (kind, name, counts) in [
        (Gauge::Fuel, "fuel", true),
        (Gauge::NozzleBore, "nozzle", true),
        (Gauge::CollectorDrop, "collector", true),
        (Gauge::CompressorService, "compressor", gauges.compressor),
        (Gauge::HeaterPower, "heater", heater_read),
    ] {
        if counts && old(kind, None) {
            names.push(name.to_owned());
        }
    }
    if names.is_empty() {
        return String::new();
    }
    format!("Read again: {}.", names.join(", "))
}

fn powders(situation: &Situation) -> Vec<(String, String)> {
    let powders = situation.powders.iter();
    powders
        .map(|powder| (powder.code.to_string(), powder.name.clone()))
        .collect()
}

fn entry(gauges: &Gauges, form: ReadingForm, faults: FieldErrors) -> Entry {
    let mut form = form;
    if faults.is_empty() {
        Scale::BarGauge.as_str().clone_into(&mut form.scale);
        PASCAL.clone_into(&mut form.collector_unit);
    }
    // What was typed for a code stands in the place where the code was sent.
    let typed = |codes: &[String], list: &[String], code: &str| {
        let place = codes.iter().position(|sent| sent.trim() == code);
        place.and_then(|n| list.get(n)).cloned().unwrap_or_default()
    };
    let field = |name: &str, code: &str, typed: String| {
        let id = field_of(name, code);
        let fault = faults.of(&id).to_owned();
        Field { id, typed, fault }
    };
    let banks = gauges.banks.iter().map(|bank| BankFields {
        name: format!("Bank {}, {}", bank.code, bank.gas),
        pressure: field(
            "pressure",
            &bank.code,
            typed(&form.bank, &form.pressure, &bank.code),
        ),
        temperature: field(
            "temperature",
            &bank.code,
            typed(&form.bank, &form.temperature, &bank.code),
        ),
        code: bank.code.clone(),
    });
    let furnaces = gauges.furnaces.iter().map(|furnace| FurnaceField {
        name: format!("{} temperature", sentence(&furnace.name)),
        celsius: field(
            "furnace",
            &furnace.code,
            typed(&form.furnace, &form.furnace_temperature, &furnace.code),
        ),
        code: furnace.code.clone(),
    });
    Entry {
        banks: banks.collect(),
        furnaces: furnaces.collect(),
        compressor: gauges.compressor,
        form,
        faults,
    }
}
