//! `mendpost demo`: the demonstration site, ready to walk through.

use std::net::SocketAddr;
use std::path::{Path, PathBuf};

use anyhow::{Context, ensure};
use clap::Args;

use super::serve::until_stopped;
use crate::AppState;
use crate::change::{Actor, Change};
use crate::clock::Clock;
use crate::config::Config;
use crate::error::AppError;
use crate::health::start;
use crate::lineup::plan_now;
use crate::seed::{self, SeedFiles};
use crate::{site, situation};

/// Serve an invented site, made anew at each start
#[derive(Debug, Args)]
pub struct Arguments {
    /// Address and port to listen on
    #[arg(long, value_name = "ADDRESS", default_value_t = Config::default().listen)]
    listen: SocketAddr,
    /// Folder to keep the demonstration in from one start to the next; a temporary one if not given
    #[arg(long, value_name = "DIR")]
    data: Option<PathBuf>,
    /// Changes tried for each plan with which a load of a trip is judged: fewer are coarser, and sooner done
    #[arg(long, value_name = "CHANGES", default_value_t = Config::default().load_iterations)]
    load_iterations: u64,
}

pub async fn demo(arguments: Arguments) -> anyhow::Result<()> {
    let config = Config {
        listen: arguments.listen,
        demonstration: true,
        load_iterations: arguments.load_iterations,
        ..Config::default()
    };
    match arguments.data {
        Some(folder) => demonstrate(&folder, config).await,
        None => {
            let folder = start::temporary_folder("demo")?;
            let outcome = demonstrate(&folder, config).await;
            outcome.and(start::remove_folder(&folder))
        }
    }
}

/// Fills an empty database with the demonstration site, as it stands on the day of loading.
pub async fn load(state: &AppState) -> Result<(), AppError> {
    let now = situation::moment(state.clock.now()).map_err(AppError::internal)?;
    let files = SeedFiles::demonstration();
    let site = seed::read(&files, now).map_err(|faults| {
        let lines: Vec<String> = faults.iter().map(ToString::to_string).collect();
        AppError::internal(lines.join("; "))
    })?;
    let mut change = Change::begin(state, Actor::Mendpost).await?;
    seed::write(&mut change, &site, true).await?;
    change.commit().await
}

async fn demonstrate(folder: &Path, config: Config) -> anyhow::Result<()> {
    let opened = start::open(folder).await?;
    let state = AppState {
        health: opened.health,
        ..AppState::new(opened.db, Clock::System, config)
    };
    let outcome = match prepare(&state, folder).await {
        Ok(()) => until_stopped(&state).await,
        Err(error) => Err(error),
    };
    start::close(&state.db, opened.temporary.as_deref()).await?;
    outcome
}

/// Anybody may be anybody in the demonstration: it must never open a real site.
async fn prepare(state: &AppState, folder: &Path) -> anyhow::Result<()> {
    match site::queries::site(&state.db.read).await? {
        None => {
            load(state)
                .await
                .context("cannot load the demonstration site")?;
            plan_now(
                state,
                "the start of the demonstration",
                &state.config.search,
            )
            .await
            .context("cannot plan the demonstration site")?;
            Ok(())
        }
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
