use askama::Template;
use mendpost_core::catalogue::{Recipe, RecipeState};
use mendpost_core::gas::Gas;
use mendpost_core::lineup::{GasSource, LineUp, camp_fuel_minutes, endurance};
use mendpost_core::situation::Situation;

use super::endurance::{InUse, PressureRow, in_use, main, minutes_left, pairs, row};
use super::levels::{Level, levels};
use super::queries::Gauges;
use super::reading::{ABSOLUTE, GAUGE, ReadingForm, air_mbar};
use super::setting::SettingForm;
use super::stations::{self, DutyRow, StationRow};
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
    levels: Vec<Level>,
    pressures: Vec<PressureRow>,
    air: String,
    setting: SettingForm,
    setting_faults: FieldErrors,
    recipes: Vec<(String, String)>,
    asked: Option<Asked>,
    stations: Vec<StationRow>,
    duty: Vec<DutyRow>,
    entry: Option<Entry>,
}

/// The answer to a setting asked for.
struct Asked {
    title: String,
    pairs: Vec<(&'static str, String)>,
    /// Why there is none, and what opens it.
    shut: Option<(String, String)>,
}

/// The form of a round of readings.
struct Entry {
    form: ReadingForm,
    faults: FieldErrors,
    banks: Vec<(String, String)>,
}

impl CellPage {
    pub fn new(
        page: Layout,
        situation: &Situation,
        gauges: &Gauges,
        line_up: Option<&LineUp>,
        setting: SettingForm,
        reading: Option<(ReadingForm, FieldErrors)>,
    ) -> Self {
        let words = Words::new(situation);
        let used = in_use(situation);
        let (answer, reason) = answer(situation, gauges, &words, &used);
        let (asked, setting_faults) = match setting.parse(situation) {
            Ok(None) => (None, FieldErrors::default()),
            Ok(Some(it)) => (Some(asked(situation, &words, it)), FieldErrors::default()),
            Err(faults) => (None, faults),
        };
        CellPage {
            answer,
            reason,
            levels: levels(&page, situation, gauges),
            pressures: used.iter().map(|used| row(&words, used)).collect(),
            air: bar(air_mbar(situation.site.altitude_m)),
            recipes: recipes(situation),
            asked,
            setting,
            setting_faults,
            stations: stations::rows(situation, &words, line_up),
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
        Gas::ALL
            .iter()
            .map(|gas| (gas.as_str(), gas.as_str()))
            .collect()
    }

    fn scales(&self) -> [(&'static str, &'static str); 2] {
        [(GAUGE, "the gauge, 0 in open air"), (ABSOLUTE, "absolute")]
    }
}

/// How long the cell can spray at the pressure that most recipes in use ask for.
fn answer(
    situation: &Situation,
    gauges: &Gauges,
    words: &Words<'_>,
    used: &[InUse],
) -> (String, String) {
    let unread: Vec<&str> = gauges
        .banks
        .iter()
        .filter(|b| b.pressure_at.is_none() || b.temperature_at.is_none())
        .map(|b| b.code.as_str())
        .collect();
    let fuel = camp_fuel_minutes(situation)
        .map(|left| format!("Fuel lasts {} at camp load", minutes(left)));
    let Some((used, left)) = main(used).and_then(|u| Some((u, u.left.as_ref().ok()?))) else {
        let fuel = fuel.map(|f| f + ".").unwrap_or_default();
        let answer = match (unread.first(), used.first()) {
            (Some(bank), _) => format!("Read the gauge of bank {bank}: nobody has yet."),
            (None, None) => "Spray nothing: no recipe is approved.".to_owned(),
            (None, Some(first)) => {
                let gate = first.left.as_ref().err().map(|s| words.gate(&s.gate));
                format!("Spray nothing: {}.", gate.unwrap_or_default())
            }
        };
        return (answer, fuel);
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
    let spraying = format!("{} while spraying so", minutes(left.fuel_minutes));
    let reason = fuel.map_or_else(
        || format!("Fuel lasts {spraying}."),
        |f| format!("{f}, {spraying}."),
    );
    (answer, reason)
}

fn asked(
    situation: &Situation,
    words: &Words<'_>,
    setting: mendpost_core::lineup::Setting,
) -> Asked {
    let title = format!(
        "{} at {} and {} °C",
        sentence(setting.gas.as_str()),
        bar(setting.pressure_mbar),
        setting.temperature_c
    );
    match endurance(situation, setting) {
        Ok(left) => Asked {
            title,
            pairs: pairs(&left),
            shut: None,
        },
        Err(shut) => Asked {
            title,
            pairs: Vec::new(),
            shut: Some((words.gate(&shut.gate), words.opens(&shut.opens))),
        },
    }
}

/// Recipes that may be used, each with its part.
fn recipes(situation: &Situation) -> Vec<(String, String)> {
    let name = |recipe: &Recipe| {
        let part = situation.part(&recipe.part);
        let part = part.map_or(recipe.part.as_str(), |p| p.name.as_str());
        (recipe.code.to_string(), format!("{}, {part}", recipe.code))
    };
    let approved = situation
        .recipes
        .iter()
        .filter(|r| r.state == RecipeState::Approved);
    approved.map(name).collect()
}

fn entry(gauges: &Gauges, form: ReadingForm, faults: FieldErrors) -> Entry {
    let mut form = form;
    if form.scale.is_empty() && faults.is_empty() {
        form.scale = GAUGE.to_owned();
    }
    if let ([only], true) = (gauges.banks.as_slice(), form.bank.is_empty()) {
        form.bank.clone_from(&only.code);
    }
    Entry {
        form,
        faults,
        banks: gauges
            .banks
            .iter()
            .map(|b| (b.code.clone(), format!("{}, {}", b.code, b.gas)))
            .collect(),
    }
}
