//! How long the gas lasts at each pressure that recipes in use ask for, bank by bank.

use std::collections::BTreeSet;

use mendpost_core::catalogue::{Recipe, RecipeState, Spray};
use mendpost_core::code::{PowderCode, RecipeCode};
use mendpost_core::lineup::{Endurance, GasSource, Setting, Shut, endurance};
use mendpost_core::situation::{Situation, Way};

use super::band::hundredths;
use super::queries::Gauges;
use crate::page::whole;
use crate::words::{Words, bar};

/// One pressure that recipes in use ask for.
pub struct InUse {
    pub setting: Setting,
    pub powder: PowderCode,
    /// How many stages ask for it.
    pub stages: usize,
    /// Whose stages they are.
    pub recipes: BTreeSet<RecipeCode>,
    pub left: Result<Endurance, Shut>,
}

impl InUse {
    fn new(situation: &Situation, recipe: &Recipe, spray: &Spray) -> InUse {
        let setting = Setting::of(spray);
        InUse {
            setting,
            powder: spray.powder.clone(),
            stages: 1,
            recipes: BTreeSet::from([recipe.code.clone()]),
            left: endurance(situation, setting),
        }
    }

    /// Whether its gas comes from bottles, as far as is known.
    pub fn is_bottled(&self) -> bool {
        let left = self.left.as_ref();
        !left.is_ok_and(|left| left.source == GasSource::Compressor)
    }
}

/// Every pressure that recipes in use ask for, the highest first. Of several temperatures at one
/// pressure the one counts that leaves the fewest minutes.
pub fn in_use(situation: &Situation) -> Vec<InUse> {
    let mut all: Vec<InUse> = Vec::new();
    let recipes = recipes_in_use(situation).into_iter();
    for (recipe, spray) in recipes.flat_map(|r| r.sprays().map(move |spray| (r, spray))) {
        let setting = Setting::of(spray);
        let same = |other: &&mut InUse| {
            (other.setting.gas, other.setting.pressure_mbar) == (setting.gas, setting.pressure_mbar)
        };
        match all.iter_mut().find(same) {
            Some(known) => {
                // A colder gas is denser: more of it flows.
                if setting.temperature_c < known.setting.temperature_c {
                    *known = InUse {
                        stages: known.stages,
                        recipes: std::mem::take(&mut known.recipes),
                        ..InUse::new(situation, recipe, spray)
                    };
                }
                known.stages += 1;
                known.recipes.insert(recipe.code.clone());
            }
            None => all.push(InUse::new(situation, recipe, spray)),
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
    let from_bank = |used: &&InUse| used.left.is_ok() && used.is_bottled();
    let most = |used: &&InUse| used.stages;
    let banks = all.iter().filter(from_bank).max_by_key(most);
    banks.or_else(|| all.iter().filter(|u| u.left.is_ok()).max_by_key(most))
}

/// The table: a column for each bank, and all of them together.
pub struct Minutes {
    pub banks: Vec<String>,
    pub rows: Vec<MinutesRow>,
}

impl Minutes {
    /// How many columns what is said of no bank spans.
    pub fn span(&self) -> usize {
        self.banks.len().max(1)
    }
}

/// One pressure.
pub struct MinutesRow {
    pub mark: &'static str,
    pub pressure: String,
    pub gas: String,
    /// Which recipes ask for it.
    pub recipes: String,
    /// Minutes of each bank and its floor; both empty where it holds another gas.
    pub cells: Vec<(String, String)>,
    /// In their place: why it cannot be sprayed at all, or that the compressor gives it.
    pub instead: Option<String>,
    pub together: String,
    /// Drawn slowly and drawn fast, or what ends it.
    pub ends: String,
}

pub fn minutes(words: &Words<'_>, gauges: &Gauges, used: &[InUse]) -> Minutes {
    let banks = gauges.banks.iter().map(|b| format!("bank {}", b.code));
    Minutes {
        banks: banks.collect(),
        rows: used.iter().map(|used| row(words, gauges, used)).collect(),
    }
}

/// 'AL-012, AL-014 and 2 more'.
fn recipe_words(recipes: &BTreeSet<RecipeCode>) -> String {
    const NAMED: usize = 3;
    let named: Vec<&str> = recipes.iter().take(NAMED).map(RecipeCode::as_str).collect();
    let more = match recipes.len().saturating_sub(NAMED) {
        0 => String::new(),
        more => format!(" and {more} more"),
    };
    named.join(", ") + &more
}

fn row(words: &Words<'_>, gauges: &Gauges, used: &InUse) -> MinutesRow {
    let setting = used.setting;
    let row = MinutesRow {
        mark: "lost",
        pressure: bar(setting.pressure_mbar),
        gas: format!("{}, {} °C", setting.gas, setting.temperature_c),
        recipes: recipe_words(&used.recipes),
        cells: Vec::new(),
        instead: None,
        together: "0 min".to_owned(),
        ends: String::new(),
    };
    let Ok(left) = &used.left else {
        let gate = used.left.as_ref().err().map(|shut| words.gate(&shut.gate));
        return MinutesRow {
            instead: gate,
            ..row
        };
    };
    let row = MinutesRow {
        mark: if left.minutes == Some(0) {
            "lost"
        } else {
            "ready"
        },
        together: minutes_left(left.minutes),
        ..row
    };
    match left.source {
        GasSource::Bank(_) => MinutesRow {
            cells: cells(gauges, left),
            ends: ends(left),
            ..row
        },
        GasSource::Compressor => MinutesRow {
            instead: Some(format!("compressor {}", turns(left))),
            ends: left
                .minutes
                .map_or_else(String::new, |_| "to its service".to_owned()),
            ..row
        },
    }
}

fn cells(gauges: &Gauges, left: &Endurance) -> Vec<(String, String)> {
    let banks = gauges.banks.iter().map(|gauge| {
        let bank = left.banks.iter().find(|b| b.bank.as_str() == gauge.code);
        bank.map_or_else(Default::default, |bank| {
            let floor = format!("floor {}", bar(bank.floor_mbar));
            (minutes_left(of_grams(left, bank.usable_g)), floor)
        })
    });
    banks.collect()
}

/// Whether the compressor keeps up: 'keeps up', '12 min on, 8 off', or how much longer all takes.
fn turns(left: &Endurance) -> String {
    match &left.cycle {
        _ if left.stretch_permille <= 1000 => "keeps up".to_owned(),
        Some(turns) => format!("{} min on, {} off", turns.spray_min, turns.refill_min),
        None => format!("takes {} times", hundredths(left.stretch_permille)),
    }
}

/// 'slow 62, fast 44 min', where bottles give it.
fn ends(left: &Endurance) -> String {
    let slow = left.banks.iter().map(|b| b.slow_g).sum::<i64>();
    let fast: Option<i64> = left.banks.iter().map(|b| b.fast_g).sum();
    let minutes = |grams: i64| whole(of_grams(left, (grams - left.aside_g).max(0)).unwrap_or(0));
    match fast {
        Some(fast) => format!("slow {}, fast {}", minutes(slow), minutes(fast)),
        None => format!("slow {}", minutes(slow)),
    }
}

/// Minutes of flow that so much gas gives.
fn of_grams(left: &Endurance, grams: i64) -> Option<i64> {
    (grams * 60).checked_div(left.flow_g_per_h)
}

/// 'no end' where neither bottles nor a service end it.
pub fn minutes_left(left: Option<i64>) -> String {
    match left {
        None => "no end".to_owned(),
        Some(short) if short < 600 => format!("{} min", whole(short)),
        Some(long) => format!("{} h", whole(long / 60)),
    }
}
