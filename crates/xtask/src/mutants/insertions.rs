//! Text put into a text at places of it, so that stretches that lie within one another stay so.

use std::ops::Range;

/// What is to be put where.
#[derive(Debug, Default)]
pub struct Insertions(Vec<Insertion>);

#[derive(Debug)]
struct Insertion {
    at: usize,
    /// Ends first, the inner before the outer; then what stands alone; then beginnings, the outer before the inner.
    order: (u8, usize, usize),
    text: String,
}

impl Insertions {
    /// Before and after a stretch. Of two for the same stretch the later lies within the earlier.
    pub fn around(&mut self, stretch: &Range<usize>, before: impl Into<String>, after: impl Into<String>) {
        let (count, end) = (self.0.len(), usize::MAX);
        self.0.push(Insertion { at: stretch.start, order: (2, end - stretch.end, count), text: before.into() });
        self.0.push(Insertion { at: stretch.end, order: (0, end - stretch.start, end - count), text: after.into() });
    }

    /// At one place.
    pub fn at(&mut self, at: usize, text: impl Into<String>) {
        let order = (1, 0, self.0.len());
        self.0.push(Insertion { at, order, text: text.into() });
    }

    /// The text with all of it.
    pub fn into_text(mut self, text: &str) -> String {
        self.0.sort_by_key(|insertion| (insertion.at, insertion.order));
        let mut whole = String::with_capacity(text.len() * 4);
        let mut from = 0;
        for insertion in &self.0 {
            whole += &text[from..insertion.at];
            whole += &insertion.text;
            from = insertion.at;
        }
        whole + &text[from..]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_lies_within_stays_within() {
        let mut insertions = Insertions::default();
        insertions.around(&(0..5), "<", ">");
        insertions.around(&(0..1), "(", ")");
        insertions.around(&(4..5), "[", "]");
        insertions.around(&(4..5), "{", "}");
        insertions.at(5, "!");
        assert_eq!(insertions.into_text("a + b"), "<(a) + [{b}]>!");
    }
}
