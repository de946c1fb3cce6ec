//! What keeps the desk from doing what it was asked, in words that a person can act on.

use std::fmt;
use std::io;

use crate::problem::Refused;
use crate::replay::WrongUnits;
use crate::trace::TraceError;

/// What keeps the desk from doing what it was asked. [`Display`](fmt::Display) says what and how to mend it;
/// [`source`](std::error::Error::source) leads to the reason where there is one behind it.
#[derive(Debug)]
#[non_exhaustive]
pub enum Error {
    /// A settings file, scenario, study or label that cannot be used, with all that is wrong with it.
    Refused(Refused),
    /// A trace that cannot be read, with its place.
    Trace(TraceError),
    /// A trace whose times cannot be microseconds.
    WrongUnits(WrongUnits),
    /// Something handed in could not be read from or written to.
    Io(io::Error),
    /// Anything else, in words.
    Said(String),
    /// What was being done when something else went wrong.
    While {
        /// What was being done, in words.
        doing: String,
        /// What went wrong.
        because: Box<Self>,
    },
}

/// What the desk gives, or what kept it from that.
pub type Result<T, E = Error> = std::result::Result<T, E>;

impl Error {
    /// In words.
    pub(crate) fn said(text: impl Into<String>) -> Self {
        Self::Said(text.into())
    }
}

impl fmt::Display for Error {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Refused(error) => error.fmt(out),
            Self::Trace(error) => error.fmt(out),
            Self::WrongUnits(error) => error.fmt(out),
            Self::Io(error) => error.fmt(out),
            Self::Said(text) | Self::While { doing: text, .. } => out.write_str(text),
        }
    }
}

impl std::error::Error for Error {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match self {
            Self::While { because, .. } => Some(because),
            // What these say is all there is to say; it is not said twice.
            Self::Refused(_) | Self::Trace(_) | Self::WrongUnits(_) | Self::Io(_) | Self::Said(_) => None,
        }
    }
}

impl From<Refused> for Error {
    fn from(error: Refused) -> Self {
        Self::Refused(error)
    }
}

impl From<TraceError> for Error {
    fn from(error: TraceError) -> Self {
        Self::Trace(error)
    }
}

impl From<WrongUnits> for Error {
    fn from(error: WrongUnits) -> Self {
        Self::WrongUnits(error)
    }
}

impl From<io::Error> for Error {
    fn from(error: io::Error) -> Self {
        Self::Io(error)
    }
}

/// Says what was being done.
pub(crate) trait Context<T> {
    fn with_context<S: Into<String>>(self, doing: impl FnOnce() -> S) -> Result<T>;

    fn context(self, doing: &str) -> Result<T>
    where
        Self: Sized,
    {
        self.with_context(|| doing)
    }
}

impl<T, E: Into<Error>> Context<T> for std::result::Result<T, E> {
    fn with_context<S: Into<String>>(self, doing: impl FnOnce() -> S) -> Result<T> {
        self.map_err(|error| Error::While { doing: doing().into(), because: Box::new(error.into()) })
    }
}

impl<T> Context<T> for Option<T> {
    fn with_context<S: Into<String>>(self, doing: impl FnOnce() -> S) -> Result<T> {
        self.ok_or_else(|| Error::said(doing()))
    }
}

/// Return with an error in words.
macro_rules! bail {
    ($($words:tt)*) => {
        return Err($crate::error::Error::said(format!($($words)*)))
    };
}

/// Return with an error in words unless something holds.
macro_rules! ensure {
    ($holds:expr, $($words:tt)*) => {
        if !$holds {
            $crate::error::bail!($($words)*);
        }
    };
}

pub(crate) use {bail, ensure};

#[cfg(test)]
mod tests {
    use std::error::Error as _;

    use super::*;

    #[test]
    fn says_what_was_being_done_and_why_it_failed_once_each() {
        let failed: std::result::Result<(), _> = Err(io::Error::other("the disk is full"));
        let error = failed.context("a.csv cannot be written").expect_err("failed");
        assert_eq!(error.to_string(), "a.csv cannot be written");
        let because = error.source().expect("a reason");
        assert_eq!(because.to_string(), "the disk is full");
        assert!(because.source().is_none());
    }
}
