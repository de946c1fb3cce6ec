//! `slackside simulate`.

/// Simulate a leg and write its trace.
#[derive(clap::Args)]
pub struct Args {}

/// Run the command.
pub fn run(_args: &Args) -> anyhow::Result<()> {
    anyhow::bail!("not there yet")
}
