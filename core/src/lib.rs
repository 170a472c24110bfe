//! The computation behind Mendpost.

pub mod planner;
