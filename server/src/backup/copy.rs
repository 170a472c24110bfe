//! Makes a copy of a database, beside a running service or without one, and keeps it only when it is
//! whole; and carries a copy to another folder.

use std::fs::{self, DirBuilder, File, OpenOptions};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use mendpost_core::journal::Hash;
use sqlx::sqlite::SqliteConnection;
use sqlx::{ConnectOptions, Connection, SqliteExecutor};
use thiserror::Error;
use tokio::task::spawn_blocking;

use super::check::{self, Fault, SumFault, Whole};
use super::name::{CopyName, Why, stamp};
use crate::db::reading;

/// A copy that was made and checked.
#[derive(Debug, Clone)]
pub struct Copied {
    pub name: CopyName,
    pub path: PathBuf,
    pub bytes: u64,
    pub whole: Whole,
}

/// Why there is no copy. What was begun is removed.
#[derive(Debug, Error)]
pub enum CopyError {
    #[error("the database cannot be copied: {0}")]
    Source(#[from] sqlx::Error),
    #[error("the copy was not kept: {0}")]
    Fault(#[from] Fault),
    #[error(
        "the copy was not kept: its journal ends with entry {sequence}, which the database does not hold"
    )]
    Foreign { sequence: i64 },
    #[error("cannot write to {}: {cause}", folder.display())]
    Write { folder: PathBuf, cause: io::Error },
    #[error("{} is not there", .0.display())]
    NoFolder(PathBuf),
    #[error("the copy was not kept: read again, {0}")]
    Sum(#[from] SumFault),
    #[error("the copying was broken off: {0}")]
    Stopped(#[from] tokio::task::JoinError),
}

/// Copies the database in `source` into the folder.
///
/// The copy is made under another name, opened and checked by itself, compared with the database it
/// was made from, summed, synced and only then given its name.
pub async fn make(source: &Path, folder: &Path, at: i64, why: Why) -> Result<Copied, CopyError> {
    let written = |cause| CopyError::Write {
        folder: folder.to_owned(),
        cause,
    };
    let part = Part::begin(folder, at).map_err(written)?;
    let mut connection = reading(source).connect().await?;
    let whole = fill(&mut connection, &part).await;
    // Left open it would keep the service from folding its log back when it stops.
    connection.close().await?;
    let whole = whole?;
    let name = CopyName::new(at, whole.sequence, whole.head, why);
    let folder_of = folder.to_owned();
    let (name, path, bytes) = spawn_blocking(move || part.finish(&folder_of, name))
        .await?
        .map_err(written)?;
    Ok(Copied {
        name,
        path,
        bytes,
        whole,
    })
}

/// Carries a copy with its sum to another folder, reads it back from there, and compares. The folder
/// must exist: that of a stick that is not in would else be made on the same disk.
pub fn carry(copy: &Path, name: &CopyName, folder: &Path) -> Result<PathBuf, CopyError> {
    let written = |cause| CopyError::Write {
        folder: folder.to_owned(),
        cause,
    };
    if !folder.is_dir() {
        return Err(CopyError::NoFolder(folder.to_owned()));
    }
    let sum = check::sum_holds(copy)?;
    let part = Part::begin(folder, name.at).map_err(written)?;
    io::copy(
        &mut File::open(copy).map_err(SumFault::from)?,
        &mut &part.file,
    )
    .map_err(written)?;
    part.file.sync_all().map_err(written)?;
    forget_cached(&part.file);
    let found = check::sum(&part.path).map_err(written)?;
    if found != sum {
        return Err(CopyError::Sum(SumFault::Differs {
            found,
            expected: sum,
        }));
    }
    let target = folder.join(name.to_string());
    let sum_file = Part::create(check::sum_file(&target)).map_err(written)?;
    part.become_copy(sum_file, &sum, &target).map_err(written)?;
    Ok(target)
}

/// Makes a folder that only its owner may read, if it is missing.
pub fn make_private_folder(folder: &Path) -> io::Result<()> {
    let mut builder = DirBuilder::new();
    builder.recursive(true);
    #[cfg(unix)]
    std::os::unix::fs::DirBuilderExt::mode(&mut builder, 0o700);
    builder.create(folder)
}

/// Makes the names in a folder last.
pub fn sync_folder(folder: &Path) -> io::Result<()> {
    #[cfg(unix)]
    File::open(folder)?.sync_all()?;
    #[cfg(not(unix))]
    let _ = folder;
    Ok(())
}

/// The end of the name of a file that is not a copy yet.
pub const PART: &str = ".part";

/// A file in the making, removed unless it becomes a copy.
struct Part {
    path: PathBuf,
    file: File,
    kept: bool,
}

impl Part {
    /// An empty file of our own, under a name that nobody else has.
    fn begin(folder: &Path, at: i64) -> io::Result<Part> {
        let mut turn = 1;
        loop {
            let name = format!("mendpost-{}-{turn}{PART}", stamp(at));
            match Part::create(folder.join(name)) {
                Err(error) if error.kind() == io::ErrorKind::AlreadyExists => turn += 1,
                made => return made,
            }
        }
    }

    fn create(path: PathBuf) -> io::Result<Part> {
        let mut options = OpenOptions::new();
        options.read(true).write(true).create_new(true);
        #[cfg(unix)]
        std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
        Ok(Part {
            file: options.open(&path)?,
            path,
            kept: false,
        })
    }

    /// Sums, syncs and names the copy.
    fn finish(self, folder: &Path, mut name: CopyName) -> io::Result<(CopyName, PathBuf, u64)> {
        self.file.sync_all()?;
        forget_cached(&self.file);
        let sum = check::sum(&self.path)?;
        let bytes = self.file.metadata()?.len();
        loop {
            let target = folder.join(name.to_string());
            match Part::create(check::sum_file(&target)) {
                Err(error) if error.kind() == io::ErrorKind::AlreadyExists => name.turn += 1,
                Err(error) => return Err(error),
                Ok(sum_file) => {
                    self.become_copy(sum_file, &sum, &target)?;
                    return Ok((name, target, bytes));
                }
            }
        }
    }

    /// The sum goes first: a copy without one counts for nothing.
    fn become_copy(mut self, mut sum_file: Part, sum: &str, target: &Path) -> io::Result<()> {
        let name = target.file_name().unwrap_or_default().display();
        sum_file
            .file
            .write_all(format!("{sum}  {name}\n").as_bytes())?;
        sum_file.file.sync_all()?;
        fs::rename(&self.path, target)?;
        self.kept = true;
        sum_file.kept = true;
        sync_folder(target.parent().unwrap_or(Path::new(".")))
    }
}

impl Drop for Part {
    fn drop(&mut self) {
        if !self.kept
            && let Err(error) = fs::remove_file(&self.path)
        {
            tracing::warn!(path = %self.path.display(), cause = %error, "a part of a copy was left behind");
        }
    }
}

/// Writes the copy, and checks it and that it is one of this database.
async fn fill(connection: &mut SqliteConnection, part: &Part) -> Result<Whole, CopyError> {
    let target = part.path.to_str().ok_or_else(|| {
        let text = format!("{} is not UTF-8, which SQLite needs", part.path.display());
        sqlx::Error::Configuration(text.into())
    })?;
    sqlx::query("vacuum into ?")
        .bind(target)
        .execute(&mut *connection)
        .await?;
    let whole = check::file(&part.path).await?;
    if hash_at(&mut *connection, whole.sequence).await? != Some(whole.head) {
        return Err(CopyError::Foreign {
            sequence: whole.sequence,
        });
    }
    Ok(whole)
}

/// The hash of an entry of the journal, if there is such an entry; before the first stands the start.
pub async fn hash_at(
    executor: impl SqliteExecutor<'_>,
    sequence: i64,
) -> Result<Option<Hash>, sqlx::Error> {
    let stored: Option<Vec<u8>> = sqlx::query_scalar("select hash from journal where sequence = ?")
        .bind(sequence)
        .fetch_optional(executor)
        .await?;
    let found = stored.and_then(|bytes| bytes.try_into().ok()).map(Hash);
    Ok(found.or((sequence == 0).then_some(Hash::START)))
}

/// What is read next shall come from the disk, not from memory: there it is what was meant, not what
/// was written. Where the system cannot be asked, it comes from memory.
fn forget_cached(file: &File) {
    #[cfg(target_os = "linux")]
    let _ = rustix::fs::fadvise(file, 0, None, rustix::fs::Advice::DontNeed);
    #[cfg(not(target_os = "linux"))]
    let _ = file;
}
