//! Lays text out on a page of 80 columns.

use crate::lines::{WIDTH, fill};

/// Where values begin.
const VALUE: usize = 32;

/// A page being written.
#[derive(Default)]
pub struct Page {
    text: String,
    /// The same, in parts.
    sections: Vec<Section>,
}

/// What stands under one heading.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Section {
    /// The heading; empty before the first.
    pub title: String,
    /// Labels with their values.
    pub rows: Vec<(String, String)>,
    /// Sentences.
    pub notes: Vec<String>,
}

impl Page {
    /// The text.
    #[must_use]
    pub fn into_text(self) -> String {
        self.text
    }

    /// An empty line.
    pub fn gap(&mut self) {
        self.text.push('\n');
    }

    /// What was written so far, in parts.
    #[must_use]
    pub fn sections(&self) -> &[Section] {
        &self.sections
    }

    fn section(&mut self) -> &mut Section {
        if self.sections.is_empty() {
            self.sections.push(Section::default());
        }
        let last = self.sections.len() - 1;
        &mut self.sections[last]
    }

    /// The title, underlined.
    pub fn title(&mut self, text: &str) {
        self.line(text);
        self.line(&"=".repeat(text.chars().count().min(WIDTH)));
    }

    /// A heading, with an empty line before it.
    pub fn heading(&mut self, text: &str) {
        self.sections.push(Section { title: text.to_owned(), ..Section::default() });
        self.gap();
        self.line(text);
        self.line(&"-".repeat(text.chars().count().min(WIDTH)));
    }

    /// A line as it is.
    pub fn line(&mut self, text: &str) {
        self.text.push_str(text.trim_end());
        self.text.push('\n');
    }

    /// A label and its value; long values go on below, under the first.
    pub fn row(&mut self, label: &str, value: &str) {
        self.section().rows.push((label.trim().to_owned(), value.to_owned()));
        let mut first = format!("{label:<VALUE$}");
        if label.chars().count() >= VALUE {
            self.line(label);
            first = " ".repeat(VALUE);
        }
        self.wrapped(&first, &" ".repeat(VALUE), value);
    }

    /// A paragraph.
    pub fn say(&mut self, text: &str) {
        self.section().notes.push(text.to_owned());
        self.wrapped("", "", text);
    }

    /// A paragraph, indented.
    pub fn note(&mut self, text: &str) {
        self.section().notes.push(text.to_owned());
        self.wrapped("    ", "    ", text);
    }

    /// `text` broken at spaces, the first line after `first`, the others after `rest`.
    pub fn wrapped(&mut self, first: &str, rest: &str, text: &str) {
        for line in fill(first, rest, text).lines() {
            self.line(line);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rows_wrap_under_their_value() {
        let mut page = Page::default();
        page.row("Label", &"word ".repeat(20));
        let text = page.into_text();
        assert!(text.lines().all(|line| line.chars().count() <= WIDTH), "{text}");
        assert!(text.lines().nth(1).is_some_and(|line| line.starts_with(&" ".repeat(VALUE))), "{text}");
        assert_eq!(text.matches("word").count(), 20);
    }
}
