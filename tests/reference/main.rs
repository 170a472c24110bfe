//! Core against published values and against programs that know better.

mod gas;
mod learned;
mod planner;
mod python;
mod resupply;
mod shape;
