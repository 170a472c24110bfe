//! Mendpost's web service.

pub mod solve;
