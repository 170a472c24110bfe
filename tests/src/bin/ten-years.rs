//! Makes a data folder that holds ten years of one busy cell, the same for each seed, up to this moment.

use std::path::PathBuf;
use std::process::ExitCode;
use std::time::Instant;

use clap::Parser;
use mendpost_server::book::{balances, replay};
use mendpost_server::clock::Clock;
use mendpost_server::db::{Db, holds_database};
use mendpost_server::verify::replayed;
use mendpost_tests::decade::{Extent, make, state_on};

/// Makes ten years of builds, lots and movements, and checks that the journal tells the same book.
#[derive(Debug, Parser)]
struct Args {
    /// A new folder; serve it with: mendpost demo --data FOLDER
    folder: PathBuf,
    /// Only one part of so many
    #[arg(long, default_value_t = 1)]
    one_in: i64,
    /// Other seeds make other years
    #[arg(long, default_value_t = Extent::TEN_YEARS.seed)]
    seed: u64,
}

#[tokio::main]
async fn main() -> ExitCode {
    match run(Args::parse()).await {
        Ok(()) => ExitCode::SUCCESS,
        Err(fault) => {
            eprintln!("{fault}");
            ExitCode::FAILURE
        }
    }
}

async fn run(args: Args) -> Result<(), String> {
    if holds_database(&args.folder) {
        return Err(format!(
            "{} holds a site already; name another folder",
            args.folder.display()
        ));
    }
    let begin = Instant::now();
    let db = Db::open(&args.folder).await.map_err(|it| it.to_string())?;
    let (state, time) = state_on(db);
    let extent = Extent {
        seed: args.seed,
        ..Extent::TEN_YEARS.one_in(args.one_in.max(1))
    };
    let made = make(&state, &time, extent, Clock::System.now()).await;
    made.map_err(|it| format!("{it:?}"))?;
    let made = begin.elapsed();
    let read = &state.db.read;
    replayed(read).await.map_err(|it| it.to_string())?;
    let again = replay(read).await.map_err(|it| it.to_string())??;
    let tables = balances(read).await.map_err(|it| it.to_string())?;
    let same = again.all().count() == tables.len()
        && tables
            .iter()
            .all(|it| again.of(&it.place, &it.lot) == it.mass);
    state.db.close().await;
    if !same {
        return Err("the journal tells another book than the tables".to_owned());
    }
    println!(
        "made in {:.0} s and checked in {:.0} s: {extent:?}",
        made.as_secs_f64(),
        begin.elapsed().as_secs_f64() - made.as_secs_f64()
    );
    Ok(())
}
