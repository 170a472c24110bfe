//! Plates that are sprayed on and fixtures that hold parts: which there are, and how many.

pub mod queries;
