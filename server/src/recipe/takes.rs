//! What an operation takes here, worked out from its figures, saved or not.

use mendpost_core::catalogue::{Operation, Spray};
use mendpost_core::lineup::{Setting, conditions, flight, stage_need};
use mendpost_core::situation::Situation;

use super::rows::days;
use super::spent;
use crate::page::minutes;
use crate::words::flight as flying;
use crate::words::work::sentence;
use crate::words::{Words, kilowatts};

/// What one operation takes here.
pub struct Takes {
    pub title: String,
    pub pairs: Vec<(&'static str, String)>,
    /// Why it cannot be done here as it stands, and what opens that.
    pub shut: Option<(String, String)>,
    /// Mark and words for what the particles do today.
    pub window: Option<(&'static str, String)>,
    pub warnings: Vec<String>,
}

/// What a stage or a step takes here.
pub fn takes(situation: &Situation, operation: &Operation, machined_um: i64) -> Takes {
    match &operation.spray {
        Some(spray) => stage(situation, spray, machined_um),
        None => step(situation, operation),
    }
}

fn stage(situation: &Situation, spray: &Spray, machined_um: i64) -> Takes {
    let words = Words::new(situation);
    let mut takes = Takes {
        title: "What it takes here".to_owned(),
        pairs: Vec::new(),
        shut: None,
        window: None,
        warnings: Vec::new(),
    };
    match stage_need(situation, spray) {
        Ok(need) => {
            takes.pairs = words.stage(spray, &need);
            takes.pairs.extend(spent::pair(&spray.timed));
        }
        Err(shut) => takes.shut = Some((words.gate(&shut.gate), words.opens(&shut.opens))),
    }
    let today = conditions(situation, Setting::of(spray), machined_um);
    let differs: Vec<String> = today.differences.iter().map(flying::difference).collect();
    if !differs.is_empty() {
        let text = format!("Today: {}.", differs.join("; "));
        takes.warnings.push(text);
    }
    match flight(situation, &spray.powder, today.setting, today.throat_um) {
        Ok(flown) => {
            takes.window = Some((flying::mark(flown.outlook), flying::verdict(&flown)));
            takes.warnings.extend(flying::wall(&flown));
        }
        Err(missing) => takes.warnings.push(sentence(&missing.to_string()) + "."),
    }
    takes
}

fn step(situation: &Situation, operation: &Operation) -> Takes {
    let code = operation.station.as_ref();
    let station = code.and_then(|code| situation.station(code));
    let mut pairs = vec![(
        "Time",
        match operation.away_days {
            Some(away) => format!("{}, counted day and night", days(away)),
            None => minutes(operation.step_min()),
        },
    )];
    pairs.extend(spent::pair(&operation.timed));
    if let Some(station) = station.filter(|station| station.power_w > 0) {
        let wh = station.power_w * operation.step_min() / 60;
        pairs.push((
            "Power",
            format!("{} while it works", kilowatts(station.power_w)),
        ));
        pairs.push((
            "Energy",
            format!("{} kWh", crate::words::tenths_of(wh, 1000)),
        ));
    }
    let people = match operation.crew {
        0 => "nobody: it runs by itself".to_owned(),
        1 => "one".to_owned(),
        more => more.to_string(),
    };
    pairs.push(("People", people));
    Takes {
        title: "What it takes here".to_owned(),
        pairs,
        shut: None,
        window: None,
        warnings: Vec::new(),
    }
}
