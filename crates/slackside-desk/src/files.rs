//! Where files are read from: handed in, because the library opens none.

use std::io::{self, Read};
use std::path::Path;

/// Something that was opened for reading.
pub struct Opened {
    /// What messages call it.
    pub name: String,
    /// Its bytes.
    pub source: Box<dyn Read>,
    /// How many there are, if that is known.
    pub length: Option<u64>,
}

/// A place where files are.
pub trait Files: Sync {
    /// Open one.
    ///
    /// # Errors
    /// It is not there, is a directory, or may not be read.
    fn open(&self, path: &Path) -> io::Result<Opened>;

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
