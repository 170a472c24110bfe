//! Sessions that the database could not take: people must be able to read cautions and holds also when
//! nothing can be written.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use serde_json::Value;

/// What a session holds.
pub type Data = HashMap<String, Value>;

/// Sessions by the hash of their cookie, gone when the program ends.
#[derive(Clone, Default)]
pub struct Memory(Arc<Mutex<HashMap<Vec<u8>, Remembered>>>);

/// What memory knows of a session; it goes before what the database says.
#[derive(Debug, Clone, PartialEq)]
pub enum Remembered {
    Open {
        data: Data,
        expires_at: i64,
    },
    /// The database still has it, because nothing could be deleted.
    Ended,
}

impl Memory {
    pub fn get(&self, token_hash: &[u8]) -> Option<Remembered> {
        self.sessions().get(token_hash).cloned()
    }

    /// Keeps a session; one that has ended stays ended.
    pub fn keep(&self, token_hash: Vec<u8>, data: Data, expires_at: i64, now: i64) {
        let mut sessions = self.sessions();
        sessions.retain(|_, session| match session {
            Remembered::Open { expires_at, .. } => *expires_at > now,
            Remembered::Ended => true,
        });
        let is_known = sessions.contains_key(&token_hash);
        if sessions.get(&token_hash) == Some(&Remembered::Ended)
            || !is_known && sessions.len() >= MOST
        {
            return;
        }
        sessions.insert(token_hash, Remembered::Open { data, expires_at });
    }

    pub fn end(&self, token_hash: Vec<u8>) {
        self.sessions().insert(token_hash, Remembered::Ended);
    }

    fn sessions(&self) -> MutexGuard<'_, HashMap<Vec<u8>, Remembered>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// More than a crew and its tablets open in a day; somebody who asks without end fills no more.
const MOST: usize = 10_000;
