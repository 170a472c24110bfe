//! What was weighed after a stage was sprayed.

use crate::code::LotCode;
use crate::gas::Gas;
use crate::quantity::Milligrams;

/// One build of a stage whose powder and deposit were weighed, and what it was sprayed with.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WeighedBuild {
    /// Powder fed to the part, without starts, stops and coupons.
    pub fed: Milligrams,
    /// What stuck to the part.
    pub deposited: Milligrams,
    /// The lot it came from; none if nobody said, or if there were several.
    pub lot: Option<LotCode>,
    /// The gas that carried it.
    pub gas: Gas,
    /// Nozzle pressure, absolute, in millibar.
    pub pressure_mbar: i64,
    /// Gas temperature before the nozzle, in degrees Celsius.
    pub temperature_c: i64,
    /// Throat of the nozzle as gauged last before it, in micrometres.
    pub throat_um: i64,
}

impl WeighedBuild {
    /// Deposited for each gram fed; not a number if nothing was fed.
    #[must_use]
    pub const fn efficiency(&self) -> f64 {
        self.deposited.0 as f64 / self.fed.0 as f64
    }
}
