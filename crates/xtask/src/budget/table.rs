//! Tables of figures, as the book shows them: written as Markdown and read back from it.

use std::fmt::Write;

/// One table. The first column names the row.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Table {
    /// The heading above it.
    pub title: String,
    columns: Vec<String>,
    rows: Vec<(String, Vec<Option<u64>>)>,
}

impl Table {
    /// An empty table.
    pub fn new(title: &str, columns: &[&str]) -> Self {
        let columns = columns.iter().map(|column| (*column).to_owned()).collect();
        Self { title: title.to_owned(), columns, rows: Vec::new() }
    }

    /// With one more row.
    pub fn row(mut self, name: &str, values: Vec<Option<u64>>) -> Self {
        self.push(name, values);
        self
    }

    /// Add a row.
    pub fn push(&mut self, name: &str, values: Vec<Option<u64>>) {
        self.rows.push((name.to_owned(), values));
    }

    /// Every figure: row, column, value.
    pub fn cells(&self) -> impl Iterator<Item = (&str, &str, u64)> {
        self.rows.iter().flat_map(move |(row, values)| {
            let named = self.columns.iter().zip(values);
            named.filter_map(move |(column, value)| Some((row.as_str(), column.as_str(), (*value)?)))
        })
    }

    /// One figure.
    pub fn cell(&self, row: &str, column: &str) -> Option<u64> {
        self.cells().find(|cell| cell.0 == row && cell.1 == column).map(|cell| cell.2)
    }

    /// The table as Markdown, with its heading.
    pub fn markdown(&self) -> String {
        let mut text = format!("## {}\n\n| |", self.title);
        for column in &self.columns {
            let _ = write!(text, " {column} |");
        }
        text.push_str("\n|---|");
        text.push_str(&"---:|".repeat(self.columns.len()));
        text.push('\n');
        for (name, values) in &self.rows {
            let _ = write!(text, "| {name} |");
            for value in values {
                let _ = match value {
                    Some(value) => write!(text, " {value} |"),
                    None => write!(text, " |"),
                };
            }
            text.push('\n');
        }
        text
    }
}

/// The tables of a page that [`Table::markdown`] wrote: those whose first column has no heading.
pub fn parse(page: &str) -> Vec<Table> {
    let mut tables: Vec<Table> = Vec::new();
    let mut title = "";
    let mut inside = false;
    for line in page.lines() {
        if let Some(heading) = line.strip_prefix("## ") {
            title = heading;
        }
        let Some(cells) = line.strip_prefix('|').and_then(|line| line.strip_suffix('|')) else {
            inside = false;
            continue;
        };
        let cells: Vec<&str> = cells.split('|').map(str::trim).collect();
        match (cells.split_first(), tables.last_mut()) {
            (Some((&"", columns)), _) => {
                tables.push(Table::new(title, columns));
                inside = true;
            }
            (Some((name, values)), Some(table)) if inside && !name.starts_with("---") => {
                table.push(name, values.iter().map(|value| value.parse().ok()).collect());
            }
            _ => {}
        }
    }
    tables
}
