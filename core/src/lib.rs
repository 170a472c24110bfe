//! The computation behind Mendpost.

pub mod journal;
pub mod people;
