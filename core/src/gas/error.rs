use super::{Gas, OutOfRange};

/// Why a gas calculation was refused.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum GasError {
    /// A number outside what is allowed.
    #[error(transparent)]
    OutOfRange(#[from] OutOfRange),
    /// The equation of state did not converge.
    #[error(
        "the equation of state finds no single state of {gas} at {bar} bar and {celsius} C; \
         check both readings"
    )]
    NoState {
        /// The gas.
        gas: Gas,
        /// Absolute pressure, in bar.
        bar: f64,
        /// Temperature, in degrees Celsius.
        celsius: f64,
    },
    /// A fast draw cools the gas further than its states are known.
    #[error(
        "drawn fast down to {bar} bar absolute, {gas} would cool to {celsius:.0} C or below, where it may \
         turn liquid; give a higher floor or draw it slowly"
    )]
    TooCold {
        /// The gas.
        gas: Gas,
        /// Absolute pressure at the end, in bar.
        bar: f64,
        /// Temperature on the way there, in degrees Celsius.
        celsius: f64,
    },
    /// The end temperature lies below the start.
    #[error(
        "heating from {from} C to {to} C is no heating; give an end temperature that is not \
         below the start"
    )]
    Cooling {
        /// Start temperature, in degrees Celsius.
        from: f64,
        /// End temperature, in degrees Celsius.
        to: f64,
    },
    /// More is to be drawn than there is.
    #[error("{asked} g is more than the {held} g that the bank holds; draw no more than that")]
    MoreThanHeld {
        /// Grams asked for.
        asked: i64,
        /// Grams held.
        held: i64,
    },
    /// More power is asked for than the set gives.
    #[error(
        "a load of {load} kW is more than the {rated} kW that the generator is rated for; \
         shed {} kW or name a larger set",
        load - rated
    )]
    Overload {
        /// Load, in kilowatts.
        load: f64,
        /// Rated power, in kilowatts.
        rated: f64,
    },
}
