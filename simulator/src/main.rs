//! The `slackside` command.

use std::process::ExitCode;

fn main() -> ExitCode {
    slackside_simulator::cli::main()
}
