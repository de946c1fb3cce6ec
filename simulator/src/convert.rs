//! Files of recordings into files of traces, and back.

use std::io::Write as _;
use std::path::Path;

use anyhow::{anyhow, ensure};
use slackside::settings::Checked;
use slackside_desk::files::{Files as _, WANTED_TRACE, unreadable};
use slackside_desk::recording;

use crate::disk::Disk;
use crate::outputs::{same_file, write_whole};

/// Convert `from` into `to`, as [`recording::convert`] does. What was done, in words.
///
/// # Errors
/// One of them cannot be read or written, or the settings are missing.
pub fn convert(from: &Path, to: &Path, settings: Option<&Checked>) -> anyhow::Result<String> {
    let name = from.display().to_string();
    ensure!(!same_file(from, to), "{name} would be overwritten: name another file to write");
    let bytes = Disk.bytes(from).map_err(|error| anyhow!("{name} {}", unreadable(&error, WANTED_TRACE)))?;
    let (bytes, said) = recording::convert(&name, bytes, settings)?;
    write_whole(to, |file| Ok(file.write_all(&bytes)?))?;
    Ok(format!("{}: {said}", to.display()))
}
