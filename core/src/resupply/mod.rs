//! Resupply: what to load on the next trip, what it averts, and what stays behind.

mod carriage;
mod failure;
mod item;
mod trip;

pub use carriage::{Apart, CarriageRule, CarriageRules, Dangerous, Mode, PackingGroup, Sheet};
pub use failure::FailureRecord;
pub use item::{Consumed, Content, Counted, Item};
pub use trip::Trip;
