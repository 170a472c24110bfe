//! The command line: one file per command.

pub mod backup;
pub mod demo;
pub mod files;
pub mod init;
pub mod person;
pub mod plan;
pub mod restore;
pub mod serve;

use std::future::Future;
use std::io::{IsTerminal, stderr, stdin};
use std::process::ExitCode;

use anyhow::ensure;
use tracing_subscriber::filter::LevelFilter;

/// Runs a command to its end. A failure becomes one line on standard error and exit code 1.
pub fn run(command: impl Future<Output = anyhow::Result<()>>) -> ExitCode {
    tracing_subscriber::fmt()
        .with_writer(stderr)
        .with_ansi(stderr().is_terminal())
        .with_max_level(LevelFilter::INFO)
        .with_target(false)
        .init();
    let outcome = tokio::runtime::Builder::new_multi_thread()
        .enable_all()
        .build()
        .map_err(anyhow::Error::from)
        .and_then(|runtime| runtime.block_on(command));
    match outcome {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("mendpost: {error:#}");
            ExitCode::FAILURE
        }
    }
}

/// At a terminal asked for twice without showing it; else one line of standard input.
fn ask_passphrase(name: &str) -> anyhow::Result<String> {
    if !stdin().is_terminal() {
        let mut line = String::new();
        stdin().read_line(&mut line)?;
        return Ok(line.trim_end_matches(['\r', '\n']).to_owned());
    }
    let first = rpassword::prompt_password(format!("Passphrase for {name}: "))?;
    let again = rpassword::prompt_password("The same again: ")?;
    ensure!(
        first == again,
        "the two passphrases differ; nothing was changed"
    );
    Ok(first)
}

/// A person's name, as an argument.
fn person_name(given: &str) -> Result<String, String> {
    crate::form::text(given, 60).map_err(|error| error.to_string())
}
