//! Resupply: what to load on the next trip, what it averts, and what stays behind.

mod carriage;
pub mod demand;
mod failure;
mod first;
mod item;
pub mod list;
mod load;
mod need;
mod outlook;
pub mod pack;
mod propose;
pub mod radio;
#[cfg(test)]
mod samples;
mod scenario;
mod shelf;
mod slip;
#[cfg(test)]
mod tests;
mod trip;
mod usual;
mod worth;

pub use carriage::{Apart, CarriageRule, CarriageRules, Dangerous, Mode, PackingGroup, Sheet};
pub use failure::{FailureRecord, Rate};
pub use first::{Spares, first_setting, spares_for};
pub use item::{Consumed, Content, Counted, Item};
pub use load::{Barred, Carrier, Load, MASS, POINTS, VOLUME, loaded};
pub use need::{Kind, Need, needs};
pub use outlook::{Lacks, Outlook, RunsOut, Scene, look};
pub use propose::{Behind, LoadLine, Order, Proposal, Stays, Usual, propose};
pub use scenario::{Failure, draw};
pub use shelf::{Shelf, shelves};
pub use slip::{SLIP_DAYS, Slip, slips};
pub use trip::{NextTrip, Trip};
pub use worth::{COURSES, Setting, Truly, Yardstick};
