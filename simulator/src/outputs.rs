//! Files that appear whole or not at all.

use std::fs;
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

use anyhow::Context as _;
use tempfile::NamedTempFile;

/// A file being written beside its place; dropped unfinished, it leaves nothing behind.
pub struct Whole {
    path: PathBuf,
    file: BufWriter<NamedTempFile>,
}

impl Whole {
    /// Begin a file that will appear at `path`.
    ///
    /// # Errors
    /// The directory is not there or cannot be written to, or the path is a directory.
    pub fn create(path: &Path) -> io::Result<Self> {
        // A link keeps its place; what it leads to is replaced.
        let path = &fs::canonicalize(path).unwrap_or_else(|_| path.to_owned());
        if path.is_dir() {
            return Err(io::Error::new(io::ErrorKind::IsADirectory, "it is a directory"));
        }
        // Putting a file in the place of a device or a pipe would remove it.
        if fs::metadata(path).is_ok_and(|meta| !meta.is_file()) {
            return Err(io::Error::new(io::ErrorKind::InvalidInput, "it is a device or a pipe, not an ordinary file"));
        }
        let directory = match path.parent() {
            Some(parent) if !parent.as_os_str().is_empty() => parent,
            _ => Path::new("."),
        };
        let mut builder = tempfile::Builder::new();
        builder.prefix(".slackside-");
        #[cfg(unix)]
        {
            // The library keeps temporary files to their owner; these are ordinary files, for whom the umask allows.
            use std::os::unix::fs::PermissionsExt;
            builder.permissions(fs::Permissions::from_mode(0o666));
        }
        let file = BufWriter::with_capacity(1 << 16, builder.tempfile_in(directory)?);
        Ok(Self { path: path.to_owned(), file })
    }

    /// Put the finished file in its place.
    ///
    /// # Errors
    /// The disk is full or gone; then nothing appears at the path.
    pub fn finish(self) -> io::Result<()> {
        let file = self.file.into_inner().map_err(io::IntoInnerError::into_error)?;
        file.persist(&self.path).map_err(|error| error.error)?;
        Ok(())
    }
}

impl Write for Whole {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.file.write(bytes)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.file.flush()
    }
}

/// Write a whole file, or none at all.
///
/// # Errors
/// What `write` gives, or that the file cannot be written, with its path and what to check.
pub fn write_whole(path: &Path, write: impl FnOnce(&mut Whole) -> anyhow::Result<()>) -> anyhow::Result<()> {
    let cannot = || format!("{} cannot be written: check that its directory is there and open to you", path.display());
    let mut file = Whole::create(path).with_context(cannot)?;
    write(&mut file).with_context(cannot)?;
    file.finish().with_context(cannot)
}

/// Whether both paths lead to the same file. A file that is not there yet is the same only by its place.
#[must_use]
pub fn same_file(one: &Path, other: &Path) -> bool {
    fn place(path: &Path) -> Option<PathBuf> {
        if let Ok(real) = fs::canonicalize(path) {
            return Some(real);
        }
        let parent = match path.parent() {
            Some(parent) if !parent.as_os_str().is_empty() => parent,
            _ => Path::new("."),
        };
        Some(fs::canonicalize(parent).ok()?.join(path.file_name()?))
    }
    place(one).is_some_and(|one| Some(one) == place(other))
}
