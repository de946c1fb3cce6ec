//! How every command talks: in words, as JSON, or not at all; and that a reader who has gone away is no error.

use std::ffi::OsStr;
use std::fmt;
use std::io::{self, IsTerminal as _, Write as _};

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
        if !self.is_words() {
            return Ok(());
        }
        let no_color = std::env::var_os("NO_COLOR");
        if wants_colour(io::stdout().is_terminal(), no_color.as_deref()) {
            print(&painted(text.as_ref()))
        } else {
            print(text.as_ref())
        }
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

/// Whether colour is of use to whoever reads: on a terminal, unless `NO_COLOR` is set to anything.
fn wants_colour(terminal: bool, no_color: Option<&OsStr>) -> bool {
    terminal && no_color.is_none_or(OsStr::is_empty)
}

/// The lines that matter most, in colour. The words say the same without it.
fn painted(text: &str) -> String {
    let colour = |line: &str| match line {
        line if line.starts_with("STOPPED:") => Some("1;31"),
        line if line.starts_with("ALARM:") || line.starts_with("WARNING:") || line.starts_with("PART OF") => {
            Some("1;33")
        }
        line if line.starts_with("Lock out") => Some("1"),
        _ => None,
    };
    text.split_inclusive('\n')
        .map(|line| match colour(line) {
            Some(code) => format!("\u{1b}[{code}m{}\u{1b}[0m\n", line.trim_end_matches('\n')),
            None => line.to_owned(),
        })
        .collect()
}

/// Print a line on standard error. Whoever closed that does not want to know.
pub fn tell(text: impl fmt::Display) {
    let _ = writeln!(io::stderr(), "{text}");
}

fn print(text: &str) -> anyhow::Result<()> {
    let mut out = io::stdout().lock();
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Err(error) if error.kind() == io::ErrorKind::BrokenPipe => Err(Gone.into()),
        wrote => wrote.context("standard output cannot be written"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn colour_is_for_terminals_and_for_those_who_want_it() {
        assert!(wants_colour(true, None) && wants_colour(true, Some(OsStr::new(""))));
        assert!(!wants_colour(true, Some(OsStr::new("1"))) && !wants_colour(false, None));
        let text = "a\nSTOPPED: b\nc";
        assert_eq!(painted(text), "a\n\u{1b}[1;31mSTOPPED: b\u{1b}[0m\nc");
    }
}
