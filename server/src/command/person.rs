//! `mendpost person`: somebody who may sign in.

use std::path::PathBuf;

use anyhow::{Context, bail};
use chrono_tz::Tz;
use clap::Args;
use mendpost_core::people::Role;

use super::{person_name, tell_start_code};
use crate::AppState;
use crate::change::{Actor, Change};
use crate::clock::Clock;
use crate::config::Config;
use crate::db::{Db, OpenError, holds_database};
use crate::people::codes::StartCode;
use crate::people::roster;
use crate::site;

/// Add a person, or give one a role and a new start code; the service must not be running
#[derive(Debug, Args)]
pub struct Arguments {
    /// Folder that holds the site's data
    #[arg(long, value_name = "DIR")]
    data: PathBuf,
    /// The person's name, as typed at sign-in
    #[arg(long, value_name = "NAME", value_parser = person_name)]
    name: String,
    /// What the person answers for: lead, crew, checker, storekeeper or viewer
    #[arg(long, value_name = "ROLE")]
    role: Role,
}

pub async fn person(arguments: Arguments) -> anyhow::Result<()> {
    let Arguments { data, name, role } = arguments;
    if !holds_database(&data) {
        bail!(OpenError::NoDatabase { folder: data });
    }
    let db = Db::open(&data).await?;
    let state = AppState::new(db, Clock::System, Config::default());
    let outcome = welcome(&state, &name, role).await;
    state.db.close().await;
    let (start, zone) = outcome?;
    println!("{name} is {role}.");
    tell_start_code(&name, &start, zone, &data);
    Ok(())
}

async fn welcome(state: &AppState, name: &str, role: Role) -> anyhow::Result<(StartCode, Tz)> {
    let site = site::queries::site(&state.db.read).await?;
    let site = site.context("the database holds no site")?;
    let mut change = Change::begin(state, Actor::Mendpost).await?;
    let start = roster::welcome(&mut change, name, role).await?;
    change.commit().await?;
    Ok((start, site.zone))
}
