//! Puts a copy in the place of a site's data, and keeps what stood there.

use std::fs::{self, File};
use std::io;
use std::path::{Path, PathBuf};

use mendpost_core::journal::Subject;
use serde::Serialize;
use thiserror::Error;

use super::check::{self, Fault, SumFault, Whole};
use super::copy::{make_private_folder, sync_folder};
use super::name::stamp;
use crate::AppState;
use crate::change::{Actor, Change};
use crate::clock::Clock;
use crate::config::Config;
use crate::db::{self, Db, OpenError, holds_database, newest_structure};
use crate::error::AppError;

/// What is to be restored, and how much is allowed.
#[derive(Debug, Clone)]
pub struct Restore {
    pub folder: PathBuf,
    pub from: PathBuf,
    /// Whether data that are there may be put aside.
    pub replace: bool,
    /// Whether the copy may come without its sum file.
    pub without_sum: bool,
}

/// What was done.
#[derive(Debug, Clone)]
pub struct Restored {
    pub whole: Whole,
    /// Where the data that were there are now.
    pub kept: Option<PathBuf>,
}

/// Why nothing was restored. The data that were there still are.
#[derive(Debug, Error)]
pub enum RestoreError {
    #[error("{} is not there; look for copies in DIR/backup and on the stick", .0.display())]
    NoFile(PathBuf),
    #[error("{} is refused: {cause}; {remedy}", file.display())]
    Sum {
        file: PathBuf,
        cause: SumFault,
        remedy: &'static str,
    },
    #[error("{} is refused: {cause}; choose another copy", file.display())]
    Fault { file: PathBuf, cause: Fault },
    #[error(
        "{} was made by a newer mendpost (structure {found}, this one knows {known}); restore it with that one",
        file.display()
    )]
    Newer {
        file: PathBuf,
        found: i64,
        known: i64,
    },
    #[error("{} holds a site; to put its data aside and restore, add --replace", .0.display())]
    Holds(PathBuf),
    #[error(transparent)]
    Open(#[from] OpenError),
    #[error("cannot restore into {}: {cause}", folder.display())]
    Write { folder: PathBuf, cause: io::Error },
    #[error("the restored data cannot be made ready")]
    Ready(#[from] AppError),
}

/// Restores a copy while the service is stopped. The new data are made ready in a folder of their own,
/// and only then take the place of the old ones.
pub async fn restore(wanted: &Restore, clock: &Clock) -> Result<Restored, RestoreError> {
    let whole = inspect(wanted).await?;
    let folder = wanted.folder.as_path();
    if holds_database(folder) && !wanted.replace {
        return Err(RestoreError::Holds(folder.to_owned()));
    }
    let written = |cause| RestoreError::Write {
        folder: folder.to_owned(),
        cause,
    };
    make_private_folder(folder).map_err(written)?;
    let _lock = db::take_lock(folder)?;
    let stamp = free_stamp(folder, clock.now());
    let workshop = folder.join(format!("restoring-{stamp}"));
    let ready = make_ready(wanted, &whole, &workshop, clock).await;
    let outcome = ready.and_then(|()| {
        let aside = folder.join(format!("replaced-{stamp}"));
        let kept = put_aside(folder, &aside).map_err(written)?;
        fs::rename(workshop.join(db::FILE), folder.join(db::FILE)).map_err(written)?;
        sync_folder(folder).map_err(written)?;
        Ok(Restored { whole, kept })
    });
    match fs::remove_dir_all(&workshop) {
        Err(error) if error.kind() != io::ErrorKind::NotFound => outcome.and(Err(written(error))),
        _ => outcome,
    }
}

/// Checks sum, pages, references, journal and structure of the copy.
async fn inspect(wanted: &Restore) -> Result<Whole, RestoreError> {
    let file = wanted.from.clone();
    if !file.is_file() {
        return Err(RestoreError::NoFile(file));
    }
    match check::sum_holds(&file) {
        Ok(_) => (),
        Err(SumFault::Missing(_)) if wanted.without_sum => (),
        Err(cause) => {
            let remedy = match cause {
                SumFault::Missing(_) => {
                    "bring the sum file too, or choose another copy, or add --without-sum"
                }
                _ => "choose another copy",
            };
            return Err(RestoreError::Sum {
                file,
                cause,
                remedy,
            });
        }
    }
    match check::file(&file).await {
        Err(cause) => Err(RestoreError::Fault { file, cause }),
        Ok(whole) if whole.structure > newest_structure() => Err(RestoreError::Newer {
            file,
            found: whole.structure,
            known: newest_structure(),
        }),
        Ok(whole) => Ok(whole),
    }
}

/// What the journal says of a restoring.
#[derive(Serialize)]
struct SiteRestored<'a> {
    copy: &'a str,
    sequence: i64,
    head: mendpost_core::journal::Hash,
}

/// Copies, brings up to date, ends all sessions, and says so in the journal.
async fn make_ready(
    wanted: &Restore,
    whole: &Whole,
    workshop: &Path,
    clock: &Clock,
) -> Result<(), RestoreError> {
    let written = |cause| RestoreError::Write {
        folder: workshop.to_owned(),
        cause,
    };
    make_private_folder(workshop).map_err(written)?;
    let file = workshop.join(db::FILE);
    fs::copy(&wanted.from, &file).map_err(written)?;
    private(&file).map_err(written)?;
    File::open(&file)
        .and_then(|file| file.sync_all())
        .map_err(written)?;
    let opened = Db::open(workshop).await?;
    let state = AppState::new(opened, clock.clone(), Config::default());
    let outcome = tell(&state, wanted, whole).await;
    state.db.close().await;
    Ok(outcome?)
}

async fn tell(state: &AppState, wanted: &Restore, whole: &Whole) -> Result<(), AppError> {
    let name = wanted.from.file_name().unwrap_or_default();
    let mut change = Change::begin(state, Actor::Mendpost).await?;
    // Whoever was signed in when the copy was made may have been shut out since.
    sqlx::query!("delete from session")
        .execute(change.connection())
        .await?;
    let content = SiteRestored {
        copy: &name.to_string_lossy(),
        sequence: whole.sequence,
        head: whole.head,
    };
    change
        .journal("site.restored", Subject::new("site", 1), content)
        .await?;
    change.commit().await
}

/// Moves the database with its log, so that it can still be opened where it is then.
fn put_aside(folder: &Path, aside: &Path) -> io::Result<Option<PathBuf>> {
    if !holds_database(folder) {
        return Ok(None);
    }
    make_private_folder(aside)?;
    for end in ["-wal", ""] {
        let name = format!("{}{end}", db::FILE);
        let from = folder.join(&name);
        if from.exists() {
            fs::rename(from, aside.join(&name))?;
        }
    }
    // Of no use without its database, and wrong beside another.
    match fs::remove_file(folder.join(format!("{}-shm", db::FILE))) {
        Err(error) if error.kind() != io::ErrorKind::NotFound => return Err(error),
        _ => (),
    }
    sync_folder(aside)?;
    Ok(Some(aside.to_owned()))
}

/// A stamp under which nothing was put aside yet.
fn free_stamp(folder: &Path, now: i64) -> String {
    let first = stamp(now);
    let mut stamp = first.clone();
    let mut turn = 1;
    while ["replaced", "restoring"]
        .iter()
        .any(|word| folder.join(format!("{word}-{stamp}")).exists())
    {
        turn += 1;
        stamp = format!("{first}-{turn}");
    }
    stamp
}

fn private(file: &Path) -> io::Result<()> {
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        fs::set_permissions(file, fs::Permissions::from_mode(0o600))?;
    }
    #[cfg(not(unix))]
    let _ = file;
    Ok(())
}
