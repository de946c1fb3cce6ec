//! `slackside new-key`.

use std::io::Write as _;
use std::path::PathBuf;

use anyhow::Context as _;
use serde_json::json;
use slackside_box::store::key_block;

use super::talk::Talk;
use crate::box_client::write_key;
use crate::outputs::create;

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
    // Both are begun before one is put in its place: a key without its block, or the other way about, is of no use.
    let mut files = vec![create(&args.file)?];
    files.extend(args.block.as_deref().map(create).transpose()?);
    let mut key = [0; 16];
    getrandom::fill(&mut key).ok().context("this computer gives no random numbers")?;
    let contents = [write_key(&key).into_bytes(), key_block(&key).to_vec()];
    for (file, bytes) in files.iter_mut().zip(&contents) {
        file.write_all(bytes).context("nothing is written")?;
    }
    for file in files {
        file.finish().context("the key could not be put in its place")?;
    }
    let (file, block) = (args.file.display().to_string(), args.block.as_ref().map(|path| path.display().to_string()));
    talk.object(|| json!({"format": "slackside-new-key", "format_version": 1, "file": file, "block": block}))?;
    talk.line(format_args!("{file} holds a new key. Whoever has it can send settings to the box that it is set in."))
}
