//! `mendpost part-file`: everything about one rebuilt part, in one archive.

use std::fs::{self, File, OpenOptions};
use std::io::Write;
use std::path::{Path, PathBuf};

use anyhow::{Context, anyhow, ensure};
use clap::Args;
use tokio::task::spawn_blocking;

use crate::db::open_to_read;
use crate::error::AppError;
use crate::part_file::{PartFile, archive};

/// Write everything on record of one part into an archive, also beside a running service
#[derive(Debug, Args)]
pub struct Arguments {
    /// Folder that holds the site's data
    #[arg(long, value_name = "DIR")]
    data: PathBuf,
    /// Number of the request, as 31
    #[arg(long, value_name = "NUMBER")]
    request: u32,
    /// The archive to write, or the folder to write it to; it must not be there yet
    #[arg(long, value_name = "FILE")]
    to: PathBuf,
}

pub async fn part_file(arguments: Arguments) -> anyhow::Result<()> {
    let read = open_to_read(&arguments.data).await?;
    let mut reading = read.begin().await?;
    let number = arguments.request.to_string();
    let file = PartFile::load(&mut reading, &number).await.map_err(told)?;
    let bytes = archive(&mut reading, &file).await.map_err(told)?;
    drop(reading);
    read.close().await;
    let to = match arguments.to.is_dir() {
        true => arguments.to.join(file.name("zip")),
        false => arguments.to,
    };
    let written = to.clone();
    spawn_blocking(move || write(&to, &bytes)).await??;
    println!("Written and read again: {}", written.display());
    Ok(())
}

fn told(error: AppError) -> anyhow::Error {
    match error {
        AppError::NotFound { what } => anyhow!("there is no {what}; see the list of requests"),
        other => anyhow!(other),
    }
}

/// Under another name until it is whole on the disk, so that what has its own name is never a part of it.
fn write(to: &Path, bytes: &[u8]) -> anyhow::Result<()> {
    let shown = to.display();
    ensure!(
        !to.exists(),
        "{shown} is there already; choose another name"
    );
    let mut partial = to.as_os_str().to_owned();
    partial.push(".part");
    let partial = PathBuf::from(partial);
    let written = whole(&partial, bytes);
    let ended = written.and_then(|()| fs::rename(&partial, to));
    if ended.is_err() {
        // What is there of it is of no use to anybody.
        let _gone = fs::remove_file(&partial);
    }
    ended.with_context(|| format!("cannot write {shown}"))
}

fn whole(partial: &Path, bytes: &[u8]) -> std::io::Result<()> {
    let mut file: File = OpenOptions::new()
        .write(true)
        .create(true)
        .truncate(true)
        .open(partial)?;
    file.write_all(bytes)?;
    file.sync_all()?;
    drop(file);
    match fs::read(partial)? == bytes {
        true => Ok(()),
        false => Err(std::io::Error::other(
            "what was read again is not what was written",
        )),
    }
}
