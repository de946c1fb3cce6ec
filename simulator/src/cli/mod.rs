//! The command line: one file a command, each with its arguments and its `run`.

mod box_cmd;
mod compare;
mod convert;
mod emulate;
mod interrupt;
mod label;
mod replay;
mod sheet;
mod simulate;
mod tune;

use std::process::ExitCode;

use clap::{Parser, Subcommand};

/// Watches the belt of a bucket elevator for slip and misalignment, in recordings and in simulation.
#[derive(Parser)]
#[command(name = "slackside", version, max_term_width = 100)]
struct Cli {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    Box(box_cmd::Args),
    Convert(convert::Args),
    Compare(compare::Args),
    Label(label::Args),
    Emulate(emulate::Args),
    Replay(replay::Args),
    Sheet(sheet::Args),
    Simulate(simulate::Args),
    Tune(tune::Args),
}

/// Run the command line of this process. Bad input ends with exit code 2 and a message on standard error.
#[must_use]
pub fn main() -> ExitCode {
    let outcome = match Cli::parse().command {
        Command::Box(args) => box_cmd::run(&args),
        Command::Convert(args) => convert::run(&args),
        Command::Compare(args) => compare::run(&args),
        Command::Label(args) => label::run(&args),
        Command::Emulate(args) => emulate::run(&args),
        Command::Replay(args) => replay::run(&args),
        Command::Sheet(args) => sheet::run(&args),
        Command::Simulate(args) => simulate::run(&args),
        Command::Tune(args) => tune::run(&args),
    };
    match outcome {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => {
            eprintln!("error: {failure:#}");
            ExitCode::from(2)
        }
    }
}
