use super::BondModel;
use crate::gas::OutOfRange;

/// Why a reckoning of powder or minutes was refused.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum DepositError {
    /// A number outside what is allowed.
    #[error(transparent)]
    OutOfRange(#[from] OutOfRange),
    /// No distribution on 0 to 1 has such a mean and spread.
    #[error(
        "an efficiency of {mean} can't spread by {sd}; allowed is less than {limit:.3}; \
         weigh more builds or give a smaller spread"
    )]
    SpreadTooWide {
        /// Mean efficiency, of 1.
        mean: f64,
        /// Its standard deviation, of 1.
        sd: f64,
        /// The standard deviation that it must stay below.
        limit: f64,
    },
    /// Next to nothing of the powder may stick at the quantile.
    #[error(
        "an efficiency of {mean} with a spread of {sd} may be as low as {low:.4} at quantile \
         {quantile}, and below 0.01 no amount of powder is enough; weigh more builds or plan at \
         a lower quantile"
    )]
    NoFiniteNeed {
        /// Mean efficiency, of 1.
        mean: f64,
        /// Its standard deviation, of 1.
        sd: f64,
        /// The efficiency at the quantile.
        low: f64,
        /// The quantile.
        quantile: f64,
    },
    /// The gas does not fill the nozzle.
    #[error(
        "at {bar} bar absolute the gas leaves the wall before the exit of {exit_mm} mm; give at \
         least {least:.1} bar or a narrower exit"
    )]
    NozzleNotFull {
        /// Absolute pressure at rest, in bar.
        bar: f64,
        /// Exit bore, in mm.
        exit_mm: f64,
        /// The pressure that would fill it against the air at sea level, in bar absolute.
        least: f64,
    },
    /// The integration did not settle.
    #[error(
        "the path of a particle of {diameter_um} um did not settle in {steps} steps; give a \
         larger particle"
    )]
    PathNotSettled {
        /// Diameter of the particle, in micrometres.
        diameter_um: f64,
        /// The steps after which it was given up.
        steps: u32,
    },
    /// The straight lines of a model run below zero.
    #[error(
        "{model} gives a critical velocity of {found:.1} m/s, which can't be; use schmidt-2006 or \
         assadi-2011 for such a metal, or check its values"
    )]
    NoCritical {
        /// The model.
        model: BondModel,
        /// What it gives, in m/s.
        found: f64,
    },
}
