//! How long the cell can spray: at the pressures of recipes in use, and at a setting asked for.

use mendpost_core::catalogue::{Recipe, RecipeState};
use mendpost_core::lineup::{Endurance, GasSource, Setting, Shut, endurance};
use mendpost_core::situation::{Situation, Way};

use crate::page::{minutes, whole};
use crate::words::{Words, bar, kilograms, kilowatts, litres};

/// One pressure that recipes in use ask for.
pub struct InUse {
    pub setting: Setting,
    /// How many stages ask for it.
    pub stages: usize,
    pub left: Result<Endurance, Shut>,
}

/// Every pressure that recipes in use ask for, the highest first. Of several temperatures at one
/// pressure the one counts that leaves the fewest minutes.
pub fn in_use(situation: &Situation) -> Vec<InUse> {
    let mut all: Vec<InUse> = Vec::new();
    let sprays = recipes_in_use(situation)
        .into_iter()
        .flat_map(Recipe::sprays);
    for setting in sprays.map(Setting::of) {
        let same = |other: &&mut InUse| {
            (other.setting.gas, other.setting.pressure_mbar) == (setting.gas, setting.pressure_mbar)
        };
        match all.iter_mut().find(same) {
            Some(known) => {
                known.stages += 1;
                // A colder gas is denser: more of it flows.
                if setting.temperature_c < known.setting.temperature_c {
                    known.setting = setting;
                    known.left = endurance(situation, setting);
                }
            }
            None => all.push(InUse {
                setting,
                stages: 1,
                left: endurance(situation, setting),
            }),
        }
    }
    all.sort_by_key(|used| {
        (
            std::cmp::Reverse(used.setting.pressure_mbar),
            used.setting.gas,
        )
    });
    all
}

/// Approved recipes that open requests name; where none does, all approved ones.
fn recipes_in_use(situation: &Situation) -> Vec<&Recipe> {
    let approved = || {
        let recipes = situation.recipes.iter();
        recipes.filter(|r| r.state == RecipeState::Approved)
    };
    let ways = || situation.requests.iter().flat_map(|r| &r.ways);
    let named = |recipe: &&Recipe| {
        ways().any(|way| matches!(way, Way::Recipe(code) if *code == recipe.code))
    };
    let in_use: Vec<&Recipe> = approved().filter(named).collect();
    if in_use.is_empty() {
        approved().collect()
    } else {
        in_use
    }
}

/// The pressure that most stages ask for, of those fed from bottles if there is one: bottles end first.
pub fn main(all: &[InUse]) -> Option<&InUse> {
    let from_bank = |used: &&InUse| {
        used.left
            .as_ref()
            .is_ok_and(|left| matches!(left.source, GasSource::Bank(_)))
    };
    let most = |used: &&InUse| used.stages;
    let banks = all.iter().filter(from_bank).max_by_key(most);
    banks.or_else(|| all.iter().filter(|u| u.left.is_ok()).max_by_key(most))
}

/// A row of the table.
pub struct PressureRow {
    pub pressure: String,
    pub gas: String,
    pub floor: String,
    pub mark: &'static str,
    pub word: String,
    pub minutes: String,
}

pub fn row(words: &Words<'_>, used: &InUse) -> PressureRow {
    let setting = used.setting;
    let (floor, mark, word, minutes) = match &used.left {
        Err(shut) => (
            String::new(),
            "lost",
            words.gate(&shut.gate),
            "0 min".to_owned(),
        ),
        Ok(left) => (
            floor(left),
            mark(left),
            word(left),
            minutes_left(left.minutes),
        ),
    };
    PressureRow {
        pressure: bar(setting.pressure_mbar),
        gas: format!("{}, {} °C", setting.gas, setting.temperature_c),
        floor,
        mark,
        word,
        minutes,
    }
}

fn floor(left: &Endurance) -> String {
    match &left.source {
        GasSource::Bank(bank) => format!("bank {bank}, floor {}", bar(left.floor_mbar)),
        GasSource::Compressor => format!("compressor, to {}", bar(left.have_mbar)),
    }
}

fn mark(left: &Endurance) -> &'static str {
    if left.minutes == Some(0) {
        "lost"
    } else {
        "ready"
    }
}

fn word(left: &Endurance) -> String {
    match (left.usable_g, left.minutes) {
        (Some(_), Some(0)) if left.have_mbar <= left.floor_mbar => "below the floor".to_owned(),
        (Some(grams), _) => format!("{} above it", kilograms(grams)),
        (None, Some(_)) => "to its service".to_owned(),
        (None, None) => "no service counted".to_owned(),
    }
}

/// 'no end' where neither bottles nor a service end it.
pub fn minutes_left(left: Option<i64>) -> String {
    match left {
        None => "no end".to_owned(),
        Some(short) if short < 600 => format!("{} min", whole(short)),
        Some(long) => format!("{} h", whole(long / 60)),
    }
}

/// What a setting asked for takes and how long it lasts.
pub fn pairs(left: &Endurance) -> Vec<(&'static str, String)> {
    let mut pairs = vec![
        ("Gas lasts", minutes_left(left.minutes)),
        ("From", floor(left)),
    ];
    if let Some(grams) = left.usable_g {
        pairs.push(("Above the floor", kilograms(grams)));
        if left.aside_g > 0 {
            pairs.push(("Set aside for leaks", kilograms(left.aside_g)));
        }
    }
    pairs.extend([
        ("Flows", format!("{} an hour", kilograms(left.flow_g_per_h))),
        (
            "Fuel lasts",
            format!("{} of spraying", minutes(left.fuel_minutes)),
        ),
        (
            "Fuel",
            format!("{} an hour, camp included", litres(left.fuel_ml_per_h)),
        ),
        (
            "Power",
            format!("{}, camp not counted", kilowatts(left.power_w)),
        ),
    ]);
    pairs
}
