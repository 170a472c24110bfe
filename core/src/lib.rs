//! The computation behind Mendpost: gas, powder, planning.
//!
//! Pure: no clock, file, network, database or thread of its own. What it needs comes in as
//! values, `now`, a seed, a stopping rule; what it finds goes out as values, reasons included.
#![warn(missing_docs)]

pub mod build;
pub mod catalogue;
pub mod code;
pub mod course;
pub mod deposit;
pub mod finish;
pub mod gas;
pub mod interim;
pub mod journal;
pub mod label;
pub mod lineup;
pub mod people;
pub mod planner;
pub mod powder;
pub mod quantity;
pub mod resupply;
pub mod shape;
pub mod shift;
pub mod signature;
pub mod situation;
pub mod word;
