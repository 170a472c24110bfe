//! `mendpost verify`: whether a site's data are what its journal says.

use std::path::{Path, PathBuf};

use anyhow::{anyhow, bail};
use clap::Args;
use mendpost_core::journal::code::HeadCode;
use sqlx::sqlite::SqliteConnectOptions;
use sqlx::{ConnectOptions, Connection};
use tokio::task::spawn_blocking;

use crate::backup::check::{sum_holds, untouched};
use crate::db::{FILE, OpenError, holds_database, reading};
use crate::verify::{Left, Replayed, Verified, verify as verify_database};

/// Check that the journal is whole and the tables hold what it says; changes nothing, also beside a running service
#[derive(Debug, Args)]
pub struct Arguments {
    /// Folder that holds the site's data
    #[arg(long, value_name = "DIR", required_unless_present = "copy")]
    data: Option<PathBuf>,
    /// A copy with its sum file beside it, in place of a folder
    #[arg(long, value_name = "FILE", conflicts_with = "data")]
    copy: Option<PathBuf>,
    /// A code that was written down or printed earlier; any number of them
    #[arg(long, value_name = "CODE")]
    head: Vec<HeadCode>,
}

pub async fn verify(arguments: Arguments) -> anyhow::Result<()> {
    let (options, what) = match (arguments.data, arguments.copy) {
        (Some(data), _) => (of_site(&data)?, data),
        (None, Some(copy)) => (of_copy(&copy).await?, copy),
        (None, None) => bail!("say what to verify, with --data DIR or --copy FILE"),
    };
    let mut connection = options.connect().await?;
    let found = verify_database(&mut connection, &arguments.head).await;
    connection.close().await?;
    let verified = found.map_err(|fault| {
        let remedy = fault.remedy();
        anyhow!("{}: {fault}; {remedy}", what.display())
    })?;
    print!("{}", text(&verified, &arguments.head));
    Ok(())
}

fn of_site(data: &Path) -> anyhow::Result<SqliteConnectOptions> {
    if !holds_database(data) {
        bail!(OpenError::NoDatabase {
            folder: data.into()
        });
    }
    Ok(reading(&data.join(FILE)))
}

/// A copy is read only if it is the file that its sum was taken of.
async fn of_copy(copy: &Path) -> anyhow::Result<SqliteConnectOptions> {
    let file = copy.to_owned();
    let sum = spawn_blocking(move || sum_holds(&file)).await?;
    sum.map_err(|fault| anyhow!("{}: {fault}; take another copy", copy.display()))?;
    Ok(untouched(copy))
}

/// What was checked, what was not, and the code to write down.
fn text(verified: &Verified, codes: &[HeadCode]) -> String {
    let mut lines = vec![format!(
        "The journal is whole: {} entries, each byte as it was sealed, each sealed to the one before it.",
        verified.sequence
    )];
    let replayed = verified.replayed.iter().map(rows);
    lines.push(format!(
        "These tables hold what it says: {}.",
        replayed.collect::<Vec<_>>().join(", ")
    ));
    let in_part = verified.replayed.iter().filter(|table| table.in_part > 0);
    let in_part: Vec<String> = in_part
        .map(|it| format!("{} of {} in {}", it.in_part, it.rows, it.table))
        .collect();
    if !in_part.is_empty() {
        lines.push(format!(
            "Rows of which an entry of an earlier version tells only a part: {}.",
            in_part.join(", ")
        ));
    }
    if !codes.is_empty() {
        let codes: Vec<String> = codes.iter().map(ToString::to_string).collect();
        lines.push(format!(
            "It fits what was written down: {}.",
            codes.join(", ")
        ));
    }
    let (whole, parts): (Vec<&Left>, Vec<&Left>) = verified
        .left
        .iter()
        .partition(|left| left.columns.is_empty());
    let parts = parts
        .iter()
        .map(|left| format!("of {}: {}", left.table, left.columns.join(" ")));
    lines.push(format!(
        "Not replayed, in part: {}.",
        parts.collect::<Vec<_>>().join("; ")
    ));
    let whole: Vec<&str> = whole.iter().map(|left| left.table.as_str()).collect();
    lines.push(format!("Not replayed: {}.", whole.join(", ")));
    lines.push(format!(
        "Head: journal {}, code {}. Write it down where nobody can change it.",
        verified.sequence,
        verified.code()
    ));
    lines.join("\n") + "\n"
}

fn rows(table: &Replayed) -> String {
    let rows = if table.rows == 1 { "row" } else { "rows" };
    format!("{} ({} {rows})", table.table, table.rows)
}
