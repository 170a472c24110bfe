//! Files of forms that are shown again: a browser sends a file once, and forgets it with the page.
//!
//! They are kept in memory for whoever sent them, up to a fixed size, the oldest dropped first: nothing is stored
//! before its change is made.

use std::collections::VecDeque;
use std::sync::{Arc, Mutex, PoisonError};

use uuid::Uuid;

use super::adding::Named;

/// Enough for the forms of a crew.
const MOST_BYTES: usize = 64 * 1024 * 1024;

#[derive(Debug, Clone, Default)]
pub struct Shelf(Arc<Mutex<VecDeque<Kept>>>);

#[derive(Debug)]
struct Kept {
    by: Uuid,
    hash: String,
    file: Named,
}

impl Shelf {
    /// Puts a file down; the word by which it is found again.
    pub fn keep(&self, by: Uuid, file: Named) -> String {
        let mut kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let hash = file.ready.hash.to_string();
        kept.retain(|other| other.by != by || other.hash != hash);
        let word = hash.clone();
        kept.push_back(Kept { by, hash, file });
        let size = |kept: &Kept| kept.file.ready.bytes.len();
        let mut all: usize = kept.iter().map(size).sum();
        while all > MOST_BYTES && kept.len() > 1 {
            all -= kept.pop_front().map_or(0, |oldest| size(&oldest));
        }
        word
    }

    /// What this person put down under a word, if it is still there.
    pub fn find(&self, by: Uuid, word: &str) -> Option<Named> {
        let kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let mut own = kept.iter().filter(|kept| kept.by == by);
        own.find(|kept| kept.hash == word)
            .map(|kept| kept.file.clone())
    }
}
