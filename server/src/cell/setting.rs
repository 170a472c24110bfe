//! A setting to try before any powder is fed: a recipe's stage, or figures typed.

use mendpost_core::catalogue::{Recipe, RecipeState, Spray};
use mendpost_core::code::PowderCode;
use mendpost_core::gas::Gas;
use mendpost_core::lineup::Setting;
use mendpost_core::situation::Situation;
use serde::Deserialize;

use crate::form::{FieldErrors, choice, decimal, integer};

/// What was typed; a figure typed goes before the recipe's.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub struct SettingForm {
    /// Code of a recipe, and after a colon which of its stages, counted from one.
    pub recipe: String,
    pub gas: String,
    /// Absolute.
    pub bar: String,
    pub celsius: String,
    pub powder: String,
    pub throat: String,
}

/// A setting asked for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Asked {
    pub setting: Setting,
    /// Without one nothing is said of its flight.
    pub powder: Option<PowderCode>,
    /// In place of the throat as gauged.
    pub throat_um: Option<i64>,
}

impl SettingForm {
    fn is_empty(&self) -> bool {
        let typed = [
            &self.recipe,
            &self.gas,
            &self.bar,
            &self.celsius,
            &self.powder,
            &self.throat,
        ];
        typed.into_iter().all(|typed| typed.trim().is_empty())
    }

    /// What is asked for, none if nothing was typed, or every fault.
    pub fn parse(&self, situation: &Situation) -> Result<Option<Asked>, FieldErrors> {
        if self.is_empty() {
            return Ok(None);
        }
        let mut errors = FieldErrors::default();
        let stage = self.stage(situation, &mut errors);
        let gas = match (self.gas.trim(), stage) {
            ("", Some(stage)) => Some(stage.gas),
            (typed, _) => errors.check("gas", choice::<Gas>(typed)),
        };
        let pressure_mbar = match (self.bar.trim(), stage) {
            ("", Some(stage)) => Some(stage.pressure_mbar),
            (typed, _) => errors.check("bar", decimal(typed, 3, 3_000..=100_000)),
        };
        let temperature_c = match (self.celsius.trim(), stage) {
            ("", Some(stage)) => Some(stage.temperature_c),
            (typed, _) => errors.check("celsius", integer(typed, 20..=1200)),
        };
        let powder = self.powder(situation, stage, &mut errors);
        let throat_um = match self.throat.trim() {
            "" => None,
            typed => errors.check("throat", decimal(typed, 3, 500..=10_000)),
        };
        match (gas, pressure_mbar, temperature_c) {
            (Some(gas), Some(pressure_mbar), Some(temperature_c)) if errors.is_empty() => {
                Ok(Some(Asked {
                    setting: Setting {
                        gas,
                        pressure_mbar,
                        temperature_c,
                    },
                    powder,
                    throat_um,
                }))
            }
            _ => Err(errors),
        }
    }

    fn powder(
        &self,
        situation: &Situation,
        stage: Option<&Spray>,
        errors: &mut FieldErrors,
    ) -> Option<PowderCode> {
        let typed = self.powder.trim();
        if typed.is_empty() {
            return stage.map(|stage| stage.powder.clone());
        }
        let known = situation.powders.iter().find(|p| p.code.as_str() == typed);
        if known.is_none() {
            let told = format!("'{typed}' is no powder here; choose from the list");
            errors.add("powder", told);
        }
        known.map(|powder| powder.code.clone())
    }

    fn stage<'a>(&self, situation: &'a Situation, errors: &mut FieldErrors) -> Option<&'a Spray> {
        let asked = self.recipe.trim();
        if asked.is_empty() {
            return None;
        }
        let (code, number) = asked.split_once(':').unwrap_or((asked, "1"));
        let recipes = situation.recipes.iter().filter(|r| r.code.as_str() == code);
        let best = recipes.max_by_key(|r| (r.state == RecipeState::Approved, r.revision));
        let place = number.parse::<usize>().ok().and_then(|n| n.checked_sub(1));
        let stage = best.and_then(|recipe| recipe.sprays().nth(place?));
        if stage.is_none() {
            let told = format!("'{asked}' is no recipe here; choose from the list");
            errors.add("recipe", told);
        }
        stage
    }
}

/// Stages of recipes that may be used, each with its part.
pub fn stages(situation: &Situation) -> Vec<(String, String)> {
    let approved = situation.recipes.iter();
    let approved = approved.filter(|r| r.state == RecipeState::Approved);
    approved
        .flat_map(|recipe| {
            let part = situation.part(&recipe.part);
            let part = part.map_or(recipe.part.as_str(), |p| p.name.as_str());
            let stages = recipe.sprays().count();
            (1..=stages).map(move |stage| named(recipe, part, stage, stages))
        })
        .collect()
}

fn named(recipe: &Recipe, part: &str, stage: usize, stages: usize) -> (String, String) {
    let code = &recipe.code;
    if stages == 1 {
        (code.to_string(), format!("{code}, {part}"))
    } else {
        let name = format!("{code} stage {stage}, {part}");
        (format!("{code}:{stage}"), name)
    }
}
