//! `slackside replay`.

/// Replay a trace through the monitor and say what happened.
#[derive(clap::Args)]
pub struct Args {}

/// Run the command.
pub fn run(_args: &Args) -> anyhow::Result<()> {
    anyhow::bail!("not there yet")
}
