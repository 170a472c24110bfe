//! Words for lots, what they hold, and what runs out.

use chrono::{DateTime, Utc};
use mendpost_core::lineup::{LotStock, OutCause, RunOut, Stock};
use mendpost_core::powder::book::Place;
use mendpost_core::powder::{LotState, Reason};

use super::Words;
use super::work::count;
use crate::page::whole;

impl Words<'_> {
    /// A powder's name up to the first comma: 'aluminium bronze'.
    pub fn powder_short(&self, code: &str) -> String {
        let name = self.powder(code);
        name.split(',').next().unwrap_or(&name).to_owned()
    }

    /// When a powder runs out: 'Sat 12:30, with place 7'; 'out now'.
    pub fn out(&self, out: &RunOut) -> String {
        match &out.cause {
            OutCause::Already => "out now".to_owned(),
            OutCause::Place(place) => format!("{}, with place {place}", self.clock(out.at)),
            OutCause::UseBy(lot) => format!("{}, with the date of {lot}", self.clock(out.at)),
        }
    }

    /// What is left when a powder has run out.
    pub fn left(&self, out: &RunOut) -> String {
        match out.left_g {
            0 => "nothing left".to_owned(),
            left if left < out.least_g => {
                format!("{} g left, less than any recipe takes", whole(left))
            }
            left => format!("{} g left, in no lot enough for a recipe", whole(left)),
        }
    }

    /// 'runs out Sat 12:30, three days before the supply boat', or how else it stands.
    pub fn runs_out(&self, stock: &Stock, out: &RunOut) -> String {
        let coming = stock.arrivals.iter().find(|a| a.usable_from >= out.at);
        let Some(arrival) = coming else {
            return match out.cause {
                OutCause::Already => "is out, and no delivery brings more".to_owned(),
                _ => format!(
                    "runs out {}, and no delivery brings more",
                    self.clock(out.at)
                ),
            };
        };
        let delivery = self.delivery(arrival.delivery.as_str());
        let when = self.clock(arrival.expected);
        match (&out.until, &out.cause) {
            (None, OutCause::Already) => {
                format!("is out, and the {delivery}, {when}, brings too little")
            }
            (None, _) => format!(
                "runs out {}, and the {delivery} brings too little",
                self.clock(out.at)
            ),
            (Some(_), OutCause::Already) => format!("is out until the {delivery}, {when}"),
            (Some(_), _) => format!(
                "runs out {}, {} the {delivery}",
                self.clock(out.at),
                before(out.at, arrival.expected)
            ),
        }
    }

    /// 'supply boat'.
    pub fn delivery(&self, code: &str) -> String {
        let mut deliveries = self.situation.deliveries.iter();
        deliveries
            .find(|d| d.code.as_str() == code)
            .map_or_else(|| code.to_owned(), |d| d.name.clone())
    }

    /// Why a lot may not be drawn, in a word or two; none for one that may.
    pub fn lot_state(&self, stock: &LotStock) -> &'static str {
        match stock.lot.state {
            LotState::Released if !stock.usable => "past its date",
            state => lot_state(state),
        }
    }
}

/// 'three days before', '5 hours before', 'just before'.
fn before(out: DateTime<Utc>, arrival: DateTime<Utc>) -> String {
    let hours = (arrival - out).num_hours();
    match hours {
        ..1 => "just before".to_owned(),
        1 => "one hour before".to_owned(),
        2..48 => format!(
            "{} hours before",
            count(usize::try_from(hours).unwrap_or(0))
        ),
        _ => format!(
            "{} days before",
            count(usize::try_from(hours / 24).unwrap_or(0))
        ),
    }
}

/// Where a lot stands.
pub const fn lot_state(state: LotState) -> &'static str {
    match state {
        LotState::Arrived => "arrived, not looked at",
        LotState::Quarantine => "quarantine",
        LotState::Released => "released",
        LotState::Hold => "hold",
        LotState::Rejected => "rejected",
        LotState::Empty => "empty",
    }
}

/// Why powder moved.
pub const fn moved(reason: Reason) -> &'static str {
    match reason {
        Reason::Receipt => "received",
        Reason::Before => "used before the book began",
        Reason::Draw => "drawn",
        Reason::Return => "poured back",
        Reason::Spray => "sprayed",
        Reason::Coupon => "on coupons",
        Reason::Sweep => "swept up",
        Reason::WriteOff => "written off",
        Reason::Count => "counted",
        Reason::Repack => "repacked",
        Reason::Blend => "blended",
        Reason::SendBack => "sent back",
        Reason::Correction => "taken back",
    }
}

/// Where powder is, or went.
pub fn place(place: &Place) -> String {
    match place {
        Place::Depot => "depot".to_owned(),
        Place::Container(code) => code.to_string(),
        Place::Feeder => "feeder".to_owned(),
        Place::Build(number) => format!("build {number}"),
        Place::Coupon(number) => format!("coupons of build {number}"),
        Place::Waste => "waste".to_owned(),
        Place::Gap => "gap of a count".to_owned(),
        Place::Before => "before the book".to_owned(),
    }
}
