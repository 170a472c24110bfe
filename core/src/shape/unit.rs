use crate::word_enum;

word_enum! {
    /// What a figure in a file stands for; the format does not say.
    Unit {
        /// Millimetre.
        Millimetre = "mm",
        /// Centimetre.
        Centimetre = "cm",
        /// Metre.
        Metre = "m",
        /// Inch.
        Inch = "inch",
    }
}

impl Unit {
    /// Millimetres in one of it. The inch is 25.4 mm exactly (NIST SP 811, appendix B).
    #[must_use]
    pub const fn mm(self) -> f64 {
        match self {
            Unit::Millimetre => 1.0,
            Unit::Centimetre => 10.0,
            Unit::Metre => 1000.0,
            Unit::Inch => 25.4,
        }
    }
}
