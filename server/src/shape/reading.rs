//! A sent file read and measured, and kept in memory until somebody says that it is right.

use std::collections::VecDeque;
use std::sync::{Arc, Mutex, PoisonError};

use mendpost_core::shape::{Figures, Mesh, Unit, Views};
use sha2::{Digest, Sha256};
use uuid::Uuid;

use super::stl::{self, Fault};

/// A shape that was read, not yet kept.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading {
    pub id: Uuid,
    /// Of the part it was read for.
    pub part: String,
    /// SHA-256 of the file as it will be stored.
    pub hash: [u8; 32],
    pub stl: Vec<u8>,
    pub figures: Figures,
    pub views: Views,
    pub file_name: String,
    pub unit: Unit,
}

/// How a file is to be read.
#[derive(Debug)]
pub struct Sent {
    pub part: String,
    pub file_name: String,
    pub bytes: Vec<u8>,
    pub unit: Unit,
    pub allowance_um: i64,
}

impl Reading {
    /// Reads, measures and draws. Takes a second or so for the largest: not on an async thread.
    pub fn of(sent: Sent) -> Result<Reading, Fault> {
        let mesh = Mesh::new(&stl::read(sent.bytes, sent.unit)?)?;
        let stl = stl::write(&mesh).map_err(|_| Fault::NotStl)?;
        let figures = Figures::of(&mesh, sent.allowance_um);
        Ok(Reading {
            part: sent.part,
            id: Uuid::now_v7(),
            hash: Sha256::digest(&stl).into(),
            stl,
            figures,
            views: mesh.views(),
            file_name: sent.file_name,
            unit: sent.unit,
        })
    }
}

/// The few readings that wait to be kept. They are gone when the service stops: the file is then sent
/// again.
#[derive(Debug, Clone, Default)]
pub struct Readings {
    waiting: Arc<Mutex<VecDeque<Arc<Reading>>>>,
}

/// Readings that wait at once; each takes up to 10 MiB.
const WAITING_MAX: usize = 4;

impl Readings {
    /// Puts one with those that wait; the oldest goes when there are too many.
    pub fn put(&self, reading: Reading) -> Arc<Reading> {
        let reading = Arc::new(reading);
        let mut waiting = self.waiting.lock().unwrap_or_else(PoisonError::into_inner);
        waiting.push_front(Arc::clone(&reading));
        waiting.truncate(WAITING_MAX);
        reading
    }

    pub fn find(&self, part: &str, id: Uuid) -> Option<Arc<Reading>> {
        let waiting = self.waiting.lock().unwrap_or_else(PoisonError::into_inner);
        waiting
            .iter()
            .find(|reading| reading.part == part && reading.id == id)
            .cloned()
    }
}
