//! Worked examples of runs, and the calibration of what is said.

mod calibration;
mod examples;
mod sites;
