//! The line-up explains itself: why a request does not go earlier, what one more of something is worth, and
//! which loss figure would change the first places.

mod earlier;
mod measure;
mod more;
mod swing;
#[cfg(test)]
mod tests;

pub(super) use earlier::tell_why;
pub use earlier::{Displaced, Earlier, Lack, Moved};
pub use measure::{Averted, Budget, Measure, Worth};
pub use more::{More, duty_ends};
pub use swing::{Swing, Tip};
