//! What a recipe takes here: powder with its uncertainty, minutes at the nozzle, and whether its
//! particles arrive fast enough to stay.

mod carrier;
mod closed_form;
mod drag;
mod efficiency;
mod error;
mod learned;
mod need;
mod particle;
mod stage;
mod window;

pub use closed_form::{best_mach, velocity_in_steady_gas};
pub use drag::DragLaw;
pub use efficiency::{Efficiency, Quantile};
pub use error::DepositError;
pub use learned::{Learned, Predicted};
pub use need::{PowderNeed, deposited_grams};
pub use particle::{Arrival, Cone, Particle};
pub use stage::Spraying;
pub use window::{BondModel, Metal, Outlook, VelocityRatio, Window};
