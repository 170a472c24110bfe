//! The service in memory: status, text, and what the database holds afterwards.

mod attachments;
mod backup;
mod cases;
mod catalogue;
mod cell;
mod clock;
mod errors;
mod figures;
mod health;
mod interim;
mod journal;
mod line_up;
mod needs;
mod now;
mod once;
mod people;
mod powder;
mod requests;
mod security;
mod seed;
mod shape;
mod signatures;
mod version;
mod weighed;
