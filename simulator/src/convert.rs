//! Files of recordings into files of traces, and back; either into a value change dump.

use std::io::Write as _;
use std::path::Path;

use anyhow::{anyhow, ensure};
use slackside::settings::Checked;
use slackside_desk::files::{Files as _, WANTED_TRACE, unreadable};
use slackside_desk::recording;

use crate::disk::Disk;
use crate::outputs::{same_file, write_whole};

/// Convert `from` into `to`, as [`recording::convert`] does; as [`recording::to_dump`] does where `to` is called `.vcd`. What was done, in
/// words.
///
/// # Errors
/// One of them cannot be read or written, or the settings are missing.
pub fn convert(from: &Path, to: &Path, settings: Option<&Checked>) -> anyhow::Result<String> {
    let name = from.display().to_string();
    ensure!(!same_file(from, to), "{name} would be overwritten: name another file to write");
    let bytes = Disk.bytes(from).map_err(|error| anyhow!("{name} {}", unreadable(&error, WANTED_TRACE)))?;
    let is_called = |ending: &str| to.extension().is_some_and(|extension| extension.eq_ignore_ascii_case(ending));
    let is_recording = recording::Recording::is_one(&bytes);
    for (wrong, what, ending) in [
        (is_recording && is_called("slk"), "a trace", "csv"),
        (!is_recording && is_called("csv"), "a recording", "slk"),
    ] {
        ensure!(
            !wrong,
            "{name} becomes {what}, and {} is no name of one\n  mend: end the name in .{ending}",
            to.display()
        );
    }
    let (bytes, said) = match is_called("vcd") {
        true => recording::to_dump(&name, bytes)?,
        false => recording::convert(&name, bytes, settings)?,
    };
    write_whole(to, |file| Ok(file.write_all(&bytes)?))?;
    Ok(format!("{}: {said}", to.display()))
}
