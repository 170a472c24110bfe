//! The binary `mendpost`.

use std::process::ExitCode;

use clap::error::ErrorKind;
use clap::{Parser, Subcommand};
use mendpost_server::command::{
    self, backup, calc, demo, files, init, pack, part_file, person, plan, restore, serve, verify,
};
use mendpost_server::solve;

/// Plans and records the repairs of a cold-spray cell.
#[derive(Parser)]
#[command(name = "mendpost", version)]
struct Arguments {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    Calc(calc::Arguments),
    Backup(backup::Arguments),
    Demo(demo::Arguments),
    Files(files::Arguments),
    Init(init::Arguments),
    Pack(pack::Arguments),
    PartFile(part_file::Arguments),
    Person(person::Arguments),
    Plan(plan::Arguments),
    Restore(restore::Arguments),
    Serve(serve::Arguments),
    /// Plan a problem file and print the plan
    Solve(solve::SolveArgs),
    Verify(verify::Arguments),
}

fn main() -> ExitCode {
    let arguments = match Arguments::try_parse() {
        Ok(arguments) => arguments,
        Err(error) => return usage(&error),
    };
    match arguments.command {
        Command::Backup(arguments) => command::run(backup::backup(arguments)),
        Command::Calc(arguments) => calc::calc(&arguments),
        Command::Demo(arguments) => command::run(demo::demo(arguments)),
        Command::Files(arguments) => command::run(files::files(arguments)),
        Command::Init(arguments) => command::run(init::init(arguments)),
        Command::Pack(arguments) => pack::command(&arguments),
        Command::PartFile(arguments) => command::run(part_file::part_file(arguments)),
        Command::Person(arguments) => command::run(person::person(arguments)),
        Command::Plan(arguments) => command::run(plan::plan(arguments)),
        Command::Restore(arguments) => command::run(restore::restore(arguments)),
        Command::Serve(arguments) => command::run(serve::serve(arguments)),
        Command::Solve(arguments) => solve::command(&arguments),
        Command::Verify(arguments) => command::run(verify::verify(arguments)),
    }
}

/// What was asked for goes to standard output; what was wrong becomes one line and exit code 2.
fn usage(error: &clap::Error) -> ExitCode {
    let text = error.to_string();
    if !error.use_stderr() {
        print!("{text}");
        return ExitCode::SUCCESS;
    }
    if error.kind() == ErrorKind::DisplayHelpOnMissingArgumentOrSubcommand {
        eprintln!(
            "mendpost: say what to do: backup, calc, demo, files, init, pack, part-file, person, plan, restore, serve, solve or verify; see mendpost --help"
        );
        return ExitCode::from(2);
    }
    let fault: Vec<&str> = text
        .lines()
        .take_while(|line| !line.is_empty())
        .map(str::trim)
        .collect();
    let fault = fault.join(" ");
    eprintln!(
        "mendpost: {}; see mendpost --help",
        fault.trim_start_matches("error: ")
    );
    ExitCode::from(2)
}
