//! What a recipe takes here: powder with its uncertainty, and minutes at the nozzle.

mod efficiency;
mod error;
mod need;
mod stage;

pub use efficiency::{Efficiency, Quantile};
pub use error::DepositError;
pub use need::{PowderNeed, deposited_grams};
pub use stage::Spraying;
