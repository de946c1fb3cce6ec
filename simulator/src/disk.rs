//! The files of this computer.

use std::fs::{self, File};
use std::io::{self, Read};
use std::path::Path;

use slackside_desk::files::{Files, Opened};
use slackside_desk::trace::{Reader, TraceError};

use crate::ahead::Ahead;
use crate::outputs::same_file;

/// The files of this computer.
#[derive(Clone, Copy, Debug, Default)]
pub struct Disk;

impl Files for Disk {
    fn open(&self, path: &Path) -> io::Result<Opened> {
        let file = File::open(path)?;
        let meta = file.metadata()?;
        if meta.is_dir() {
            return Err(io::Error::new(io::ErrorKind::IsADirectory, "it is a directory"));
        }
        let length = meta.is_file().then_some(meta.len());
        Ok(Opened { name: path.display().to_string(), source: Box::new(file), length })
    }

    fn ahead(&self, source: Box<dyn Read + Send>) -> Box<dyn Read + Send> {
        Box::new(Ahead::of(source))
    }

    fn is_file(&self, path: &Path) -> bool {
        path.is_file()
    }

    fn same_file(&self, one: &Path, other: &Path) -> bool {
        same_file(one, other)
    }

    fn bytes(&self, path: &Path) -> io::Result<Vec<u8>> {
        fs::read(path)
    }
}

/// Open a trace; `-` is standard input.
///
/// # Errors
/// As [`Reader::open`].
pub fn open_trace(path: &Path) -> Result<Reader, TraceError> {
    if path.as_os_str() == "-" {
        let (name, source) = ("standard input".to_owned(), Box::new(io::stdin()));
        return Reader::of(&Disk, Opened { name, source, length: None });
    }
    Reader::open(&Disk, path)
}
