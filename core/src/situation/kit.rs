use crate::code::KitCode;
use crate::word_enum;

word_enum! {
    /// Whether a piece of kit is used up.
    KitKind {
        /// A plate that is sprayed on and stays with the part.
        Plate = "plate",
        /// What holds a part, and comes back.
        Fixture = "fixture",
    }
}

/// What a part is sprayed on or held by.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Kit {
    /// Its code.
    pub code: KitCode,
    /// What the crew calls it.
    pub name: String,
    /// Whether it is used up.
    pub kind: KitKind,
    /// How many are here.
    pub count: i64,
}
