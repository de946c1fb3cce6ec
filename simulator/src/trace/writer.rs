//! Writing a trace: to a temporary file beside the place, renamed only once all is there.

use std::io::{self, Write};
use std::path::Path;

use slackside::input::Input;

use super::HEADER;
use super::row::write_row;
use crate::outputs::Whole;

/// Writes a trace file, all or nothing.
pub struct Writer {
    file: Whole,
    row: Vec<u8>,
}

impl Writer {
    /// Begin a trace that will appear at `path`.
    ///
    /// # Errors
    /// The directory cannot be written to.
    pub fn create(path: &Path) -> io::Result<Self> {
        let mut file = Whole::create(path)?;
        file.write_all(HEADER.as_bytes())?;
        file.write_all(b"\n")?;
        Ok(Self { file, row: Vec::with_capacity(64) })
    }

    /// Append one input.
    ///
    /// # Errors
    /// The disk is full or gone.
    pub fn write(&mut self, input: &Input) -> io::Result<()> {
        self.row.clear();
        write_row(input, &mut self.row);
        self.file.write_all(&self.row)
    }

    /// Put the finished trace in its place.
    ///
    /// # Errors
    /// The disk is full or gone; then nothing appears at the path.
    pub fn finish(self) -> io::Result<()> {
        self.file.finish()
    }
}
