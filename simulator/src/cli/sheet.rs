//! `slackside sheet`.

use std::io::Write as _;
use std::path::PathBuf;

use slackside_desk::settings;
use slackside_desk::sheet::sheet;

use crate::disk::Disk;

/// Print the commissioning sheet of a leg.
#[derive(clap::Args)]
pub struct Args {
    /// The leg's settings (TOML); the built-in example leg without it
    #[arg(long, value_name = "LEG.toml", conflicts_with = "write_settings")]
    settings: Option<PathBuf>,

    /// Print the built-in example's settings as a commented TOML file instead: a start for your own leg
    #[arg(long)]
    write_settings: bool,
}

/// Run the command.
pub fn run(args: &Args) -> anyhow::Result<()> {
    let loaded = settings::read_or_example(&Disk, args.settings.as_deref())?;
    let text = if args.write_settings { settings::write(&loaded.checked) } else { sheet(&loaded) };
    match std::io::stdout().lock().write_all(text.as_bytes()) {
        // The reader has seen enough.
        Err(error) if error.kind() == std::io::ErrorKind::BrokenPipe => Ok(()),
        other => Ok(other?),
    }
}
