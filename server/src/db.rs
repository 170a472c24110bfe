//! The data folder: one SQLite file, one writer, a few readers, one server at a time.

use std::fs::{File, OpenOptions, TryLockError};
use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use sqlx::migrate::{MigrateError, Migrator};
use sqlx::sqlite::{
    SqliteConnectOptions, SqliteConnection, SqliteJournalMode, SqlitePool, SqlitePoolOptions,
    SqliteSynchronous,
};
use sqlx::{ConnectOptions, Connection};
use thiserror::Error;

use crate::backup;
use crate::backup::copy::{CopyError, make_private_folder};
use crate::clock::Clock;

/// The database's structure, embedded in the binary.
pub static MIGRATOR: Migrator = sqlx::migrate!("../migrations");

/// The open database of one site.
#[derive(Debug, Clone)]
pub struct Db {
    /// Connections that cannot write.
    pub read: SqlitePool,
    /// The one connection that can. [`crate::change::Change`] is the way to it.
    pub write: SqlitePool,
    /// The folder of the site's data.
    pub folder: Arc<Path>,
    /// The database's own file.
    pub file: Arc<Path>,
    /// Held while the database is open; a second server fails to take it.
    _lock: Arc<File>,
}

impl Db {
    /// Opens the database in this folder, making both if they are missing, and brings it up to date;
    /// what it was before is copied first.
    pub async fn open(folder: &Path) -> Result<Db, OpenError> {
        refuse_old_sqlite().await?;
        make_folder(folder)?;
        let lock = take_lock(folder)?;
        let file = folder.join(FILE);
        private_file(&file).map_err(|cause| OpenError::Folder {
            folder: folder.into(),
            cause,
        })?;

        // A pool would try again until its patience ends, and keep the cause to itself.
        options(&file).connect().await?.close().await?;
        let write = SqlitePoolOptions::new()
            .max_connections(1)
            .min_connections(1)
            .acquire_timeout(WAIT)
            .idle_timeout(None)
            .max_lifetime(None)
            .after_release(|connection, _| Box::pin(is_usable(connection)))
            .connect_with(options(&file))
            .await?;
        if needs_update(&write).await? {
            backup::copy_before_update(&file, folder, Clock::System.now())
                .await
                .map_err(|cause| OpenError::NotCopied {
                    folder: folder.into(),
                    cause: Box::new(cause),
                })?;
        }
        MIGRATOR.run(&write).await?;
        let read = readers(&file).await?;
        Ok(Db {
            read,
            write,
            folder: folder.into(),
            file: file.into(),
            _lock: Arc::new(lock),
        })
    }

    /// Closes every connection; the writer last, because only it can fold the write-ahead log back
    /// into the file.
    pub async fn close(&self) {
        self.read.close().await;
        self.write.close().await;
    }
}

/// Opens the database in this folder for reading only, beside a running server or without one.
pub async fn open_to_read(folder: &Path) -> Result<SqlitePool, OpenError> {
    refuse_old_sqlite().await?;
    if !holds_database(folder) {
        return Err(OpenError::NoDatabase {
            folder: folder.into(),
        });
    }
    Ok(readers(&folder.join(FILE)).await?)
}

/// Whether this folder holds a database.
pub fn holds_database(folder: &Path) -> bool {
    folder.join(FILE).is_file()
}

/// Why a data folder cannot be opened.
#[derive(Debug, Error)]
pub enum OpenError {
    #[error("{} holds no site; make one with: mendpost init --data {}", folder.display(), folder.display())]
    NoDatabase { folder: PathBuf },
    #[error("another mendpost is running on {}; stop it first, or choose another folder", folder.display())]
    InUse { folder: PathBuf },
    #[error("cannot use the folder {}: {cause}", folder.display())]
    Folder { folder: PathBuf, cause: io::Error },
    #[error(
        "SQLite {found} can damage a database when it restarts its log; 3.51.3 or later is needed"
    )]
    OldSqlite { found: String },
    #[error(
        "the database in {} must be brought up to date, and no copy of it could be made, so nothing was changed: {cause}",
        folder.display()
    )]
    NotCopied {
        folder: PathBuf,
        cause: Box<CopyError>,
    },
    #[error("cannot bring the database up to date")]
    Migrate(#[from] MigrateError),
    #[error("cannot open the database")]
    Database(#[from] sqlx::Error),
}

/// Turns a fault in stored text into the error that a query returns.
pub fn decoded<T, E>(result: Result<T, E>) -> Result<T, sqlx::Error>
where
    E: std::error::Error + Send + Sync + 'static,
{
    result.map_err(|error| sqlx::Error::Decode(Box::new(error)))
}

/// The number of the last change of structure that this program knows.
pub fn newest_structure() -> i64 {
    MIGRATOR.iter().map(|step| step.version).max().unwrap_or(0)
}

/// Options to read a database beside its service.
pub fn reading(file: &Path) -> SqliteConnectOptions {
    options(file).read_only(true)
}

/// The name of the database in the folder of a site's data.
pub const FILE: &str = "mendpost.db";
const LOCK: &str = "mendpost.lock";
const READERS: u32 = 4;

/// How long a statement waits for a lock, and a request for a connection.
const WAIT: Duration = Duration::from_secs(5);

/// The first version without the fault in restarting the write-ahead log (3.7.0 to 3.51.2).
const OLDEST_SQLITE: [u32; 3] = [3, 51, 3];

fn options(file: &Path) -> SqliteConnectOptions {
    SqliteConnectOptions::new()
        .filename(file)
        .journal_mode(SqliteJournalMode::Wal)
        // A commit that was acknowledged must outlive a power cut.
        .synchronous(SqliteSynchronous::Full)
        .foreign_keys(true)
        .busy_timeout(WAIT)
        .disable_statement_logging()
}

async fn readers(file: &Path) -> Result<SqlitePool, sqlx::Error> {
    SqlitePoolOptions::new()
        .max_connections(READERS)
        .acquire_timeout(WAIT)
        .connect_with(reading(file))
        .await
}

async fn refuse_old_sqlite() -> Result<(), OpenError> {
    let mut connection = SqliteConnectOptions::new()
        .in_memory(true)
        .connect()
        .await?;
    let found: String = sqlx::query_scalar("select sqlite_version()")
        .fetch_one(&mut connection)
        .await?;
    connection.close().await?;
    if is_too_old(&found) {
        Err(OpenError::OldSqlite { found })
    } else {
        Ok(())
    }
}

/// A version that cannot be read counts as too old.
fn is_too_old(version: &str) -> bool {
    let parts: Option<Vec<u32>> = version.split('.').map(|part| part.parse().ok()).collect();
    parts.is_none_or(|parts| parts.as_slice() < OLDEST_SQLITE.as_slice())
}

/// Whether the writing connection may be used again. After an error that made SQLite itself roll back,
/// as a full disk, the connection still counts a transaction as open, and would begin no other.
async fn is_usable(connection: &mut SqliteConnection) -> Result<bool, sqlx::Error> {
    connection.ping().await?;
    Ok(!connection.is_in_transaction())
}

/// Whether there is a structure already and this program knows a later one.
async fn needs_update(write: &SqlitePool) -> Result<bool, sqlx::Error> {
    let has_structure: bool = sqlx::query_scalar(
        "select exists (select 1 from sqlite_schema where name = '_sqlx_migrations')",
    )
    .fetch_one(write)
    .await?;
    if !has_structure {
        return Ok(false);
    }
    let applied: Option<i64> = sqlx::query_scalar("select max(version) from _sqlx_migrations")
        .fetch_one(write)
        .await?;
    Ok(applied.is_some_and(|applied| applied < newest_structure()))
}

fn make_folder(folder: &Path) -> Result<(), OpenError> {
    make_private_folder(folder).map_err(|cause| OpenError::Folder {
        folder: folder.into(),
        cause,
    })
}

/// Takes the folder for one program alone.
pub fn take_lock(folder: &Path) -> Result<File, OpenError> {
    let lock = private_file(&folder.join(LOCK)).map_err(|cause| OpenError::Folder {
        folder: folder.into(),
        cause,
    })?;
    match lock.try_lock() {
        Ok(()) => Ok(lock),
        Err(TryLockError::WouldBlock) => Err(OpenError::InUse {
            folder: folder.into(),
        }),
        Err(TryLockError::Error(cause)) => Err(OpenError::Folder {
            folder: folder.into(),
            cause,
        }),
    }
}

/// Finds out whether a service runs on a folder in which no lock can be written.
pub fn refuse_second_service(folder: &Path) -> Result<(), OpenError> {
    match File::open(folder.join(LOCK)).map(|lock| lock.try_lock()) {
        Ok(Err(TryLockError::WouldBlock)) => Err(OpenError::InUse {
            folder: folder.into(),
        }),
        _ => Ok(()),
    }
}

/// Opens a file that only its owner may read, making it if it is missing; SQLite gives its log the
/// same permissions.
fn private_file(path: &Path) -> io::Result<File> {
    let mut options = OpenOptions::new();
    options.read(true).append(true).create(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    options.open(path)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The fault is in 3.7.0 to 3.51.2; versions compare by number, not by letter.
    #[test]
    fn sqlite_with_the_log_fault_is_refused() {
        for version in ["3.7.0", "3.9.1", "3.51.2", "3.51", "unknown"] {
            assert!(is_too_old(version), "{version}");
        }
        for version in ["3.51.3", "3.53.0", "3.100.0", "4.0.0"] {
            assert!(!is_too_old(version), "{version}");
        }
    }
}
