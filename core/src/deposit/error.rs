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
}
