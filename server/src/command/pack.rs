//! `mendpost pack`: one packing problem, in and out as JSON, without a site.

use std::fs::read_to_string;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::time::Instant;

use clap::Args;
use mendpost_core::resupply::pack::{Packing, check, pack};

use super::{print, standard_input};

/// At the most so many nodes of the search, so that those still to be split fit into memory.
const MOST_NODES: u64 = 2_000_000;

/// Pack what is worth most within several limits, and print what to take
#[derive(Debug, Args)]
#[command(long_about = ABOUT)]
pub struct Arguments {
    /// The problem as JSON; '-' reads standard input
    #[arg(value_name = "PACKING")]
    packing: PathBuf,
    /// Seconds to search
    #[arg(long, default_value_t = 5.0)]
    seconds: f64,
}

/// What `--help` says: the problem and the answer.
const ABOUT: &str = "\
Pack what is worth most within several limits, and print what to take

The problem, all figures whole numbers:

  limits   list of id, limit: what all together must not exceed
  items    list of id, max, worth, [uses], [must: 0]
             max    the most units
             worth  list: of the first unit, of the second, and so on; the last figure repeats
             uses   of one unit, by the id of the limit
             must   the least units
  sets     list of lists of items: at least one of each, or none of any
  apart    list of pairs of items: never both

The answer:

  worth    what is taken is worth that
  bound    nothing that fits is worth more than this
  proven   nothing that fits is worth more than what is taken
  take     how many of each item that is taken";

/// Prints the answer; what is wrong with the problem becomes one line and exit code 2.
pub fn command(arguments: &Arguments) -> ExitCode {
    print(answer(arguments))
}

fn answer(arguments: &Arguments) -> Result<String, String> {
    let seconds = arguments.seconds;
    if !seconds.is_finite() || seconds < 0.0 {
        return Err(format!("--seconds is {seconds}; give 0 or more"));
    }
    let text = text(&arguments.packing)?;
    let packing = Packing::from_json(&text).map_err(|faults| one_line(&faults))?;
    let begin = Instant::now();
    let packed = pack(&packing, MOST_NODES, &mut || {
        begin.elapsed().as_secs_f64() >= seconds
    });
    let broken = check(&packing, &packed);
    if !broken.is_empty() {
        return Err(format!("the answer breaks a rule: {}", one_line(&broken)));
    }
    serde_json::to_string(&packed).map_err(|error| error.to_string())
}

fn one_line(faults: &[impl ToString]) -> String {
    let told: Vec<String> = faults.iter().map(ToString::to_string).collect();
    told.join("; ")
}

fn text(path: &Path) -> Result<String, String> {
    if path.as_os_str() == "-" {
        return standard_input();
    }
    read_to_string(path).map_err(|error| format!("{}: {error}", path.display()))
}
