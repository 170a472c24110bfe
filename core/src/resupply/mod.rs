//! Resupply: what to load on the next trip, what it averts, and what stays behind.

mod carriage;
pub mod demand;
mod item;
pub mod pack;
mod trip;

pub use carriage::{Apart, CarriageRule, CarriageRules, Dangerous, Mode, PackingGroup, Sheet};
pub use item::{Consumed, Content, Counted, Item};
pub use trip::Trip;
