//! What speaks against a draw, in words.

use mendpost_core::code::LotCode;
use mendpost_core::powder::draw::Doubt;
use mendpost_core::situation::Situation;

use super::Words;
use super::powder::lot_state;
use crate::page::{minutes, moment, whole};

/// What speaks against a draw, as half a sentence.
pub fn doubt(situation: &Situation, doubt: &Doubt) -> String {
    let words = Words::new(situation);
    match doubt {
        Doubt::NotReleased(state) => format!("its lot may not be drawn: {}", lot_state(*state)),
        Doubt::OtherPowder { takes } => {
            format!("the recipe takes {}", words.powder(takes.as_str()))
        }
        Doubt::FeederHolds { powder } => format!(
            "the feeder is not clean of {}; empty and clean it first",
            words.powder(powder.as_str())
        ),
        Doubt::OutOfDate { since } => format!(
            "its date passed {}",
            moment(since.timestamp_millis(), situation.site.zone)
        ),
        Doubt::OpenTooLong {
            minutes: open,
            limit,
        } => format!(
            "it stood open for {}, and {} are allowed",
            minutes(*open),
            minutes(*limit)
        ),
        Doubt::OtherLot { lots } => format!(
            "the part is to be of one lot, and the feeder holds {}",
            listed(lots)
        ),
        Doubt::NotByOrder { lots } => format!("the order takes {} for it", listed(lots)),
        Doubt::EarlierLot { lot, use_by } => format!(
            "{lot} goes out of date earlier, {}",
            moment(use_by.timestamp_millis(), situation.site.zone)
        ),
        Doubt::KeptBack { free_g } => format!(
            "the rest is kept back for other machines: {} g are free for this one",
            whole(*free_g)
        ),
    }
}

/// 'L0393 and L0399'.
fn listed(lots: &[LotCode]) -> String {
    let lots: Vec<&str> = lots.iter().map(LotCode::as_str).collect();
    match lots.as_slice() {
        [] => "none".to_owned(),
        [only] => (*only).to_owned(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}
