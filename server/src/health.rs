//! Whether the service can write, why not, and what is to be done.

pub mod holder;
pub mod space;
pub mod start;
mod trouble;

use std::sync::{Arc, Mutex, PoisonError};

pub use trouble::Trouble;

use crate::error::AppError;
use crate::page::Notice;

/// What is known of the service's ability to write. Shared by all who ask.
#[derive(Debug, Clone, Default)]
pub struct Health {
    /// Found at the start; stays until the next one.
    read_only: Option<Arc<ReadOnly>>,
    /// What the last attempt to write ran into; gone with the next that succeeds.
    trouble: Arc<Mutex<Option<Trouble>>>,
}

/// Why nothing is written as long as this service runs.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ReadOnly {
    /// A sentence, as 'The database is damaged: journal entry 812 is missing.'
    pub what: String,
    /// Sentences that say what to do.
    pub remedy: String,
}

impl Health {
    /// For a service that shows its pages and changes nothing.
    pub fn read_only(what: impl Into<String>, remedy: impl Into<String>) -> Health {
        Health {
            read_only: Some(Arc::new(ReadOnly {
                what: what.into(),
                remedy: remedy.into(),
            })),
            trouble: Arc::default(),
        }
    }

    /// Whether this service writes at all.
    pub fn may_write(&self) -> bool {
        self.read_only.is_none()
    }

    /// Refuses a change when nothing is to be written. After a trouble at run time the next change is
    /// tried all the same: that is how the service finds out that it is over.
    pub fn check(&self) -> Result<(), AppError> {
        match &self.read_only {
            Some(found) => Err(AppError::ReadOnly(ReadOnly::clone(found))),
            None => Ok(()),
        }
    }

    /// Whether the last attempt to write succeeded, as far as is known.
    pub fn is_well(&self) -> bool {
        self.may_write() && self.trouble().is_none()
    }

    /// Remembers what an attempt to write ran into.
    pub fn failed(&self, trouble: Trouble) {
        *self.trouble() = Some(trouble);
    }

    /// Remembers that a change was written.
    pub fn wrote(&self) {
        if let Some(trouble) = self.trouble().take() {
            tracing::info!(?trouble, "the database can be written again");
        }
    }

    /// What every page says while something is wrong.
    pub fn notice(&self) -> Option<Notice> {
        if let Some(found) = &self.read_only {
            let head = format!("Read only. {}", found.what);
            return Some(Notice::wrong(head, found.remedy.clone()));
        }
        let trouble = (*self.trouble())?;
        let text = format!("{} {}", trouble.remedy(), AGAIN);
        Some(Notice::wrong(trouble.what(), text))
    }

    fn trouble(&self) -> std::sync::MutexGuard<'_, Option<Trouble>> {
        self.trouble.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

const AGAIN: &str =
    "The last change was not saved; this stands here until one is. All pages can be read.";
