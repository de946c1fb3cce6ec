//! Where files are read from: handed in, because the library opens none.

use std::io::{self, Read};
use std::path::Path;

/// Something that was opened for reading.
pub struct Opened {
    /// What messages call it.
    pub name: String,
    /// Its bytes.
    pub source: Box<dyn Read + Send>,
    /// How many there are, if that is known.
    pub length: Option<u64>,
}

/// Why a file cannot be read, and how to mend that on a line of its own; `mend` says what was wanted where the path is wrong.
#[must_use]
pub fn unreadable(error: &io::Error, mend: &str) -> String {
    match error.kind() {
        io::ErrorKind::NotFound => format!("cannot be read: there is no such file\n  mend: check the path; {mend}"),
        io::ErrorKind::IsADirectory => format!("cannot be read: it is a directory\n  mend: {mend}"),
        io::ErrorKind::PermissionDenied => {
            "cannot be read: you may not read it\n  mend: ask its owner, or copy it to where you may".to_owned()
        }
        io::ErrorKind::InvalidData => format!("cannot be read: {error}\n  mend: save it as UTF-8 text; {mend}"),
        _ => format!("cannot be read: {error}\n  mend: check the disk or the network, then try again"),
    }
}

/// What was wanted where a settings file cannot be read.
pub const WANTED_SETTINGS: &str = "name a settings file (TOML); `slackside new-leg MY-LEG.toml` writes one of your leg from what a tape measure tells";
/// What was wanted where a scenario cannot be read.
pub const WANTED_SCENARIO: &str = "name a scenario file (TOML), such as one of the folder scenarios";
/// What was wanted where a study cannot be read.
pub const WANTED_STUDY: &str = "name a study file (TOML), such as one of the folder studies";
/// What was wanted where a trace cannot be read.
pub const WANTED_TRACE: &str = "name a trace (CSV) or a recording fetched from a box";

/// A place where files are.
pub trait Files: Sync {
    /// Open one.
    ///
    /// # Errors
    /// It is not there, is a directory, or may not be read.
    fn open(&self, path: &Path) -> io::Result<Opened>;

    /// Something that takes work to read, such as what must be unpacked: it may be read ahead while what was read is used. If nobody
    /// does, it is read as it is asked for.
    fn ahead(&self, source: Box<dyn Read + Send>) -> Box<dyn Read + Send> {
        source
    }

    /// Whether there is a file at `path`.
    fn is_file(&self, path: &Path) -> bool;

    /// Whether both paths lead to the same file.
    fn same_file(&self, one: &Path, other: &Path) -> bool {
        one == other
    }

    /// All of a file.
    ///
    /// # Errors
    /// As [`open`](Self::open), or it breaks off.
    fn bytes(&self, path: &Path) -> io::Result<Vec<u8>> {
        let mut bytes = Vec::new();
        self.open(path)?.source.read_to_end(&mut bytes)?;
        Ok(bytes)
    }

    /// All of a text file.
    ///
    /// # Errors
    /// As [`bytes`](Self::bytes), or it is not UTF-8.
    fn text(&self, path: &Path) -> io::Result<String> {
        String::from_utf8(self.bytes(path)?).map_err(|error| {
            let at = error.utf8_error().valid_up_to();
            io::Error::new(io::ErrorKind::InvalidData, format!("it is not text: byte {at} is not UTF-8"))
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn whatever_cannot_be_read_says_how_to_mend_it() {
        use io::ErrorKind::{InvalidData, IsADirectory, NotFound, Other, PermissionDenied};
        for kind in [NotFound, IsADirectory, PermissionDenied, InvalidData, Other] {
            let said = unreadable(&kind.into(), WANTED_TRACE);
            assert!(said.contains("\n  mend: ") && !said.contains("os error"), "{said}");
        }
    }
}
