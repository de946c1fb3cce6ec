//! How every command talks: in words, as JSON, or not at all; and that a reader who has gone away is no error.

use std::fmt;
use std::io::{self, Write as _};

use anyhow::Context as _;
use serde_json::Value;

/// What every command takes.
#[derive(clap::Args, Clone, Copy, Debug, Default)]
#[command(next_help_heading = "Every command")]
pub struct Talk {
    /// Print JSON instead of words: one object, or one a line where things go on happening. The book has the shapes.
    #[arg(long, global = true)]
    json: bool,
    /// Print nothing; the exit code says whether all went well, the files say what happened.
    #[arg(long, short, global = true, conflicts_with = "json")]
    quiet: bool,
    /// Write over files that are there already.
    #[arg(long, global = true)]
    pub force: bool,
}

/// Standard output has no reader any more: whoever read it has seen enough.
#[derive(Debug)]
pub struct Gone;

impl fmt::Display for Gone {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.write_str("nobody reads standard output any more")
    }
}

impl std::error::Error for Gone {}

impl Talk {
    /// Whether words are wanted.
    #[must_use]
    pub const fn is_words(&self) -> bool {
        !self.json && !self.quiet
    }

    /// Print text, where words are wanted.
    ///
    /// # Errors
    /// [`Gone`], or standard output cannot be written.
    pub fn words(&self, text: impl AsRef<str>) -> anyhow::Result<()> {
        if self.is_words() { print(text.as_ref()) } else { Ok(()) }
    }

    /// Print a line of text, where words are wanted.
    ///
    /// # Errors
    /// As [`words`](Self::words).
    pub fn line(&self, text: impl fmt::Display) -> anyhow::Result<()> {
        if self.is_words() { print(&format!("{text}\n")) } else { Ok(()) }
    }

    /// Print an object, where JSON is wanted.
    ///
    /// # Errors
    /// As [`words`](Self::words).
    pub fn object(&self, object: impl FnOnce() -> Value) -> anyhow::Result<()> {
        if self.json { print(&format!("{:#}\n", object())) } else { Ok(()) }
    }

    /// Print an object on a line of its own, where JSON is wanted.
    ///
    /// # Errors
    /// As [`words`](Self::words).
    pub fn object_line(&self, object: impl FnOnce() -> Value) -> anyhow::Result<()> {
        if self.json { print(&format!("{}\n", object())) } else { Ok(()) }
    }
}

fn print(text: &str) -> anyhow::Result<()> {
    let mut out = io::stdout().lock();
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Err(error) if error.kind() == io::ErrorKind::BrokenPipe => Err(Gone.into()),
        wrote => wrote.context("standard output cannot be written"),
    }
}
