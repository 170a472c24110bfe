//! Operations of a recipe as rows, wherever a page lists them.

use mendpost_core::catalogue::{Operation, Recipe};
use mendpost_core::lineup::stage_need;
use mendpost_core::situation::Situation;

use super::path;
use crate::page::{minutes, whole};
use crate::words::Words;
use crate::words::catalogue::{place, setting};
use crate::words::recipe::thousandths;
use crate::words::work::sentence;

/// An operation as a row shows it.
pub struct Row {
    pub position: usize,
    /// Where it is changed while the recipe is a draft.
    pub path: String,
    pub name: String,
    pub place: String,
    pub time: String,
    pub crew: i64,
    pub after: String,
    pub sprays: bool,
    /// Powder and setting of a stage, and what an operation takes besides.
    pub detail: String,
}

/// Every operation of a recipe, with the time that it takes here.
pub fn rows(situation: &Situation, words: &Words<'_>, recipe: &Recipe) -> Vec<Row> {
    let back = path(recipe);
    (1..)
        .zip(&recipe.operations)
        .map(|(position, operation)| Row {
            position,
            path: format!("{back}/operations/{position}"),
            name: sentence(&operation.name),
            place: at(words, operation),
            time: time(situation, operation),
            crew: operation.crew,
            after: match operation.after_min {
                0 => String::new(),
                wait => minutes(wait),
            },
            sprays: operation.spray.is_some(),
            detail: detail(words, operation),
        })
        .collect()
}

fn time(situation: &Situation, operation: &Operation) -> String {
    match (&operation.spray, operation.away_days) {
        (Some(spray), _) => stage_need(situation, spray)
            .map_or_else(|_| "no figure".to_owned(), |need| minutes(need.minutes)),
        (None, Some(away)) => days(away),
        (None, None) => minutes(operation.step_min()),
    }
}

/// '1 day', '10 days'.
pub fn days(days: i64) -> String {
    match days {
        1 => "1 day".to_owned(),
        more => format!("{more} days"),
    }
}

fn at(words: &Words<'_>, operation: &Operation) -> String {
    match (&operation.station, operation.away_days) {
        (_, Some(_)) => "sent out".to_owned(),
        (Some(station), None) => words.station(station.as_str()),
        (None, None) => place(operation.kind).to_owned(),
    }
}

/// '316L stainless, one lot; 35 bar, 560 °C, 45 g/min; 30 mm off, 500 mm/s'.
fn detail(words: &Words<'_>, operation: &Operation) -> String {
    let mut parts = Vec::new();
    if let Some(spray) = &operation.spray {
        parts.push(words.spray_powder(spray));
        parts.push(setting(spray));
        parts.push(format!(
            "{}, {} g to stick",
            spray.gas,
            whole(spray.deposited_g)
        ));
        let motion = &spray.motion;
        let mut moves = Vec::new();
        if !motion.nozzle.is_empty() {
            moves.push(format!("nozzle {}", motion.nozzle));
        }
        moves.extend(
            motion
                .standoff_um
                .map(|um| format!("{} mm off", thousandths(um))),
        );
        moves.extend(motion.traverse_mm_s.map(|v| format!("{v} mm/s")));
        moves.extend(
            motion
                .spacing_um
                .map(|um| format!("{} mm apart", thousandths(um))),
        );
        moves.extend(motion.preheat_c.map(|c| format!("part at {c} °C")));
        moves.extend(motion.passes.map(|passes| format!("{passes} passes")));
        parts.push(moves.join(", "));
    }
    if let Some(plate) = &operation.plate {
        parts.push(format!("uses up {}", words.kit(plate.as_str())));
    }
    if let Some(held) = &operation.fixture {
        let fixture = words.kit(held.fixture.as_str());
        parts.push(format!("{fixture} until operation {} ends", held.through));
    }
    if let Some(within) = operation.within_min {
        parts.push(format!("within {} of the one before", minutes(within)));
    }
    if !operation.cycle.is_empty() {
        parts.push(format!("cycle {}", operation.cycle));
    }
    parts.retain(|part| !part.is_empty());
    parts.join("; ")
}
