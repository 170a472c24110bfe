//! A setting to work out the minutes of: a recipe's, or figures typed.

use mendpost_core::catalogue::{Recipe, RecipeState};
use mendpost_core::gas::Gas;
use mendpost_core::lineup::Setting;
use mendpost_core::situation::Situation;
use serde::Deserialize;

use crate::form::{FieldErrors, choice, decimal, integer};

/// What was typed; a figure typed goes before the recipe's.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub struct SettingForm {
    /// Code of a recipe.
    pub recipe: String,
    pub gas: String,
    /// Absolute.
    pub bar: String,
    pub celsius: String,
}

impl SettingForm {
    fn is_empty(&self) -> bool {
        [&self.recipe, &self.gas, &self.bar, &self.celsius]
            .into_iter()
            .all(|typed| typed.trim().is_empty())
    }

    /// The setting asked for, none if nothing was asked, or every fault.
    pub fn parse(&self, situation: &Situation) -> Result<Option<Setting>, FieldErrors> {
        if self.is_empty() {
            return Ok(None);
        }
        let mut errors = FieldErrors::default();
        let of_recipe = self.of_recipe(situation, &mut errors);
        let gas = match (self.gas.trim(), of_recipe) {
            ("", Some(setting)) => Some(setting.gas),
            (typed, _) => errors.check("gas", choice::<Gas>(typed)),
        };
        let pressure_mbar = match (self.bar.trim(), of_recipe) {
            ("", Some(setting)) => Some(setting.pressure_mbar),
            (typed, _) => errors.check("bar", decimal(typed, 3, 3_000..=100_000)),
        };
        let temperature_c = match (self.celsius.trim(), of_recipe) {
            ("", Some(setting)) => Some(setting.temperature_c),
            (typed, _) => errors.check("celsius", integer(typed, 20..=1200)),
        };
        match (gas, pressure_mbar, temperature_c) {
            (Some(gas), Some(pressure_mbar), Some(temperature_c)) if errors.is_empty() => {
                Ok(Some(Setting {
                    gas,
                    pressure_mbar,
                    temperature_c,
                }))
            }
            _ => Err(errors),
        }
    }

    fn of_recipe(&self, situation: &Situation, errors: &mut FieldErrors) -> Option<Setting> {
        let asked = self.recipe.trim();
        if asked.is_empty() {
            return None;
        }
        let recipes = situation
            .recipes
            .iter()
            .filter(|r| r.code.as_str() == asked);
        let best = recipes.max_by_key(|r| (r.state == RecipeState::Approved, r.revision));
        let setting = best.and_then(first_setting);
        if setting.is_none() {
            errors.add(
                "recipe",
                format!("'{asked}' is no recipe here; choose from the list"),
            );
        }
        setting
    }
}

/// Of a recipe with several stages, the first one's.
fn first_setting(recipe: &Recipe) -> Option<Setting> {
    recipe.sprays().next().map(Setting::of)
}
