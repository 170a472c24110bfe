//! Opens a site's data for a service, checks them, and finds a way to show them when something is wrong.

use std::env::temp_dir;
use std::fs::{self, DirBuilder};
use std::io;
use std::path::{Path, PathBuf};
use std::process;

use anyhow::{Context, anyhow};

use super::holder::programs_that_hold;
use super::{Health, Trouble};
use crate::backup::check::{self, Fault, Thoroughness};
use crate::backup::copy::CopyError;
use crate::backup::keeper::own_folder;
use crate::backup::shelf::Shelf;
use crate::db::{self, Db, OpenError};

/// A site's data, open, and what is known of them.
pub struct Opened {
    pub db: Db,
    pub health: Health,
    /// Where the data were copied to because their own folder cannot be written; to be removed.
    pub temporary: Option<PathBuf>,
}

/// Closes the data and removes what was made for showing them.
pub async fn close(db: &Db, temporary: Option<&Path>) -> anyhow::Result<()> {
    db.close().await;
    match temporary {
        Some(folder) => remove_folder(folder),
        None => Ok(()),
    }
}

/// Removes a temporary folder with all that is in it.
pub fn remove_folder(folder: &Path) -> anyhow::Result<()> {
    fs::remove_dir_all(folder).with_context(|| format!("cannot remove {}", folder.display()))
}

/// Opens the data in a folder and checks them whole. What is damaged, or cannot be written, is shown
/// read-only.
pub async fn open(folder: &Path) -> anyhow::Result<Opened> {
    match Db::open(folder).await {
        Ok(db) => {
            let health = examine(&db).await;
            Ok(Opened {
                db,
                health,
                temporary: None,
            })
        }
        Err(OpenError::Folder { cause, .. }) if is_write_protected(&cause) => {
            open_elsewhere(folder, &cause.to_string()).await
        }
        Err(OpenError::Database(error)) => match Trouble::of(&error) {
            Some(Trouble::WriteProtected | Trouble::CannotOpen) => {
                open_elsewhere(folder, &error.to_string()).await
            }
            Some(Trouble::Locked) => Err(locked(folder)),
            Some(Trouble::Damaged) => Err(anyhow!(
                "the database in {} is damaged and cannot be opened: {error}; {}",
                folder.display(),
                restore_command(folder)
            )),
            _ => Err(OpenError::Database(error).into()),
        },
        Err(error @ OpenError::NotCopied { .. }) => Err(not_updated(&error, folder)),
        Err(error) => Err(error.into()),
    }
}

/// A temporary folder of our own: making it fails when something is there already, which another user
/// could have laid.
pub fn temporary_folder(purpose: &str) -> anyhow::Result<PathBuf> {
    let folder = temp_dir().join(format!("mendpost-{purpose}-{}", process::id()));
    let mut builder = DirBuilder::new();
    #[cfg(unix)]
    std::os::unix::fs::DirBuilderExt::mode(&mut builder, 0o700);
    builder
        .create(&folder)
        .with_context(|| format!("cannot make {}", folder.display()))?;
    Ok(folder)
}

/// Above this size the indexes are not compared with their tables at the start, in bytes.
const LARGE: u64 = 200_000_000;

/// Checks the data, and says what is damaged and what to do.
pub async fn examine(db: &Db) -> Health {
    let large = fs::metadata(&db.file).is_ok_and(|file| file.len() > LARGE);
    let thoroughness = if large {
        Thoroughness::Quick
    } else {
        Thoroughness::Full
    };
    match check::database(&db.read, thoroughness).await {
        Ok(_) => Health::default(),
        Err(fault) => {
            tracing::error!(cause = %fault, "the database is damaged; the service is read-only");
            damaged(&fault, &db.folder)
        }
    }
}

fn damaged(fault: &Fault, folder: &Path) -> Health {
    Health::read_only(
        format!("The database is damaged: {fault}."),
        format!(
            "Pages can be read, with care; nothing can be changed. Stop the service and {}.",
            restore_command(folder)
        ),
    )
}

/// What to type, with the newest copy if there is one.
fn restore_command(folder: &Path) -> String {
    let newest = Shelf::list(&own_folder(folder)).ok().and_then(|shelf| {
        let newest = shelf.newest()?;
        Some(shelf.path(&newest.name))
    });
    match newest {
        Some(copy) => format!(
            "restore the newest good copy: mendpost restore --data {} --from {} --replace",
            folder.display(),
            copy.display()
        ),
        None => format!(
            "restore a copy from the stick or the other disk: mendpost restore --data {} --from FILE \
             --replace",
            folder.display()
        ),
    }
}

/// The structure is old and the data are not to be touched without a copy.
fn not_updated(error: &OpenError, folder: &Path) -> anyhow::Error {
    match error {
        OpenError::NotCopied { cause, .. } if matches!(**cause, CopyError::Fault(_)) => {
            anyhow!("{error}; {}", restore_command(folder))
        }
        _ => anyhow!(
            "{error}; see that {} can be written and has room, and start again",
            own_folder(folder).display()
        ),
    }
}

fn locked(folder: &Path) -> anyhow::Error {
    let file = folder.join(db::FILE);
    let who = match programs_that_hold(&file).as_slice() {
        [] => "another program".to_owned(),
        programs => programs.join(", "),
    };
    anyhow!(
        "{} is locked by {who}; close it and start again",
        file.display()
    )
}

fn is_write_protected(cause: &io::Error) -> bool {
    matches!(
        cause.kind(),
        io::ErrorKind::PermissionDenied | io::ErrorKind::ReadOnlyFilesystem
    )
}

/// Serves a copy of data that cannot be written where they are: SQLite needs a writable folder to read
/// what stands in the log only.
async fn open_elsewhere(folder: &Path, cause: &str) -> anyhow::Result<Opened> {
    db::refuse_second_service(folder)?;
    let temporary = temporary_folder("read-only")?;
    let opened = copy_and_open(folder, &temporary).await;
    let mut db = match opened {
        Ok(db) => db,
        Err(error) => {
            let _ = fs::remove_dir_all(&temporary);
            return Err(error);
        }
    };
    db.folder = folder.into();
    let mut health = examine(&db).await;
    if health.may_write() {
        health = Health::read_only(
            format!(
                "The folder {} cannot be written: {cause}.",
                folder.display()
            ),
            "Pages can be read; nothing can be changed. Make the folder and the files in it writable \
             for the account that runs Mendpost, then start it again.",
        );
    }
    tracing::error!(folder = %folder.display(), cause, "the data cannot be written; the service is read-only");
    Ok(Opened {
        db,
        health,
        temporary: Some(temporary),
    })
}

async fn copy_and_open(folder: &Path, temporary: &Path) -> anyhow::Result<Db> {
    for end in ["", "-wal"] {
        let name = format!("{}{end}", db::FILE);
        let from = folder.join(&name);
        match fs::copy(&from, temporary.join(&name)) {
            Err(error) if error.kind() == io::ErrorKind::NotFound && !end.is_empty() => (),
            copied => {
                copied.with_context(|| format!("cannot read {}", from.display()))?;
                make_writable(&temporary.join(&name))?;
            }
        }
    }
    Ok(Db::open(temporary).await?)
}

/// A copy of a write-protected file is write-protected too.
fn make_writable(file: &Path) -> io::Result<()> {
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        fs::set_permissions(file, fs::Permissions::from_mode(0o600))
    }
    #[cfg(not(unix))]
    {
        let mut permissions = fs::metadata(file)?.permissions();
        permissions.set_readonly(false);
        fs::set_permissions(file, permissions)
    }
}
