//! Files that appear whole or not at all, and that replace nothing unless told to.

use std::collections::BTreeMap;
use std::fs;
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Mutex, MutexGuard, PoisonError};

use anyhow::Context as _;
use tempfile::NamedTempFile;

/// Whether files that are there may be written over: said once, by the command line.
static MAY_REPLACE: AtomicBool = AtomicBool::new(false);
/// The files begun and not finished: where each is being written, and the place that it is for.
static BEGUN: Mutex<BTreeMap<PathBuf, PathBuf>> = Mutex::new(BTreeMap::new());

/// Say whether files that are there may be written over. Without a word they may not.
pub fn may_replace(may: bool) {
    MAY_REPLACE.store(may, Ordering::SeqCst);
}

/// Remove every file that was begun and not finished, because the program ends at once.
pub fn abandon() {
    for path in begun().keys() {
        // What cannot be removed now never can.
        let _ = fs::remove_file(path);
    }
}

fn begun() -> MutexGuard<'static, BTreeMap<PathBuf, PathBuf>> {
    BEGUN.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Whether a file can be put there, as far as can be told beforehand.
///
/// # Errors
/// It is `-`, or a directory, or one that is not there would hold it; or a file is there, and nobody said that it may be written over.
pub fn is_free(path: &Path) -> io::Result<()> {
    if path == Path::new("-") {
        let text = "`-` is read from, never written to; give the name of a file";
        return Err(io::Error::new(io::ErrorKind::InvalidInput, text));
    }
    if path.is_dir() {
        return Err(io::Error::new(io::ErrorKind::IsADirectory, "it is a directory; give the name of a file in it"));
    }
    if path.parent().is_some_and(|directory| directory != Path::new("") && !directory.is_dir()) {
        return Err(io::Error::new(io::ErrorKind::NotFound, "its directory is not there; make it first"));
    }
    if path.exists() && !MAY_REPLACE.load(Ordering::SeqCst) {
        let text = "it is there already; give another name, or --force to write over it";
        return Err(io::Error::new(io::ErrorKind::AlreadyExists, text));
    }
    Ok(())
}

/// A file being written beside its place; dropped unfinished, it leaves nothing behind.
pub struct Whole {
    path: PathBuf,
    begun: PathBuf,
    file: Option<BufWriter<NamedTempFile>>,
}

impl Drop for Whole {
    fn drop(&mut self) {
        begun().remove(&self.begun);
    }
}

impl Whole {
    /// Begin a file that will appear at `path`.
    ///
    /// # Errors
    /// The directory is not there or cannot be written to, the path is a directory, a file is there that must not be replaced, or another
    /// file for the same place is being written.
    pub fn create(path: &Path) -> io::Result<Self> {
        // A link keeps its place; what it leads to is replaced.
        let path = &fs::canonicalize(path).unwrap_or_else(|_| path.to_owned());
        // Putting a file in the place of a device or a pipe would remove it.
        if fs::metadata(path).is_ok_and(|meta| !meta.is_file() && !meta.is_dir()) {
            let text = "it is a device or a pipe, not an ordinary file; give the name of a file";
            return Err(io::Error::new(io::ErrorKind::InvalidInput, text));
        }
        is_free(path)?;
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
        let place = place_of(path).unwrap_or_else(|| path.to_owned());
        let mut begun = begun();
        if begun.values().any(|other| *other == place) {
            let text = "it is written as something else already; give two names";
            return Err(io::Error::new(io::ErrorKind::AlreadyExists, text));
        }
        let file = builder.tempfile_in(directory)?;
        begun.insert(file.path().to_owned(), place);
        let path = path.to_owned();
        Ok(Self { path, begun: file.path().to_owned(), file: Some(BufWriter::with_capacity(1 << 16, file)) })
    }

    /// Put the finished file in its place.
    ///
    /// # Errors
    /// The disk is full or gone; then nothing appears at the path.
    pub fn finish(mut self) -> io::Result<()> {
        let Some(file) = self.file.take() else { return Ok(()) };
        let file = file.into_inner().map_err(|error| self.told(error.into_error()))?;
        file.persist(&self.path).map_err(|error| self.told(error.error))?;
        Ok(())
    }

    /// An error with the file's own name, not that of what was begun beside its place, and how to mend it.
    fn told(&self, error: io::Error) -> io::Error {
        let path = self.path.display();
        let text = match error.kind() {
            io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded | io::ErrorKind::FileTooLarge => {
                format!("{path}: there is no room for it\n  mend: free some of the disk, or give a name on another")
            }
            _ => {
                let whole = error.to_string();
                let reason = whole.split(" at path ").next().unwrap_or(&whole);
                format!("{path}: {reason}\n  mend: check the disk or the network, then try again")
            }
        };
        io::Error::new(error.kind(), text)
    }
}

impl Write for Whole {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let wrote = self.file.as_mut().map_or(Ok(bytes.len()), |file| file.write(bytes));
        wrote.map_err(|error| self.told(error))
    }

    fn flush(&mut self) -> io::Result<()> {
        let flushed = self.file.as_mut().map_or(Ok(()), |file| file.flush());
        flushed.map_err(|error| self.told(error))
    }
}

/// Write a whole file, or none at all.
///
/// # Errors
/// What `write` gives, or that the file cannot be written, with its path and what to check.
pub fn write_whole(path: &Path, write: impl FnOnce(&mut Whole) -> anyhow::Result<()>) -> anyhow::Result<()> {
    let mut file = create(path)?;
    write(&mut file).context("nothing is written")?;
    file.finish().context("nothing is written")
}

/// Begin a file, or say why not and how to mend it.
///
/// # Errors
/// As [`Whole::create`], with the path.
pub fn create(path: &Path) -> anyhow::Result<Whole> {
    Whole::create(path).map_err(|error| match error.kind() {
        io::ErrorKind::AlreadyExists | io::ErrorKind::InvalidInput | io::ErrorKind::IsADirectory => {
            anyhow::anyhow!("{} is not written: {error}", path.display())
        }
        _ => {
            let whole = error.to_string();
            // The library tells the name of what was begun, which nobody knows.
            let reason = whole.split(" at path ").next().unwrap_or(&whole);
            anyhow::anyhow!(
                "{} cannot be written: {reason}\n  mend: check that its directory is there and open to you",
                path.display()
            )
        }
    })
}

/// The name of a file that holds HTML: for the command line.
///
/// # Errors
/// It ends as some other kind of file does.
pub fn html(path: PathBuf) -> Result<PathBuf, String> {
    ending(path, "html", "a page (HTML); print it from a browser to have it on paper or as PDF")
}

/// Likewise a picture.
///
/// # Errors
/// As [`html`].
pub fn svg(path: PathBuf) -> Result<PathBuf, String> {
    ending(path, "svg", "a picture in SVG, which browsers show and print")
}

fn ending(path: PathBuf, wanted: &str, what: &str) -> Result<PathBuf, String> {
    match path.extension() {
        Some(found) if !found.eq_ignore_ascii_case(wanted) => {
            Err(format!("it would hold {what}\n  mend: name it {}", path.with_extension(wanted).display()))
        }
        _ => Ok(path),
    }
}

/// Whether both paths lead to the same file. A file that is not there yet is the same only by its place.
#[must_use]
pub fn same_file(one: &Path, other: &Path) -> bool {
    place_of(one).is_some_and(|one| Some(one) == place_of(other))
}

/// Where a file is, or will be; `None` where its directory is not there.
fn place_of(path: &Path) -> Option<PathBuf> {
    if let Ok(real) = fs::canonicalize(path) {
        return Some(real);
    }
    let parent = match path.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        _ => Path::new("."),
    };
    Some(fs::canonicalize(parent).ok()?.join(path.file_name()?))
}
