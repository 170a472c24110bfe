//! Measures how long pages take on the release binary, over loopback and one at a time, and prints tables in Markdown:
//! of the demonstration every page that a link leads to, of ten years of one busy cell a few hundred of each kind.

mod demonstration;
mod ten_years;
mod visitor;

use std::path::PathBuf;
use std::time::Duration;

use clap::{Parser, Subcommand};

/// Measures the pages of the demonstration, unless another site is named.
#[derive(Debug, Parser)]
struct Args {
    #[command(subcommand)]
    site: Option<Site>,
}

#[derive(Debug, Subcommand)]
enum Site {
    /// Ten years of one busy cell
    TenYears {
        /// The folder in which `ten-years` has made them; made anew if not given
        folder: Option<PathBuf>,
    },
}

#[tokio::main]
async fn main() {
    match Args::parse().site {
        None => demonstration::print().await,
        Some(Site::TenYears { folder }) => ten_years::print(folder).await,
    }
}

fn milliseconds(time: Duration) -> String {
    format!("{:.1} ms", time.as_secs_f64() * 1000.0)
}

/// The median of sorted times, and within what 95 in 100 are.
fn median_and_most(times: &[Duration]) -> (Duration, Duration) {
    (times[times.len() / 2], times[times.len() * 95 / 100])
}
