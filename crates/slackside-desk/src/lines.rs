//! Words as people read them, and on the lines of a terminal of eighty columns.

/// The columns of a terminal.
pub const WIDTH: usize = 80;

/// What stands behind a number and means little on the line below it.
const UNITS: [&str; 23] = [
    "%", "s", "ms", "us", "µs", "min", "h", "days", "m", "mm", "in", "ft", "m/s", "ft/min", "rpm", "turns", "Hz", "°C",
    "W", "kW", "J", "kJ", "N",
];
/// A space at which no line ends.
const TOGETHER: char = '\u{a0}';

/// Words broken at spaces, never between a number and its unit; `first` stands before the first line, `rest` before the others. No line
/// is longer than [`WIDTH`], and the last one ends without a line end.
#[must_use]
pub fn fill(first: &str, rest: &str, words: &str) -> String {
    // Dates and names of files are not to be parted at their hyphens.
    let options = textwrap::Options::new(WIDTH)
        .initial_indent(first)
        .subsequent_indent(rest)
        .word_splitter(textwrap::WordSplitter::NoHyphenation);
    textwrap::fill(&kept_together(words), options).replace(TOGETHER, " ")
}

/// Words whose numbers stay with their units: a space between them at which no line ends.
#[must_use]
pub fn kept_together(words: &str) -> String {
    let mut text = String::with_capacity(words.len());
    for (at, word) in words.split(' ').enumerate() {
        let is_unit = UNITS.contains(&word.trim_end_matches(['.', ',', ';', ':', ')']));
        match at {
            0 => {}
            _ if is_unit && text.ends_with(|letter: char| letter.is_ascii_digit()) => text.push(TOGETHER),
            _ => text.push(' '),
        }
        text.push_str(word);
    }
    text
}

/// So many of something: `1 family`, `2 families`.
#[must_use]
pub fn counted(number: u64, one: &str, many: &str) -> String {
    if number == 1 { format!("1 {one}") } else { format!("{number} {many}") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_number_keeps_its_unit() {
        for length in 1..WIDTH - 10 {
            let words = format!("{} slip 17.5 % then, 3 h 26 min 16 s after 2026-03-14 at 88 in.", "x".repeat(length));
            let filled = fill("  - ", "    ", &words);
            for line in filled.lines() {
                assert!(line.chars().count() <= WIDTH, "{filled}");
                assert!(!line.trim_start().starts_with(['%', 'h', 'm', 's', 'i']) || line.contains("slip"), "{filled}");
            }
            assert!(filled.contains("2026-03-14"), "{filled}");
            let back: Vec<&str> = filled.split_whitespace().skip(1).collect();
            assert_eq!(back.join(" "), words.trim());
        }
    }
}
