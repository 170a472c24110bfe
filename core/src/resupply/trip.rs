//! One trip of a vehicle: what it may carry, and when it comes.

use super::carriage::Mode;
use crate::code::{DeliveryCode, ItemCode};
use chrono::{DateTime, Utc};

/// One trip of a vehicle to the site; on the site's list of deliveries it has the same code.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Trip {
    /// Its code, as that of the delivery.
    pub code: DeliveryCode,
    /// What comes: a boat, an aircraft.
    pub name: String,
    /// How it travels: by which rules dangerous goods are carried.
    pub mode: Mode,
    /// What it may carry, in grams.
    pub payload_g: i64,
    /// So many thousandths of the payload stay free.
    pub reserve_permille: i64,
    /// Room for cargo, in millilitres.
    pub volume_ml: i64,
    /// The longest piece that goes in, in millimetres.
    pub longest_mm: i64,
    /// The heaviest piece, gross, that can be put in and taken out there, in grams.
    pub heaviest_g: i64,
    /// It takes dangerous goods at all, as far as the rules of its mode let it.
    pub dangerous: bool,
    /// When it comes at the earliest.
    pub earliest: DateTime<Utc>,
    /// When it usually would: what the line-up counts with.
    pub usual: DateTime<Utc>,
    /// When it comes at the latest.
    pub latest: DateTime<Utc>,
    /// When its list closes.
    pub closes: DateTime<Utc>,
    /// What it takes back, in words; empty if nothing.
    pub takes_back: String,
    /// What must go, by order of naming, and how many units of it.
    pub must_go: Vec<(ItemCode, i64)>,
}

/// The trip after one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum NextTrip {
    /// It is known.
    Known(Trip),
    /// It is not known: so many days after this one's usual arrival are reckoned with.
    Days(i64),
    /// What is loaded must last until then, whatever comes after.
    At(DateTime<Utc>),
}

impl Trip {
    /// What the list may weigh, in grams: the payload less its reserve.
    #[must_use]
    pub const fn mass_limit_g(&self) -> i64 {
        self.payload_g * (1000 - self.reserve_permille) / 1000
    }
}
