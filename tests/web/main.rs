//! The service in memory: status, text, and what the database holds afterwards.

mod attachments;
mod cases;
mod catalogue;
mod cell;
mod errors;
mod line_up;
mod now;
mod once;
mod people;
mod powder;
mod requests;
mod security;
mod seed;
