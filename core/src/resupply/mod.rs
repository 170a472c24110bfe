//! Resupply: what to load on the next trip, what it averts, and what stays behind.

mod carriage;
mod failure;
mod item;
mod load;
mod outlook;
pub mod pack;
mod propose;
#[cfg(test)]
mod samples;
mod scenario;
mod shelf;
#[cfg(test)]
mod tests;
mod trip;
mod usual;
mod worth;

pub use carriage::{Apart, CarriageRule, CarriageRules, Dangerous, Mode, PackingGroup, Sheet};
pub use failure::{FailureRecord, Rate};
pub use item::{Consumed, Content, Counted, Item};
pub use load::{Barred, Carrier, Load, MASS, POINTS, VOLUME, loaded};
pub use outlook::{Outlook, Scene, look};
pub use propose::{Behind, LoadLine, Order, Proposal, Usual, propose};
pub use scenario::{Failure, draw};
pub use shelf::{Shelf, shelves};
pub use trip::{NextTrip, Trip};
pub use worth::{COURSES, Setting, Truly, Yardstick};
