//! Writing a trace.

use std::io::{self, Write};

use slackside::input::Input;

use super::row::{HEADER, write_row};

/// Writes a trace to wherever it is told.
pub struct Writer<W> {
    out: W,
    row: Vec<u8>,
}

impl<W: Write> Writer<W> {
    /// Begin a trace.
    ///
    /// # Errors
    /// `out` takes nothing.
    pub fn begin(mut out: W) -> io::Result<Self> {
        out.write_all(HEADER.as_bytes())?;
        out.write_all(b"\n")?;
        Ok(Self { out, row: Vec::with_capacity(64) })
    }

    /// Append one input.
    ///
    /// # Errors
    /// `out` takes no more.
    pub fn write(&mut self, input: &Input) -> io::Result<()> {
        self.row.clear();
        write_row(input, &mut self.row);
        self.out.write_all(&self.row)
    }

    /// What it was written to.
    pub fn into_inner(self) -> W {
        self.out
    }
}
