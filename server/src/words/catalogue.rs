//! Words for recipes, their operations, and what a stage takes here.

use mendpost_core::catalogue::{Flag, OperationKind, Part, RecipeState, Spray};
use mendpost_core::lineup::{GasSource, StageNeed};

use super::work::flag;
use super::{Words, bar, kilograms, kilowatts};
use crate::page::{minutes, whole};

impl Words<'_> {
    /// '316L stainless, one lot'.
    pub fn spray_powder(&self, spray: &Spray) -> String {
        let lots = if spray.one_lot { "one lot" } else { "any lots" };
        format!("{}, {lots}", self.powder_short(spray.powder.as_str()))
    }

    /// What a stage takes here, as pairs of a word and its value.
    pub fn stage(&self, spray: &Spray, need: &StageNeed) -> Vec<(&'static str, String)> {
        let quantile = self.situation.site.need_permille;
        let permille = |value: i64| format!("{} %", super::tenths_of(value, 10));
        let source = match &need.source {
            GasSource::Compressor => "from the compressor".to_owned(),
            GasSource::Bank(bank) => {
                format!("from bank {bank}, at {} or more", bar(need.source_mbar))
            }
        };
        vec![
            (
                "Powder",
                format!(
                    "{} g, enough in {} of builds",
                    whole(need.powder_g),
                    permille(quantile)
                ),
            ),
            ("Deposited", format!("{} g", whole(spray.deposited_g))),
            (
                "Loss, coupon",
                format!(
                    "{} g, {} g",
                    whole(spray.start_stop_loss_g),
                    whole(spray.coupon_g)
                ),
            ),
            ("Cell", minutes(need.minutes)),
            (
                "Gas",
                format!(
                    "{} of {} {source}, {}",
                    kilograms(need.gas_g),
                    spray.gas,
                    minutes(need.gas_min)
                ),
            ),
            (
                "Fuel",
                format!("{} L", super::tenths_of(need.fuel_ml, 1000)),
            ),
            (
                "Power",
                format!("{}, camp not counted", kilowatts(need.power_w)),
            ),
        ]
    }
}

/// What is asked at the nozzle: '35 bar, 560 °C, 45 g/min'.
pub fn setting(spray: &Spray) -> String {
    format!(
        "{}, {} °C, {} g/min",
        bar(spray.pressure_mbar),
        spray.temperature_c,
        spray.feed_g_per_min
    )
}

/// What a part is used for that someone may have to answer for; nothing said counts as unknown.
pub fn flags(part: &Part) -> String {
    let words: Vec<&str> = part.flags.iter().map(|f| flag(*f)).collect();
    if words.is_empty() {
        flag(Flag::Unknown).to_owned()
    } else {
        words.join(", ")
    }
}

/// Where a revision stands.
pub const fn state(state: RecipeState) -> &'static str {
    match state {
        RecipeState::Draft => "draft",
        RecipeState::Proposed => "proposed",
        RecipeState::Approved => "approved",
        RecipeState::Superseded => "superseded",
        RecipeState::Withdrawn => "withdrawn",
    }
}

/// Where work of this kind is done if no station is named.
pub const fn place(kind: OperationKind) -> &'static str {
    match kind {
        OperationKind::Spray => "cell",
        OperationKind::Carry => "on the way",
        OperationKind::Fit | OperationKind::FirstRun => "at the machine",
        _ => "",
    }
}
