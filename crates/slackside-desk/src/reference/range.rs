//! The range of a setting, asked of the rules themselves: a value far too small and one far too large, and what is answered.

use crate::settings::parse;

/// What a number may be; `None` where no rule holds it on that side.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Range {
    /// The least, with its unit.
    pub least: Option<String>,
    /// The most, with its unit.
    pub most: Option<String>,
}

/// Ask the rules about one line of a settings file.
#[must_use]
pub fn of(text: &str, number: usize, key: &str) -> Range {
    let (mut least, mut most) = (None, None);
    for value in ["-1000000", "0", "0.000001", "0.001", "0.4", "10", "40", "200", "1000", "100000", "2000000"] {
        let changed: String = text
            .lines()
            .enumerate()
            .map(|(at, line)| match line.split_once(" = ") {
                Some((name, _)) if at == number => format!("{name} = {value}\n"),
                _ => format!("{line}\n"),
            })
            .collect();
        let Err(refused) = parse(&changed, "reference") else { continue };
        for problem in refused.problems.iter().filter(|problem| problem.key == key) {
            if !["range", "legs are built like", "pulleys 2 m"].iter().any(|part| problem.text.contains(part)) {
                continue;
            }
            if let Some((_, bound)) = problem.text.rsplit_once("at least ") {
                least.get_or_insert(in_both(bound));
            }
            if let Some((_, bound)) = problem.text.rsplit_once("at most ") {
                most.get_or_insert(in_both(bound));
            }
        }
    }
    Range { least, most }
}

/// A bound with the other unit system behind it, where there is one.
fn in_both(bound: &str) -> String {
    let other = bound.split_once(' ').and_then(|(number, unit)| {
        let number: f64 = number.parse().ok()?;
        match unit {
            "mm" => Some(format!("{:.2} in", number / 25.4)),
            "m" => Some(format!("{:.1} ft", number / 0.3048)),
            "m/s" => Some(format!("{:.0} ft/min", number / 0.3048 * 60.0)),
            "kW" => Some(format!("{:.1} hp", number / 0.745_699_872)),
            "W" => Some(format!("{:.1} hp", number / 745.699_872)),
            _ => None,
        }
    });
    other.map_or_else(|| bound.to_owned(), |other| format!("{bound} ({other})"))
}

impl std::fmt::Display for Range {
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match (&self.least, &self.most) {
            (Some(least), Some(most)) => write!(out, "{least} to {most}"),
            (Some(least), None) => write!(out, "{least} or more"),
            (None, Some(most)) => write!(out, "up to {most}"),
            (None, None) => Ok(()),
        }
    }
}
