//! `mendpost init`: a new site, with its first person.

use std::io::{IsTerminal, stdin};
use std::path::{Path, PathBuf};

use anyhow::{bail, ensure};
use chrono_tz::Tz;
use clap::Args;
use mendpost_core::people::Role;

use crate::AppState;
use crate::change::{Actor, Change};
use crate::clock::Clock;
use crate::config::Config;
use crate::db::{Db, holds_database, open_to_read};
use crate::people::{self, passphrase::NewPassphrase};
use crate::site::{self, Site};

/// Make a new site with its first person, who is its lead
#[derive(Debug, Args)]
pub struct Arguments {
    /// Folder for the site's data; made if it is missing
    #[arg(long, value_name = "DIR")]
    data: PathBuf,
    /// Name of the site
    #[arg(long, value_name = "NAME", value_parser = name)]
    name: String,
    /// Name of the cell
    #[arg(long, value_name = "NAME", default_value = "Cell", value_parser = name)]
    cell: String,
    /// Time zone, by its name in the IANA database
    #[arg(long, value_name = "ZONE")]
    zone: Tz,
    /// Metres above the sea
    #[arg(long, value_name = "METRES", default_value_t = 0, value_parser = clap::value_parser!(i64).range(-500..=6000))]
    altitude: i64,
    /// Name of the first person; the passphrase is asked for, or read as one line from standard input
    #[arg(long, value_name = "NAME", value_parser = person_name)]
    lead: String,
}

pub async fn init(arguments: Arguments) -> anyhow::Result<()> {
    let Arguments {
        data,
        name,
        cell,
        zone,
        altitude,
        lead,
    } = arguments;
    refuse_founded(&data).await?;
    let passphrase = NewPassphrase::new(&ask_passphrase(&lead)?)?;
    let site = Site {
        name,
        cell_name: cell,
        zone,
        altitude_m: altitude,
        demonstration: false,
    };

    let db = Db::open(&data).await?;
    let state = AppState::new(db, Clock::System, Config::default());
    let outcome = write(&state, &site, &lead, passphrase).await;
    state.db.close().await;
    outcome?;
    println!(
        "{} is ready. Start it with: mendpost serve --data {}",
        site.name,
        data.display()
    );
    Ok(())
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

async fn write(
    state: &AppState,
    site: &Site,
    lead: &str,
    passphrase: NewPassphrase,
) -> anyhow::Result<()> {
    let hash = state.passphrases.hash(passphrase).await?;
    let mut change = Change::begin(state, Actor::Mendpost).await?;
    site::found(&mut change, site).await?;
    people::add(&mut change, lead, Role::Lead, Some(&hash)).await?;
    Ok(change.commit().await?)
}

/// At a terminal asked for twice without showing it; else one line of standard input.
fn ask_passphrase(lead: &str) -> anyhow::Result<String> {
    if !stdin().is_terminal() {
        let mut line = String::new();
        stdin().read_line(&mut line)?;
        return Ok(line.trim_end_matches(['\r', '\n']).to_owned());
    }
    let first = rpassword::prompt_password(format!("Passphrase for {lead}: "))?;
    let again = rpassword::prompt_password("The same again: ")?;
    if first != again {
        bail!("the two passphrases differ; nothing was made");
    }
    Ok(first)
}

fn name(given: &str) -> Result<String, String> {
    bounded(given, 80)
}

fn person_name(given: &str) -> Result<String, String> {
    bounded(given, 60)
}

fn bounded(given: &str, max: usize) -> Result<String, String> {
    crate::form::text(given, max).map_err(|error| error.to_string())
}
