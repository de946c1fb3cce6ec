//! Files of recordings into files of traces, and back.

use std::fs;
use std::io::Write as _;
use std::path::Path;

use anyhow::{Context as _, ensure};
use slackside::settings::Checked;
use slackside_desk::recording;

use crate::outputs::{same_file, write_whole};

/// Convert `from` into `to`, as [`recording::convert`] does. What was done, in words.
///
/// # Errors
/// One of them cannot be read or written, or the settings are missing.
pub fn convert(from: &Path, to: &Path, settings: Option<&Checked>) -> anyhow::Result<String> {
    let name = from.display().to_string();
    ensure!(!same_file(from, to), "{name} would be overwritten: name another file to write");
    let bytes = fs::read(from).with_context(|| format!("{name} cannot be read"))?;
    let (bytes, said) = recording::convert(&name, bytes, settings)?;
    write_whole(to, |file| Ok(file.write_all(&bytes)?))?;
    Ok(format!("{}: {said}", to.display()))
}
