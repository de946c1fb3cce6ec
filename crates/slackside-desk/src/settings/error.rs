//! What is wrong with a settings file: everything at once, each with its line.

use std::fmt;

/// One thing wrong.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Problem {
    /// Where in the file: line and column, from 1. `None` if it is about something not in the file.
    pub place: Option<(usize, usize)>,
    /// The key, as the user wrote it or should write it; empty for the file as a whole.
    pub key: String,
    /// What is wrong and how to mend it.
    pub text: String,
}

/// Settings that cannot be used.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SettingsError {
    /// The file, or what stands for it.
    pub source_name: String,
    /// All that is wrong, in the order of the file where it has a place.
    pub problems: Vec<Problem>,
}

impl fmt::Display for SettingsError {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        let count = self.problems.len();
        let things = if count == 1 { "one thing is" } else { "several things are" };
        write!(out, "{}: the settings cannot be used, {things} wrong:", self.source_name)?;
        for Problem { place, key, text } in &self.problems {
            write!(out, "\n  {}", self.source_name)?;
            if let Some((line, column)) = place {
                write!(out, ":{line}:{column}")?;
            }
            if key.is_empty() {
                write!(out, ": {text}")?;
            } else {
                write!(out, ": {key}: {text}")?;
            }
        }
        Ok(())
    }
}

impl std::error::Error for SettingsError {}

/// Line and column, from 1, of the byte at `offset`; columns count characters.
pub(super) fn place(text: &str, offset: usize) -> (usize, usize) {
    let offset = (0..=offset.min(text.len())).rev().find(|offset| text.is_char_boundary(*offset)).unwrap_or(0);
    let before = &text[..offset];
    let line = before.matches('\n').count() + 1;
    let column = before.rsplit('\n').next().unwrap_or("").chars().count() + 1;
    (line, column)
}
