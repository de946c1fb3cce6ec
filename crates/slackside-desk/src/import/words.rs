//! What a file seems to hold, with the evidence; and the command that says it.

use std::fmt::Write as _;

use super::clock::unit_in;
use super::edges::{distinct, is_sampled, median_gap, rounded};
use super::{Choice, Clock, Found, Kind, Role, Series};

/// Names up to this long have a column to themselves.
const LONGEST_NAME: usize = 24;

/// What the file seems to hold, a thing a line, each with its evidence.
#[must_use]
pub fn guess(found: &Found, choice: &Choice) -> String {
    let mut text = String::new();
    let names = found.series.iter().map(|series| series.name.chars().count());
    let width = names.filter(|length| *length <= LONGEST_NAME).max().unwrap_or(0).max(12);
    let kind = match found.kind {
        Kind::Dump => "value change dump (it begins with `$`)",
        Kind::Wide => "a column for each wire",
        Kind::Long => "a row for each value, with the tag it is of",
    };
    let rows = if found.rows == 1 { "row" } else { "rows" };
    let _ = writeln!(text, "{:<width$} {kind}, {} {rows}", "file", found.rows);
    let step = found.clock.step(choice.rate_hz, choice.unit);
    let time = match &found.clock {
        Clock::Stated { by, .. } => format!("stated by {by}"),
        Clock::Day { by, zoned, .. } => {
            let zone = if *zoned { "with its zone" } else { "without a zone" };
            format!("time of day, {zone}: the first row says `{by}`")
        }
        Clock::Rows if choice.rate_hz.is_some() => "each row is a sample, at the rate that you say".to_owned(),
        Clock::Column { name, .. } if choice.unit.is_some() => format!("`{name}` counts it, in the unit that you say"),
        Clock::Rows => {
            "NOT KNOWN: each row is a sample, and nothing says how many there are in a second: --rate".to_owned()
        }
        Clock::Column { name, .. } => {
            format!("NOT KNOWN: `{name}` counts it, and nothing says in what unit: --time-unit")
        }
    };
    let _ = writeln!(text, "{:<width$} {time}", "time");
    if let (Some(step), Some(shortest)) = (step, found.step) {
        let seconds = (found.span.1 - found.span.0) as f64 * step / 1e15;
        let rows = shortest as f64 * step / 1e9;
        let how = if is_sampled(found) { "sampled every" } else { "rows no closer than" };
        let _ = writeln!(text, "{:<width$} {} s long, {how} {} us", "", rounded(seconds), rounded(rows));
    }
    for series in &found.series {
        let (what, why) = role_of(series);
        let chosen = choice.map.iter().find(|mapped| mapped.series == series.name);
        let own = Role::from_name(&series.name).filter(|_| choice.map.is_empty());
        let taken = match (chosen, own) {
            (Some(mapped), _) => {
                format!(
                    "taken as `{}`{}, as you say",
                    mapped.role.name(),
                    if mapped.inverted { " inverted" } else { "" }
                )
            }
            (None, Some(role)) => format!("taken as `{}`, by its name", role.name()),
            (None, None) if choice.map.is_empty() => {
                what.map_or("not taken".to_owned(), |role| format!("may be `{}` (a guess, not taken)", role.name()))
            }
            (None, None) => "not taken".to_owned(),
        };
        let _ = writeln!(text, "{:<width$} {taken}: {why}", series.name);
        if let (true, Some(step), Some(gap)) = (series.is_level(), step, median_gap(series)) {
            let edges = series.changes.len().saturating_sub(1);
            let _ = writeln!(
                text,
                "{:<width$} {edges} edge{}, {} a second where it changes",
                "",
                if edges == 1 { "" } else { "s" },
                rounded(1e15 / (gap as f64 * step))
            );
        }
    }
    if !found.series.iter().any(Series::is_level) {
        text.push_str("This file holds no edges: nothing in it is a level. From speeds only underspeed and the ratio of means can be told.\n");
    }
    text
}

/// What a series may be, by its values and its name, and why.
fn role_of(series: &Series) -> (Option<Role>, String) {
    let values = if series.changes.is_empty() {
        "it says nothing".to_owned()
    } else if series.is_level() {
        "it is 0 or 1".to_owned()
    } else {
        let least = series.changes.iter().map(|(_, value)| *value).fold(f64::INFINITY, f64::min);
        let most = series.changes.iter().map(|(_, value)| *value).fold(f64::NEG_INFINITY, f64::max);
        match distinct(series) {
            1 => format!("it is always {least}"),
            several => format!("{several} values from {least} to {most}"),
        }
    };
    let lower = series.name.to_lowercase();
    let has = |word: &str| lower.contains(word);
    let (at_head, at_boot) = (has("head") || has("top"), has("boot") || has("tail") || has("bottom"));
    let speed = has("rpm") || has("speed");
    let name = match (series.is_level(), at_head, at_boot) {
        (true, true, false) if !has("rub") => Some("head"),
        (true, false, true) if !has("rub") => Some("boot"),
        (true, ..) if has("drive") || has("motor") || has("run") => Some("drive"),
        (true, ..) if has("plug") || has("choke") => Some("outlet_plugged"),
        (false, true, false) if speed => Some("head_rpm"),
        (false, false, true) if speed => Some("boot_rpm"),
        (false, ..) if has("power") || has("kw") => Some("power_w"),
        _ => None,
    };
    let role = name.and_then(Role::from_name);
    // What bears a channel's own name is taken by it.
    let by_words = role.is_some() && Role::from_name(&series.name).is_none();
    let evidence = if by_words { format!("{values}, and its name") } else { values };
    (role, evidence)
}

/// The arguments that say all of the guess, for a person to look at and to run.
#[must_use]
pub fn suggestion(found: &Found) -> String {
    let mut text = String::new();
    let mut named: Vec<(Role, &str)> = Vec::new();
    for series in &found.series {
        let role = Role::from_name(&series.name).or(role_of(series).0);
        if let Some(role) = role.filter(|role| named.iter().all(|(other, _)| other != role)) {
            named.push((role, &series.name));
        }
    }
    if named.is_empty() {
        let wires = found.series.iter().filter(|series| series.is_level()).map(|series| series.name.as_str());
        named.extend([Role::from_name("head"), Role::from_name("boot")].into_iter().flatten().zip(wires));
    }
    let map: Vec<String> = named.iter().map(|(role, name)| format!("{}={name}", role.name())).collect();
    if !map.is_empty() {
        let _ = write!(text, " --map '{}'", map.join(","));
    }
    match &found.clock {
        Clock::Rows => text.push_str(" --rate HERTZ"),
        Clock::Column { name, .. } if unit_in(name).is_none() => text.push_str(" --time-unit UNIT"),
        _ => {}
    }
    text
}
