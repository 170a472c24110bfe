//! The command line: one file per command.

pub mod backup;
pub mod calc;
pub mod demo;
pub mod files;
pub mod init;
pub mod pack;
pub mod part_file;
pub mod person;
pub mod plan;
pub mod restore;
pub mod serve;
pub mod verify;

use std::fmt::Display;
use std::future::Future;
use std::io::{IsTerminal, Read, Write, stderr, stdin, stdout};
use std::path::Path;
use std::process::ExitCode;

use chrono_tz::Tz;
use tracing_subscriber::filter::LevelFilter;

use crate::config::Config;
use crate::page::{Screen, moment, offset};
use crate::people;
use crate::people::codes::StartCode;

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

/// Prints what was worked out without a site; what is wrong with its input becomes one line and exit code 2.
fn print(answer: Result<impl Display, String>) -> ExitCode {
    match answer {
        Ok(answer) => match writeln!(stdout(), "{answer}") {
            Ok(()) => ExitCode::SUCCESS,
            Err(_) => ExitCode::FAILURE,
        },
        Err(fault) => {
            eprintln!("mendpost: {fault}");
            ExitCode::from(2)
        }
    }
}

/// All of standard input, or why it cannot be read.
fn standard_input() -> Result<String, String> {
    let mut text = String::new();
    let read = stdin().read_to_string(&mut text);
    read.map_err(|error| format!("standard input cannot be read: {error}"))?;
    Ok(text)
}

/// Says once on standard output by which code somebody gets in, where, and until when.
fn tell_start_code(name: &str, start: &StartCode, zone: Tz, data: &Path) {
    let StartCode { code, until } = start;
    let address = Config::default().listen;
    println!(
        "Start code for {name}, shown this once: {code}\n\
         It works until {} ({} from UTC): start the service with mendpost serve --data {}, then enter \
         the code at http://{address}{} (the port is another if --listen says so).",
        moment(*until, zone),
        offset(*until, zone),
        data.display(),
        Screen::Start.path(),
    );
}

/// A person's name, as an argument.
fn person_name(given: &str) -> Result<String, String> {
    people::person_name(given).map_err(|error| error.to_string())
}
