//! Whether a site's data are what the journal says: the chain to the byte, the tables that can be made again
//! from the entries, and codes that were written down earlier.
//!
//! The journal is read once, in order. Each `Part` takes in what an entry says must stand in its tables, and
//! meets the rows that belong to those entries; what is a state of a thing it meets at the end. A part that
//! joins stands in `parts`; what no part holds lists itself (`tables`).

mod answers;
mod fault;
mod handovers;
mod lineups;
mod lots;
mod movements;
mod requests;
mod rows;
mod signatures;
mod steps;
mod tables;

use async_trait::async_trait;
use mendpost_core::journal::code::HeadCode;
use mendpost_core::journal::{Chain, Entry, Hash};
use sqlx::{Connection, SqliteConnection, SqlitePool};

use crate::backup::check::{self, Thoroughness};
use crate::change::stored_after;
use crate::db::newest_structure;
pub use fault::{Difference, Fault};
use rows::Table;
pub use tables::Left;

/// Tables that the journal's entries make again.
#[async_trait]
trait Part: Send {
    /// Takes in what an entry says.
    fn take(&mut self, entry: &Entry) -> Result<(), Fault>;

    /// Meets the rows that belong to the entries from the first to the last of these.
    async fn meet(
        &mut self,
        _connection: &mut SqliteConnection,
        _entries: (i64, i64),
    ) -> Result<(), Fault> {
        Ok(())
    }

    /// Meets what stands there after the last entry.
    async fn end(&mut self, _connection: &mut SqliteConnection) -> Result<(), Fault> {
        Ok(())
    }

    /// Its tables, with what was met.
    fn tables(&self) -> Vec<&Table>;
}

/// What is made again from the journal.
fn parts() -> Vec<Box<dyn Part>> {
    vec![
        Box::new(movements::Movements::new()),
        Box::new(lots::Lots::new()),
        Box::new(requests::Requests::new()),
        Box::new(answers::Answers::new()),
        Box::new(lineups::LineUps::new()),
        Box::new(signatures::Signatures::new()),
        Box::new(steps::Steps::new()),
        Box::new(handovers::Handovers::new()),
    ]
}

/// What was found whole.
#[derive(Debug)]
pub struct Verified {
    /// Number of the last entry.
    pub sequence: i64,
    /// Its hash.
    pub head: Hash,
    /// Tables that hold what the entries say.
    pub replayed: Vec<Replayed>,
    /// What no entry was held against.
    pub left: Vec<Left>,
}

impl Verified {
    /// The code of the last entry.
    #[must_use]
    pub fn code(&self) -> HeadCode {
        HeadCode::new(self.sequence, self.head)
    }
}

/// A table that holds what the entries say.
#[derive(Debug)]
pub struct Replayed {
    pub table: &'static str,
    /// How many rows were held against entries.
    pub rows: u64,
    /// Of how many an entry of an earlier version tells only a part.
    pub in_part: u64,
}

/// Checks chain, tables, codes, and then the file itself, at one moment; reads only.
///
/// # Errors
/// The first fault, in that order.
pub async fn verify(
    connection: &mut SqliteConnection,
    codes: &[HeadCode],
) -> Result<Verified, Fault> {
    let mut reading = connection.begin().await?;
    let structure = tables::structure(&mut reading).await?;
    let known = newest_structure();
    let mut parts = match structure == known {
        true => parts(),
        false => Vec::new(),
    };
    let chain = replay(&mut reading, &mut parts, codes).await?;
    if structure != known {
        return Err(Fault::Structure {
            found: structure,
            known,
        });
    }
    check::pages(&mut reading, Thoroughness::Full).await?;
    tables::same_objects(&mut reading).await?;
    let met: Vec<&Table> = parts.iter().flat_map(|part| part.tables()).collect();
    let left = tables::left(&mut reading, &met).await?;
    Ok(Verified {
        sequence: chain.sequence(),
        head: chain.head(),
        replayed: met.iter().map(|table| table.replayed()).collect(),
        left,
    })
}

/// Checks chain and tables alone, at one moment.
///
/// # Errors
/// The first fault.
pub async fn replayed(read: &SqlitePool) -> Result<(), Fault> {
    let mut reading = read.begin().await?;
    replay(&mut reading, &mut parts(), &[]).await?;
    Ok(())
}

/// Follows the chain, holds the tables against it, and then the codes.
async fn replay(
    reading: &mut SqliteConnection,
    parts: &mut [Box<dyn Part>],
    codes: &[HeadCode],
) -> Result<Chain, Fault> {
    let mut codes: Vec<(HeadCode, Option<HeadCode>)> =
        codes.iter().map(|code| (*code, None)).collect();
    let chain = follow(reading, parts, &mut codes).await?;
    for part in parts.iter_mut() {
        part.end(reading).await?;
    }
    held_against(&chain, codes)?;
    Ok(chain)
}

/// Follows the chain to its end, and lets the parts take in and meet what each stretch of it says.
async fn follow(
    reading: &mut SqliteConnection,
    parts: &mut [Box<dyn Part>],
    codes: &mut [(HeadCode, Option<HeadCode>)],
) -> Result<Chain, Fault> {
    let mut chain = Chain::default();
    loop {
        let first = chain.sequence() + 1;
        let stretch = stored_after(reading, chain.sequence()).await?;
        if stretch.is_empty() {
            return Ok(chain);
        }
        for stored in &stretch {
            let entry = chain.follow(stored)?;
            let here = HeadCode::new(chain.sequence(), chain.head());
            for (code, found) in codes.iter_mut() {
                if code.sequence() == entry.sequence {
                    *found = Some(here);
                }
            }
            for part in parts.iter_mut() {
                part.take(&entry)?;
            }
        }
        let entries = (first, chain.sequence());
        for part in parts.iter_mut() {
            part.meet(reading, entries).await?;
        }
    }
}

/// Whether each code is that of its entry; the earliest that is not is told, since it bounds best where the
/// journal was written anew.
fn held_against(chain: &Chain, mut codes: Vec<(HeadCode, Option<HeadCode>)>) -> Result<(), Fault> {
    codes.sort_by_key(|(code, _)| code.sequence());
    for (code, found) in codes {
        match found {
            None => {
                return Err(Fault::Cut {
                    code,
                    end: chain.sequence(),
                });
            }
            Some(found) if found != code => return Err(Fault::Anew { code, found }),
            Some(_) => {}
        }
    }
    Ok(())
}
