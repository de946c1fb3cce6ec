//! The usual cautions, in one place for everything that prints them.

/// One caution a line, in the order of how soon they matter to the person reading.
pub const CAUTIONS: [&str; 6] = [
    "Lock out and tag out the drive before you open a casing or a guard; prove it dead by trying to start it.",
    "Keep every guard and inspection door in place and shut while the leg can turn.",
    "Grain and feed dust explodes: no hot work and no sparks near an open leg; clear the dust before you restart.",
    "Never jog a choked leg to free it. Stop, lock out, dig out the boot by hand, then start it once.",
    "Local codes and the makers' manuals rule; what is said here is to help, not to replace them.",
    "Slackside is not a certified safety device. It adds to the protection a leg must have; it replaces none of it.",
];

/// The cautions as plain text of at most `width` columns, each with a dash before it.
#[must_use]
pub fn as_text(width: usize) -> String {
    let mut text = String::new();
    for caution in CAUTIONS {
        let mut line = String::from("-");
        for word in caution.split(' ') {
            if line.chars().count() + 1 + word.chars().count() > width && line.len() > 1 {
                text.push_str(line.trim_end());
                text.push('\n');
                line = String::from(" ");
            }
            line.push(' ');
            line.push_str(word);
        }
        text.push_str(&line);
        text.push('\n');
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_is_lost_in_wrapping() {
        let text = as_text(60);
        assert!(text.lines().all(|line| line.chars().count() <= 60), "{text}");
        let flat = text.split_whitespace().collect::<Vec<_>>().join(" ");
        assert_eq!(flat, CAUTIONS.map(|caution| format!("- {caution}")).join(" "));
    }
}
