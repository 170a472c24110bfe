//! What the depot can send: one stock number, one unit of issue.

use super::carriage::Sheet;
use crate::code::{BankCode, ItemCode, PartCode, PowderCode};
use chrono::{DateTime, Utc};

/// What one unit of an item is to the site.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Content {
    /// A container of powder, of a lot of its own.
    Powder {
        /// What.
        powder: PowderCode,
        /// How much is in it, in grams.
        grams: i64,
    },
    /// A full bottle for a bank.
    Gas {
        /// Which bank it will stand with.
        bank: BankCode,
        /// Pressure at which it is filled, absolute, in millibar.
        pressure_mbar: i64,
    },
    /// Fuel for the set.
    Fuel {
        /// How much, in millilitres.
        ml: i64,
    },
    /// Something that spraying and the crew use up: nozzles, filter elements, masks, gloves.
    Consumable(Consumed),
    /// A true part, which requests may wait for.
    Part(PartCode),
    /// Anything else; nothing is reckoned of it.
    Other,
}

/// How fast a consumable is used, and what there is of it.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Consumed {
    /// Thousandths of a unit for each build.
    pub per_build_milli: i64,
    /// Thousandths of a unit for each hour of spraying.
    pub per_hour_milli: i64,
    /// Thousandths of a unit for each day.
    pub per_day_milli: i64,
    /// The newest count; none if nobody counted, and then nothing is reckoned of it.
    pub counted: Option<Counted>,
    /// Builds that were begun since it was counted.
    pub builds_since: i64,
    /// Minutes of spraying that were planned for these.
    pub spray_min_since: i64,
}

/// What somebody counted of a consumable.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Counted {
    /// How many units.
    pub units: i64,
    /// When.
    pub at: DateTime<Utc>,
    /// By whom.
    pub by: String,
}

/// What the depot can send, by its stock number.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Item {
    /// The stock number.
    pub code: ItemCode,
    /// The plain name.
    pub name: String,
    /// The unit of issue, as 'can 5 kg'.
    pub unit: String,
    /// What one unit is to the site.
    pub content: Content,
    /// Net mass of one unit, in grams.
    pub net_g: i64,
    /// Gross mass of one unit, in grams: what is lifted and carried.
    pub gross_g: i64,
    /// Length, width and height of one unit, in millimetres.
    pub size_mm: [i64; 3],
    /// Others may stand on it.
    pub stackable: bool,
    /// What its maker's safety sheet says for its carriage.
    pub sheet: Sheet,
    /// How many units the depot has; none if not known.
    pub depot: Option<i64>,
    /// What may be sent instead, the best first.
    pub substitutes: Vec<ItemCode>,
}

impl Item {
    /// The room that one unit takes, in millilitres, rounded up.
    #[must_use]
    pub const fn volume_ml(&self) -> i64 {
        let [x, y, z] = self.size_mm;
        (x * y * z + 999).div_euclid(1000)
    }

    /// Its longest side, in millimetres.
    #[must_use]
    pub fn longest_mm(&self) -> i64 {
        self.size_mm.into_iter().max().unwrap_or(0)
    }
}
