//! `mendpost backup`: a copy of a site's data, or a check of all copies in a folder.

use std::path::{Path, PathBuf};

use anyhow::{Context, anyhow, bail, ensure};
use clap::Args;
use tokio::task::spawn_blocking;

use crate::backup::check::{self, Whole};
use crate::backup::copy::{self, CopyError};
use crate::backup::name::Why;
use crate::backup::{keeper, shelf::Shelf};
use crate::clock::Clock;
use crate::db::{FILE, OpenError, holds_database};

/// Copy a site's data, checked, also while its service runs; or check all copies in a folder
#[derive(Debug, Args)]
pub struct Arguments {
    /// Folder that holds the site's data
    #[arg(long, value_name = "DIR", required_unless_present = "check")]
    data: Option<PathBuf>,
    /// Folder for the copy, on another disk or a stick; DIR/backup if not given
    #[arg(long, value_name = "FOLDER", conflicts_with = "check")]
    to: Option<PathBuf>,
    /// Check all copies in this folder against their sums and through and through
    #[arg(long, value_name = "FOLDER", conflicts_with = "data")]
    check: Option<PathBuf>,
}

pub async fn backup(arguments: Arguments) -> anyhow::Result<()> {
    match (arguments.check, arguments.data) {
        (Some(folder), _) => check_all(&folder).await,
        (None, Some(data)) => copy_one(&data, arguments.to).await,
        (None, None) => bail!("say which data to copy, with --data DIR"),
    }
}

async fn copy_one(data: &Path, to: Option<PathBuf>) -> anyhow::Result<()> {
    if !holds_database(data) {
        bail!(OpenError::NoDatabase {
            folder: data.into()
        });
    }
    let folder = match to {
        Some(folder) => {
            ensure!(
                folder.is_dir(),
                "{} is not there; put the stick or disk in, or make the folder",
                folder.display()
            );
            folder
        }
        None => {
            let folder = keeper::own_folder(data);
            copy::make_private_folder(&folder).map_err(|cause| CopyError::Write {
                folder: folder.clone(),
                cause,
            })?;
            folder
        }
    };
    let at = Clock::System.now();
    let copied = copy::make(&data.join(FILE), &folder, at, Why::Asked)
        .await
        // Its text tells the cause already.
        .map_err(|error| anyhow!("{error}"))?;
    println!(
        "Copied and checked, up to journal {}, code {}, {} bytes: {}",
        copied.whole.sequence,
        copied.whole.code(),
        copied.bytes,
        copied.path.display()
    );
    Ok(())
}

/// Tells of each copy whether it is whole. Fails when one is not, or when there is none.
async fn check_all(folder: &Path) -> anyhow::Result<()> {
    ensure!(folder.is_dir(), "{} is not there", folder.display());
    let mut copies: Vec<PathBuf> =
        Shelf::files(folder).with_context(|| format!("cannot list {}", folder.display()))?;
    copies.sort();
    ensure!(!copies.is_empty(), "{} holds no copy", folder.display());
    let mut bad = 0;
    for copy in &copies {
        let name = copy.file_name().unwrap_or_default().display();
        match check_one(copy).await {
            Ok(whole) => println!(
                "good     {name}: journal {}, {}, code {}",
                whole.sequence,
                whole.head,
                whole.code()
            ),
            Err(fault) => {
                bad += 1;
                println!("damaged  {name}: {fault}");
            }
        }
    }
    ensure!(
        bad == 0,
        "{bad} of {} copies in {} cannot be used; remove them",
        copies.len(),
        folder.display()
    );
    Ok(())
}

async fn check_one(copy: &Path) -> anyhow::Result<Whole> {
    let file = copy.to_owned();
    spawn_blocking(move || check::sum_holds(&file)).await??;
    Ok(check::file(copy).await?)
}
