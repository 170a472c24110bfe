//! People: who works here, signing in and out, and who is in front of a page.

mod account;
pub mod codes;
mod device;
mod form;
mod member;
mod next;
pub mod passphrase;
pub mod queries;
pub mod roster;
mod session;
mod sign_in;
mod slow_down;
mod start;
mod token;
mod visit;

use mendpost_core::journal::Subject;
use mendpost_core::people::Role;
use uuid::Uuid;

use crate::routes::Routes;

pub use form::person_name;
pub use next::local_path;
pub use passphrase::Passphrases;
pub use roster::add;
pub use session::{Sessions, layer as session_layer};
pub use sign_in::{Refused, by_passphrase};
pub use slow_down::SlowDown;
pub use token::{check as check_token, new as new_token};
pub use visit::{Visit, Who, identify, sign_in_first};

pub fn routes() -> Routes {
    Routes::default()
        .merge(sign_in::routes())
        .merge(start::routes())
        .merge(account::routes())
        .merge(member::routes())
}

/// Somebody who works at the site, or did.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Person {
    pub id: Uuid,
    pub number: i64,
    pub name: String,
    pub role: Role,
    /// False once the person has left.
    pub active: bool,
    /// Raised by each change of name or role.
    pub version: i64,
}

impl Person {
    /// As the journal names the person.
    pub fn subject(&self) -> Subject {
        Subject::new("person", self.number)
    }

    /// Whether the person can sign in, in a word.
    pub fn state(&self) -> &'static str {
        if self.active { "active" } else { "left" }
    }
}
