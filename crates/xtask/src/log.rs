//! The firmware's log: defmt frames, whose words are in the image.

use std::path::Path;

use anyhow::{Context, Result, bail};
use defmt_decoder::{DecodeError, Table};

/// The words of one image.
pub struct Words(Table);

impl Words {
    /// Read them from the image.
    pub fn of(image: &Path) -> Result<Self> {
        let elf = std::fs::read(image).with_context(|| format!("reading {}", image.display()))?;
        let table = Table::parse(&elf)?;
        Ok(Self(table.with_context(|| format!("{} has no words for its log", image.display()))?))
    }

    /// The lines in the bytes of a log from its beginning on. A line cut off at the end is left out.
    pub fn tell(&self, bytes: &[u8]) -> Result<Vec<String>> {
        let mut decoder = self.0.new_stream_decoder();
        decoder.received(bytes);
        let mut lines = Vec::new();
        loop {
            match decoder.decode() {
                Ok(frame) => {
                    let time = frame.display_timestamp().map(|time| format!("{time} ")).unwrap_or_default();
                    let level = frame.level().map(|level| format!("{} ", level.as_str())).unwrap_or_default();
                    lines.push(format!("{time}{level}{}", frame.display_message()));
                }
                Err(DecodeError::UnexpectedEof) => return Ok(lines),
                Err(DecodeError::Malformed) => bail!("the log is garbled after line {}", lines.len()),
            }
        }
    }
}
