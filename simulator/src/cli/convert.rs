//! `slackside convert`.

use std::path::PathBuf;

use serde_json::json;
use slackside_desk::settings;

use super::talk::Talk;
use crate::convert::convert;
use crate::disk::Disk;

/// Convert a recording of a box into a trace (CSV), or back, without loss; either into a value change dump (VCD).
///
/// What the file is, is seen from its content. A trace made from a recording carries the rest of it in comments and becomes the same
/// recording again. Any other trace becomes a recording as of a box switched on just before it, and needs the leg's settings. A file to write
/// whose name ends in `.vcd` becomes a dump for programs that draw waveforms; `slackside import` reads it back.
#[derive(clap::Args)]
pub struct Args {
    /// The recording or trace to read.
    from: PathBuf,
    /// The file to write: it appears whole or not at all.
    to: PathBuf,
    /// The settings of the leg that a trace is of.
    #[arg(long, value_name = "LEG.toml")]
    settings: Option<PathBuf>,
    /// Accept settings of a test bench, whose speeds and sizes no leg has.
    #[arg(long, requires = "settings")]
    bench: bool,
}

/// Run the command.
pub fn run(args: &Args, talk: &Talk) -> anyhow::Result<()> {
    let loaded = match &args.settings {
        Some(path) if args.bench => Some(settings::read_for_bench(&Disk, path)?),
        Some(path) => Some(settings::read(&Disk, path)?),
        None => None,
    };
    let said = convert(&args.from, &args.to, loaded.as_ref().map(|loaded| &loaded.checked))?;
    talk.object(
        || json!({"format": "slackside-convert", "format_version": 1, "from": args.from, "to": args.to, "done": said}),
    )?;
    talk.line(said)
}
