//! `slackside sheet`.

/// Print the commissioning sheet of a leg.
#[derive(clap::Args)]
pub struct Args {}

/// Run the command.
pub fn run(_args: &Args) -> anyhow::Result<()> {
    anyhow::bail!("not there yet")
}
