//! What is read at a shift change, and the words in which it is told.

use crate::word_enum;

word_enum! {
    /// What is looked at in the cell before it is handed over.
    Place {
        /// The booth.
        Booth = "booth",
        /// The powder feeder.
        Feeder = "feeder",
        /// A bank of bottles.
        Bank = "bank",
        /// The gas heater.
        Heater = "heater",
        /// A furnace.
        Furnace = "furnace",
        /// The dust collector.
        Collector = "collector",
        /// The air compressor.
        Compressor = "compressor",
        /// The fuel of the set.
        Fuel = "fuel",
    }
}

/// A word for how a place stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Word {
    /// The word.
    pub word: &'static str,
    /// Whether it is an unusual state, which makes the handover one of higher risk.
    pub unusual: bool,
}

/// The usual words of a place, and behind the semicolon the unusual ones.
macro_rules! words {
    ($($usual:literal),*; $($unusual:literal),*) => {
        &[
            $(Word { word: $usual, unusual: false },)*
            $(Word { word: $unusual, unusual: true },)*
        ]
    };
}

impl Place {
    /// The words to choose from. Common practice, no source.
    #[must_use]
    pub const fn words(self) -> &'static [Word] {
        match self {
            Place::Booth => words!["clean", "dusty", "in use"; "locked off"],
            Place::Feeder => words!["empty", "loaded", "being cleaned"; "blocked"],
            Place::Bank => words!["shut", "open"; "being changed", "leak suspected"],
            Place::Heater => words!["cold", "cooling", "hot"; "locked off"],
            Place::Furnace => words!["cold", "heating", "holding", "cooling"; "fault"],
            Place::Collector => words!["stopped", "running", "to be emptied"; "fire watch"],
            Place::Compressor => words!["stopped", "running"; "fault"],
            Place::Fuel => words!["enough", "low"; "leak suspected"],
        }
    }

    /// Whether a word of this place is unusual; what is none of its words is.
    #[must_use]
    pub fn is_unusual(self, word: &str) -> bool {
        let known = self.words().iter().find(|it| it.word == word);
        known.is_none_or(|it| it.unusual)
    }
}
