//! The command line: one file per command.

pub mod demo;
pub mod init;
pub mod plan;
pub mod serve;

use std::future::Future;
use std::io::{IsTerminal, stderr};
use std::process::ExitCode;

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
