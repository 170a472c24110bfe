//! `mendpost init`: a new site from files, with its first person.

use std::path::{Path, PathBuf};

use anyhow::{bail, ensure};
use clap::Args;
use mendpost_core::people::Role;

use super::{person_name, tell_start_code};
use crate::AppState;
use crate::change::{Actor, Change};
use crate::clock::Clock;
use crate::config::Config;
use crate::db::{Db, holds_database, open_to_read};
use crate::people::codes::StartCode;
use crate::people::roster;
use crate::seed::{self, SeedFiles, SiteData};
use crate::{site, situation};

/// Make a new site from a folder of files, with its first person, who is its lead
#[derive(Debug, Args)]
pub struct Arguments {
    /// Folder for the site's data; made if it is missing
    #[arg(long, value_name = "DIR")]
    data: PathBuf,
    /// Folder with the site's files; `mendpost files FOLDER` writes some to start from
    #[arg(long, value_name = "FOLDER")]
    site: PathBuf,
    /// Name of the first person, who gets a start code
    #[arg(long, value_name = "NAME", value_parser = person_name)]
    lead: String,
}

pub async fn init(arguments: Arguments) -> anyhow::Result<()> {
    let Arguments {
        data,
        site: folder,
        lead,
    } = arguments;
    refuse_founded(&data).await?;
    let site = read(&folder)?;
    let db = Db::open(&data).await?;
    let state = AppState::new(db, Clock::System, Config::default());
    let outcome = write(&state, &site, &lead).await;
    state.db.close().await;
    let start = outcome?;
    println!("{} is ready.", site.site.name);
    tell_start_code(&lead, &start, site.site.zone, &data);
    Ok(())
}

/// Every fault becomes a line on standard error.
fn read(folder: &Path) -> anyhow::Result<SiteData> {
    let files = SeedFiles::from_folder(folder)?;
    let now = situation::moment(Clock::System.now())?;
    match seed::read(&files, now) {
        Ok(site) => Ok(site),
        Err(faults) => {
            for fault in &faults {
                eprintln!("{fault}");
            }
            let word = if faults.len() == 1 { "fault" } else { "faults" };
            bail!(
                "{} {word} in {}; nothing was made",
                faults.len(),
                folder.display()
            )
        }
    }
}

/// A database without a site, left by a start that was cut off, may be filled.
async fn refuse_founded(data: &Path) -> anyhow::Result<()> {
    if !holds_database(data) {
        return Ok(());
    }
    let read = open_to_read(data).await?;
    let founded = site::queries::site(&read).await;
    read.close().await;
    ensure!(
        founded?.is_none(),
        "{} holds a site already; choose another folder, or serve it with: mendpost serve --data {}",
        data.display(),
        data.display()
    );
    Ok(())
}

async fn write(state: &AppState, site: &SiteData, lead: &str) -> anyhow::Result<StartCode> {
    let mut change = Change::begin(state, Actor::Mendpost).await?;
    seed::write(&mut change, site, false).await?;
    let start = roster::welcome(&mut change, lead, Role::Lead).await?;
    change.commit().await?;
    Ok(start)
}
