//! What is wrong with a scenario: file, line, field, what was expected, how to mend it.

use std::fmt;
use std::path::PathBuf;

/// One thing wrong.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Wrong {
    /// The line, counted from 1, where it is known.
    pub line: Option<usize>,
    /// The field, joined by dots.
    pub field: String,
    /// What is wrong, what was expected, how to mend it.
    pub message: String,
}

/// A scenario that cannot be run.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ScenarioError {
    /// The file.
    pub file: PathBuf,
    /// All that is wrong with it.
    pub wrong: Vec<Wrong>,
}

impl fmt::Display for ScenarioError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (index, wrong) in self.wrong.iter().enumerate() {
            if index > 0 {
                writeln!(f)?;
            }
            write!(f, "{}", self.file.display())?;
            if let Some(line) = wrong.line {
                write!(f, ":{line}")?;
            }
            if !wrong.field.is_empty() {
                write!(f, ": {}", wrong.field)?;
            }
            write!(f, ": {}", wrong.message)?;
        }
        Ok(())
    }
}

impl std::error::Error for ScenarioError {}

/// The line in `text` on which the field at `path` stands, or the nearest table above it that is there.
#[must_use]
pub fn line_of(text: &str, path: &[&str]) -> Option<usize> {
    let document = toml_edit::Document::parse(text).ok()?;
    let mut item = document.as_item();
    let mut span = None;
    for part in path {
        let next = match part.parse::<usize>() {
            Ok(index) => match item {
                toml_edit::Item::ArrayOfTables(tables) => {
                    let table = tables.get(index)?;
                    span = table.span().or(span);
                    // An array of tables hands out tables, not items: look the rest of the path up in it.
                    let rest = &path[path.iter().position(|p| p == part)? + 1..];
                    if let Some((key, _)) = rest.first().and_then(|name| table.get_key_value(name)) {
                        span = key.span().or(span);
                    }
                    break;
                }
                _ => break,
            },
            Err(_) => match item.as_table_like().and_then(|table| table.get_key_value(part)) {
                Some((key, value)) => {
                    span = key.span().or_else(|| value.span()).or(span);
                    value
                }
                None => break,
            },
        };
        item = next;
    }
    span.map(|span| 1 + text[..span.start].matches('\n').count())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn finds_the_line_of_a_field_or_of_its_table() {
        let text = "a = 1\n[leg_changes.belt]\nwidth_mm = -3\n[[fault]]\nkind = 1\n[[fault]]\nseverity = 2\n";
        assert_eq!(line_of(text, &["a"]), Some(1));
        assert_eq!(line_of(text, &["leg_changes", "belt", "width_mm"]), Some(3));
        assert_eq!(line_of(text, &["fault", "1", "severity"]), Some(7));
        assert_eq!(line_of(text, &["leg_changes", "belt", "mass"]), Some(2));
    }
}
