//! `slackside new-key`.

use std::io::Write as _;
use std::path::PathBuf;

use anyhow::Context as _;
use serde_json::json;
use slackside_box::store::key_block;

use super::talk::Talk;
use crate::box_client::write_key;
use crate::outputs::{is_free, write_whole};

/// Make a key for a box: whoever has it can send settings to that box, if a person there confirms them.
///
/// The key is set when the box is flashed, never over its link: `--block` writes the bytes that lie in the key's block of the box's flash.
/// Keep the key file like the key of the starter's cabinet. A lost key means flashing the box anew.
#[derive(clap::Args)]
pub struct Args {
    /// The key file to write: it appears whole or not at all.
    #[arg(value_name = "BOX.key")]
    file: PathBuf,
    /// The bytes for the flash.
    #[arg(long, value_name = "FILE.bin")]
    block: Option<PathBuf>,
}

/// Run the command.
pub fn run(args: &Args, talk: &Talk) -> anyhow::Result<()> {
    for path in [Some(&args.file), args.block.as_ref()].into_iter().flatten() {
        is_free(path).map_err(|error| anyhow::anyhow!("{} is not written: {error}", path.display()))?;
    }
    let mut key = [0; 16];
    getrandom::fill(&mut key).ok().context("this computer gives no random numbers")?;
    write_whole(&args.file, |out| Ok(out.write_all(write_key(&key).as_bytes())?))?;
    if let Some(block) = &args.block {
        write_whole(block, |out| Ok(out.write_all(&key_block(&key))?))?;
    }
    let (file, block) = (args.file.display().to_string(), args.block.as_ref().map(|path| path.display().to_string()));
    talk.object(|| json!({"format": "slackside-new-key", "format_version": 1, "file": file, "block": block}))?;
    talk.line(format_args!("{file} holds a new key. Whoever has it can send settings to the box that it is set in."))
}
