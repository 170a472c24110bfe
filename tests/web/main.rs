//! The service in memory: status, text, and what the database holds afterwards.

mod errors;
mod line_up;
mod now;
mod people;
mod requests;
mod security;
mod seed;
