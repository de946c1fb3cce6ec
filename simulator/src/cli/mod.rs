//! The command line: one file a command, each with its arguments and its `run`.

mod box_cmd;
mod compare;
mod convert;
mod emulate;
mod import;
mod interrupt;
mod label;
mod mends;
mod new_key;
mod new_leg;
mod papers;
mod replay;
mod sheet;
mod simulate;
mod talk;
mod trend;
mod tune;

use std::process::ExitCode;

use clap::{Parser, Subcommand};

use crate::outputs;
use talk::{Gone, Talk, tell};

/// The end of every help.
const CODES: &str = "\
Exit codes:
  0    done, whatever was found: a trace that trips is no error
  2    something could not be read, understood or written; nothing half-written is left
  130  interrupted or told to end; nothing half-written is left";

/// Watches the belt of a bucket elevator for slip and misalignment, in recordings and in simulation.
///
/// Not a certified safety device. Lock out and tag out the drive before anything is opened.
#[derive(Parser)]
#[command(name = "slackside", version, max_term_width = 100, after_help = CODES)]
struct Cli {
    #[command(subcommand)]
    command: Command,
    #[command(flatten)]
    talk: Talk,
}

#[derive(Subcommand)]
enum Command {
    #[command(after_help = CODES)]
    Replay(replay::Args),
    #[command(after_help = CODES)]
    Sheet(sheet::Args),
    #[command(after_help = CODES)]
    NewLeg(new_leg::Args),
    #[command(after_help = CODES)]
    NewKey(new_key::Args),
    #[command(after_help = CODES)]
    Simulate(simulate::Args),
    #[command(after_help = CODES)]
    Compare(compare::Args),
    #[command(after_help = CODES)]
    Label(label::Args),
    #[command(after_help = CODES)]
    Tune(tune::Args),
    #[command(after_help = CODES)]
    Trend(trend::Args),
    #[command(after_help = CODES)]
    Convert(convert::Args),
    #[command(after_help = CODES)]
    Import(import::Args),
    #[command(after_help = CODES)]
    Box(box_cmd::Args),
    #[command(after_help = CODES)]
    Emulate(emulate::Args),
    #[command(after_help = CODES)]
    Completions(papers::Completions),
    #[command(after_help = CODES)]
    Manual(papers::Manual),
}

/// Run the command line of this process. Bad input ends with exit code 2 and a message on standard error.
#[must_use]
pub fn main() -> ExitCode {
    let Cli { command, talk } = match Cli::try_parse() {
        Ok(understood) => understood,
        Err(error) => {
            let mend = mends::mend(&error);
            // As clap ends by itself; where nobody reads what it prints there is nobody to tell.
            let _ = error.print();
            if let Some(mend) = mend {
                tell(format_args!("  mend: {mend}"));
            }
            return if error.use_stderr() { ExitCode::from(2) } else { ExitCode::SUCCESS };
        }
    };
    outputs::may_replace(talk.force);
    match interrupt::listen().and_then(|()| run(&command, &talk)) {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) if failure.is::<Gone>() => ExitCode::SUCCESS,
        Err(failure) => {
            tell(format_args!("error: {failure:#}"));
            ExitCode::from(2)
        }
    }
}

fn run(command: &Command, talk: &Talk) -> anyhow::Result<()> {
    match command {
        Command::Replay(args) => replay::run(args, talk),
        Command::Sheet(args) => sheet::run(args, talk),
        Command::NewLeg(args) => new_leg::run(args, talk),
        Command::NewKey(args) => new_key::run(args, talk),
        Command::Simulate(args) => simulate::run(args, talk),
        Command::Compare(args) => compare::run(args, talk),
        Command::Label(args) => label::run(args, talk),
        Command::Tune(args) => tune::run(args, talk),
        Command::Trend(args) => trend::run(args, talk),
        Command::Convert(args) => convert::run(args, talk),
        Command::Import(args) => import::run(args, talk),
        Command::Box(args) => box_cmd::run(args, talk),
        Command::Emulate(args) => emulate::run(args, talk),
        Command::Completions(args) => papers::completions(args, talk),
        Command::Manual(args) => papers::manual(args, talk),
    }
}
