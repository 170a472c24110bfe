//! Dangerous goods on the way: what an item's safety sheet says, and what the site wrote down of the rules of
//! road, sea and air.
//!
//! What is reckoned here warns. It is no declaration: a trained shipper makes that, by the edition in force,
//! and the maker's safety sheet decides the entry.

use crate::word_enum;
use chrono::{DateTime, Utc};

word_enum! {
    /// How a trip travels.
    Mode {
        /// On a road.
        Road = "road",
        /// On the sea.
        Sea = "sea",
        /// In an aircraft.
        Air = "air",
    }
}

word_enum! {
    /// How dangerous a substance is within its class: I most, III least.
    PackingGroup {
        /// Great danger.
        I = "I",
        /// Medium danger.
        II = "II",
        /// Minor danger.
        III = "III",
    }
}

/// What is known of an item's safety sheet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Sheet {
    /// Nobody has read it: such an item is loaded on nothing.
    NotRead,
    /// By its sheet, named here, it is no dangerous good, or it is a thing that has none.
    Free {
        /// The sheet and its date, or why it has none.
        sheet: String,
    },
    /// Its entry.
    Entry(Dangerous),
}

/// A dangerous-goods entry, as the maker's safety sheet gives it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Dangerous {
    /// The UN number, without 'UN'.
    pub un: i64,
    /// The proper shipping name.
    pub name: String,
    /// The class, as '4.3' or '2.2'.
    pub class: String,
    /// Subsidiary classes.
    pub subsidiary: Vec<String>,
    /// The packing group, where the entry has one.
    pub group: Option<PackingGroup>,
    /// What the rules count of one unit: net grams, millilitres of a liquid, millilitres of water capacity of
    /// a bottle of compressed gas.
    pub counted: i64,
    /// The sheet and its date.
    pub sheet: String,
}

/// What the site wrote down of the rules of one mode.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CarriageRules {
    /// Of which mode.
    pub mode: Mode,
    /// Title and edition of the rules.
    pub edition: String,
    /// Who wrote it down.
    pub entered_by: String,
    /// When.
    pub entered_at: DateTime<Utc>,
    /// The most points of one load, in thousandths; none where the mode counts none.
    pub points_milli: Option<i64>,
    /// What holds for which entries: the one that says most of an entry holds.
    pub rules: Vec<CarriageRule>,
    /// Classes that are not loaded together.
    pub apart: Vec<Apart>,
}

/// What holds for entries of a UN number or a class.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CarriageRule {
    /// Of this UN number alone; else of the whole class.
    pub un: Option<i64>,
    /// Of this class alone; else of any.
    pub class: Option<String>,
    /// Of this packing group alone; else of any.
    pub group: Option<PackingGroup>,
    /// It is not taken at all.
    pub refused: bool,
    /// The most in one package, as counted in [`Dangerous::counted`].
    pub package: Option<i64>,
    /// The most in one load, as counted.
    pub load: Option<i64>,
    /// Points for each 1000 counted, which is a kilogram or a litre.
    pub points: i64,
    /// Why, or where it stands.
    pub note: String,
}

/// Two classes that do not travel on one trip, by what the site wrote down.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Apart {
    /// One.
    pub one: String,
    /// The other.
    pub other: String,
    /// What the rules say, as 'separated from'.
    pub what: String,
    /// On this vehicle they can be kept as far apart as that; else they are not loaded together.
    pub can_be_kept: bool,
}
