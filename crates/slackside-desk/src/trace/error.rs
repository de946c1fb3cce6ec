//! What can be wrong with a trace, said so that it can be mended.

use std::fmt;

/// What is wrong with a field, and how to mend it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Wrong {
    /// What is wrong.
    pub problem: String,
    /// How to mend it.
    pub mend: String,
}

/// A trace that cannot be read: where, what, and how to mend it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TraceError {
    /// The file, or `standard input`.
    pub name: String,
    /// The line, counted from 1; 0 where no line is to blame.
    pub line: u64,
    /// The column in bytes, counted from 1; 0 where the whole line is meant.
    pub column: u64,
    /// What is wrong and what was expected.
    pub problem: String,
    /// How to mend it.
    pub mend: String,
}

impl fmt::Display for TraceError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.name)?;
        if self.line > 0 {
            write!(f, ", line {}", self.line)?;
        }
        if self.column > 0 {
            write!(f, ", column {}", self.column)?;
        }
        write!(f, ": {}\n  mend: {}", self.problem, self.mend)
    }
}

impl std::error::Error for TraceError {}
