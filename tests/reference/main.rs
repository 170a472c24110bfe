//! Core against published values and against programs that know better.

mod gas;
mod planner;
