//! `mendpost demo`: the demonstration site, ready to walk through.

use std::env::temp_dir;
use std::fs::{DirBuilder, remove_dir_all};
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::process;

use anyhow::{Context, ensure};
use chrono_tz::Tz;
use clap::Args;
use mendpost_core::people::Role;

use super::serve::until_stopped;
use crate::AppState;
use crate::change::{Actor, Change};
use crate::clock::Clock;
use crate::config::Config;
use crate::db::Db;
use crate::error::AppError;
use crate::people;
use crate::site::{self, Site};

/// Serve an invented site, made anew at each start
#[derive(Debug, Args)]
pub struct Arguments {
    /// Address and port to listen on
    #[arg(long, value_name = "ADDRESS", default_value_t = Config::default().listen)]
    listen: SocketAddr,
    /// Folder to keep the demonstration in from one start to the next; a temporary one if not given
    #[arg(long, value_name = "DIR")]
    data: Option<PathBuf>,
}

pub async fn demo(arguments: Arguments) -> anyhow::Result<()> {
    let config = Config {
        listen: arguments.listen,
        demonstration: true,
        ..Config::default()
    };
    match arguments.data {
        Some(folder) => demonstrate(&folder, config).await,
        None => {
            let folder = temporary_folder()?;
            let outcome = demonstrate(&folder, config).await;
            let removed = remove_dir_all(&folder)
                .with_context(|| format!("cannot remove {}", folder.display()));
            outcome.and(removed)
        }
    }
}

/// Fills an empty database with the demonstration site.
pub async fn load(state: &AppState) -> Result<(), AppError> {
    let site = Site {
        name: "Port Ansel".to_owned(),
        cell_name: "Harbour cell".to_owned(),
        zone: Tz::Pacific__Port_Moresby,
        altitude_m: 4,
        demonstration: true,
    };
    let mut change = Change::begin(state, Actor::Mendpost).await?;
    site::found(&mut change, &site).await?;
    for (name, role) in PEOPLE {
        people::add(&mut change, name, role, None).await?;
    }
    change.commit().await
}

/// Invented, and named by what they do.
const PEOPLE: [(&str, Role); 5] = [
    ("Cell lead", Role::Lead),
    ("Sprayer", Role::Crew),
    ("Machinist", Role::Checker),
    ("Storekeeper", Role::Storekeeper),
    ("Visitor", Role::Viewer),
];

async fn demonstrate(folder: &Path, config: Config) -> anyhow::Result<()> {
    let db = Db::open(folder).await?;
    let state = AppState::new(db, Clock::System, config);
    if let Err(error) = prepare(&state, folder).await {
        state.db.close().await;
        return Err(error);
    }
    until_stopped(state).await
}

/// Anybody may be anybody in the demonstration: it must never open a real site.
async fn prepare(state: &AppState, folder: &Path) -> anyhow::Result<()> {
    match site::queries::site(&state.db.read).await? {
        None => load(state)
            .await
            .context("cannot load the demonstration site"),
        Some(site) => {
            ensure!(
                site.demonstration,
                "{} holds a real site, {}; serve it with: mendpost serve --data {}",
                folder.display(),
                site.name,
                folder.display()
            );
            Ok(())
        }
    }
}

/// A folder of our own: it fails when something is there already, which another user could have laid.
fn temporary_folder() -> anyhow::Result<PathBuf> {
    let folder = temp_dir().join(format!("mendpost-demo-{}", process::id()));
    let mut builder = DirBuilder::new();
    #[cfg(unix)]
    std::os::unix::fs::DirBuilderExt::mode(&mut builder, 0o700);
    builder
        .create(&folder)
        .with_context(|| format!("cannot make {}", folder.display()))?;
    Ok(folder)
}
