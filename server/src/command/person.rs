//! `mendpost person`: somebody who may sign in.

use std::path::PathBuf;

use anyhow::bail;
use clap::Args;
use mendpost_core::people::Role;

use super::{ask_passphrase, person_name};
use crate::AppState;
use crate::change::{Actor, Change};
use crate::clock::Clock;
use crate::config::Config;
use crate::db::{Db, OpenError, holds_database};
use crate::people::{self, passphrase::NewPassphrase};

/// Add a person, or give one a role and a passphrase anew; the service must not be running
#[derive(Debug, Args)]
pub struct Arguments {
    /// Folder that holds the site's data
    #[arg(long, value_name = "DIR")]
    data: PathBuf,
    /// The person's name, as typed at sign-in; the passphrase is asked for, or read as one line from standard input
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
    let passphrase = NewPassphrase::new(&ask_passphrase(&name)?)?;
    let db = Db::open(&data).await?;
    let state = AppState::new(db, Clock::System, Config::default());
    let outcome = admit(&state, &name, role, passphrase).await;
    state.db.close().await;
    outcome?;
    println!("{name} may sign in as {role}.");
    Ok(())
}

async fn admit(
    state: &AppState,
    name: &str,
    role: Role,
    passphrase: NewPassphrase,
) -> anyhow::Result<()> {
    let hash = state.passphrases.hash(passphrase).await?;
    let mut change = Change::begin(state, Actor::Mendpost).await?;
    people::admit(&mut change, name, role, &hash).await?;
    Ok(change.commit().await?)
}
