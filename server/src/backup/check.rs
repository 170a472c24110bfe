//! Whether a database, or a copy of one, is whole.

use std::fs::File;
use std::io::{self, Read};
use std::path::{Path, PathBuf};

use mendpost_core::journal::code::HeadCode;
use mendpost_core::journal::{BrokenAt, Hash};
use sha2::{Digest, Sha256};
use sqlx::sqlite::{SqliteConnectOptions, SqliteConnection, SqlitePool, SqlitePoolOptions};
use thiserror::Error;

use crate::change::verify_journal;

/// What a whole database holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Whole {
    /// Number of the last entry of the journal, 0 when there is none.
    pub sequence: i64,
    /// Hash of that entry.
    pub head: Hash,
    /// Number of the last change of structure.
    pub structure: i64,
}

impl Whole {
    /// The code of its last entry.
    pub fn code(&self) -> HeadCode {
        HeadCode::new(self.sequence, self.head)
    }
}

/// What is wrong with a database.
#[derive(Debug, Error)]
pub enum Fault {
    #[error("it cannot be read: {0}")]
    Unreadable(#[from] sqlx::Error),
    #[error("its pages do not fit together: {0}")]
    Pages(String),
    #[error("{count} rows of its table {table} point to nothing")]
    References { table: String, count: usize },
    #[error("{0}")]
    Journal(#[from] BrokenAt),
}

/// Checks pages, references and the journal's chain.
pub async fn database(read: &SqlitePool, thoroughness: Thoroughness) -> Result<Whole, Fault> {
    pages(&mut *read.acquire().await?, thoroughness).await?;
    let chain = verify_journal(read).await??;
    let structure = sqlx::query_scalar("select max(version) from _sqlx_migrations where success")
        .fetch_one(read)
        .await?;
    Ok(Whole {
        sequence: chain.sequence(),
        head: chain.head(),
        structure,
    })
}

/// Checks pages and references.
pub async fn pages(read: &mut SqliteConnection, thoroughness: Thoroughness) -> Result<(), Fault> {
    let found: Vec<String> = sqlx::query_scalar(match thoroughness {
        Thoroughness::Full => "pragma integrity_check(5)",
        Thoroughness::Quick => "pragma quick_check(5)",
    })
    .fetch_all(&mut *read)
    .await?;
    if found != ["ok"] {
        return Err(Fault::Pages(found.join("; ").replace('\n', " ")));
    }
    let dangling: Vec<String> =
        sqlx::query_scalar(r#"select "table" from pragma_foreign_key_check"#)
            .fetch_all(read)
            .await?;
    if let Some(table) = dangling.first() {
        return Err(Fault::References {
            table: table.clone(),
            count: dangling.iter().filter(|other| *other == table).count(),
        });
    }
    Ok(())
}

/// How the pages are checked.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Thoroughness {
    /// Also that every index holds what its table holds.
    Full,
    Quick,
}

/// Options to read a file that nobody writes, without touching anything beside it.
pub fn untouched(file: &Path) -> SqliteConnectOptions {
    SqliteConnectOptions::new()
        .filename(file)
        .read_only(true)
        .immutable(true)
}

/// Checks a file that nobody writes, without touching anything beside it.
pub async fn file(file: &Path) -> Result<Whole, Fault> {
    let read = SqlitePoolOptions::new()
        .max_connections(1)
        .connect_with(untouched(file))
        .await?;
    let found = database(&read, Thoroughness::Full).await;
    read.close().await;
    found
}

/// Why a file is not the one that its sum was taken of.
#[derive(Debug, Error)]
pub enum SumFault {
    #[error("its sum file {} is missing", .0.display())]
    Missing(PathBuf),
    #[error("its sum file {} holds no line of sha256sum for it", .0.display())]
    Unreadable(PathBuf),
    #[error("it is not what was copied: SHA-256 is {found}, the sum file says {expected}")]
    Differs { found: String, expected: String },
    #[error("it cannot be read: {0}")]
    Read(#[from] io::Error),
}

/// Compares a file with the sum file beside it; returns the sum. Reads the whole file.
pub fn sum_holds(file: &Path) -> Result<String, SumFault> {
    let expected = stated_sum(file)?;
    let found = sum(file)?;
    if found == expected {
        Ok(found)
    } else {
        Err(SumFault::Differs { found, expected })
    }
}

/// The sum file of a file.
pub fn sum_file(file: &Path) -> PathBuf {
    let mut name = file.as_os_str().to_owned();
    name.push(".sha256");
    PathBuf::from(name)
}

/// SHA-256 of a file, in hexadecimal digits.
pub fn sum(file: &Path) -> io::Result<String> {
    let mut file = File::open(file)?;
    let (mut hash, mut buffer) = (Sha256::new(), vec![0; 1 << 16]);
    loop {
        match file.read(&mut buffer)? {
            0 => return Ok(Hash(hash.finalize().into()).to_string()),
            length => hash.update(&buffer[..length]),
        }
    }
}

/// The sum that the file beside it states.
fn stated_sum(file: &Path) -> Result<String, SumFault> {
    let beside = sum_file(file);
    let text = match std::fs::read_to_string(&beside) {
        Ok(text) => text,
        Err(error) if error.kind() == io::ErrorKind::NotFound => {
            return Err(SumFault::Missing(beside));
        }
        Err(error) if error.kind() == io::ErrorKind::InvalidData => {
            return Err(SumFault::Unreadable(beside));
        }
        Err(error) => return Err(error.into()),
    };
    // A file may have been renamed together with its sum: the name in the line is not compared.
    let sum = text.split_ascii_whitespace().next().unwrap_or("");
    if sum.len() == 64 && sum.bytes().all(|b| b.is_ascii_hexdigit()) {
        Ok(sum.to_ascii_lowercase())
    } else {
        Err(SumFault::Unreadable(beside))
    }
}
