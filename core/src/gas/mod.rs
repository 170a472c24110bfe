//! Gases that a nozzle may be fed with.

use crate::word_enum;

word_enum! {
    /// A gas that carries powder.
    Gas {
        /// Nitrogen.
        Nitrogen = "nitrogen",
        /// Helium.
        Helium = "helium",
        /// Argon.
        Argon = "argon",
        /// Compressed air.
        Air = "air",
    }
}
