//! The range of a setting, asked of the rules themselves: values far too small and far too large, a little smaller and a little
//! larger, and what is answered. What a rule holds between settings is told in its words.

use slackside::settings::{Field, Quantity, Rule, Violation};

use crate::settings::broken;

/// What a value may be.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Range {
    /// The least, with its unit; `None` where no rule holds it on that side.
    pub least: Option<String>,
    /// The most, with its unit; `None` as above.
    pub most: Option<String>,
    /// The words that are taken, where it is a word.
    pub words: Vec<&'static str>,
    /// What rules hold between it and other settings, so that its range depends on theirs.
    pub ties: Vec<&'static str>,
}

/// Values tried of a number, whatever it stands for.
const TRIED: [&str; 14] = [
    "-1000000", "-1", "0", "0.000001", "0.001", "0.4", "10", "40", "70", "200", "1000", "100000", "2000000", "4000000",
];
/// Values tried of a number, times its own: what is tied to another setting breaks its rule somewhere here.
const TIMES: [f64; 9] = [0.0, 0.1, 0.5, 0.8, 1.2, 1.6, 3.0, 10.0, 300.0];
/// Words tried of a word.
const WORDS: [&str; 11] = [
    "\"up\"",
    "\"down\"",
    "\"rising\"",
    "\"falling\"",
    "\"both\"",
    "\"low\"",
    "\"medium\"",
    "\"high\"",
    "\"alarm\"",
    "\"drop_feed\"",
    "\"stop\"",
];

/// What a rule that ties settings together holds, in words.
const fn tie(rule: Rule, field: Field) -> Option<&'static str> {
    Some(match rule {
        Rule::BootAloneNeedsDrive => "without head targets the drive contact must be wired",
        Rule::FaceNarrowerThanBelt => "each face is at least as wide as the belt",
        Rule::CrownTooHigh => "crown is below 3 % of the face",
        Rule::LegGeometry => "the belt runs at 0.5 m/s to 5 m/s (98 ft/min to 984 ft/min) at normal speed",
        Rule::LoopAgainstCentres => "the loop fits pulleys 2 m to 150 m (6.6 ft to 492 ft) apart",
        Rule::Range if matches!(field, Field::Ratio) => "the no-slip ratio that the pulleys give lies within its range",
        Rule::Range if matches!(field, Field::SlipHeat(_)) => {
            "mass times heat capacity times rise is a budget within its range"
        }
        Rule::AcceptedFarFromGeometry => "the accepted ratio is within 10 % of what the pulleys give",
        Rule::SpeedsContradictRatio => "boot speed is within 10 % of head speed times the no-slip ratio",
        Rule::UnloadedAgainstNormal => "the head unloaded turns 0.5 % to 10 % faster than normal",
        Rule::OneMarkIsEven => "a single counted edge a turn is even",
        Rule::PitchesDoNotFit => "closest and widest pitch add up to one turn with that many counted edges",
        Rule::MinimumWidthTooLong => "the minimum width is at most a quarter of the closest pitch at top speed",
        Rule::HumLooksLikeSpeed => {
            "unless the line is supervised, edges at normal speed lie away from mains hum (50, 60, 100, 120 a second)"
        }
        Rule::StopsTooLate => {
            "setpoint, measuring error, wait for edges and on-delay at a loss of 5 % a second come to 20 % at most"
        }
        Rule::TripBelowAlarm => "the stop lies above its alarm",
        Rule::DeadbandSwallowsSetpoint => "the deadband is below the setpoint",
        Rule::DeadbandBeyondGap => "the deadband is no more than the gap between alarm and stop",
        Rule::MustLatch => "what stops the leg latches",
        _ => return None,
    })
}

/// Whether the bound of this violation is a range of its own, whatever else is set.
fn is_own_bound(violation: &Violation) -> bool {
    match violation.rule {
        Rule::Range | Rule::LegGeometry => violation.field != Field::Ratio,
        Rule::BeyondTheCode => true,
        _ => false,
    }
}

/// Ask the rules about one line of a settings file.
#[must_use]
pub fn of(text: &str, number: usize, key: &str, value: &str) -> Range {
    let mut range = Range::default();
    if let Ok(given) = value.parse::<f64>() {
        number_range(text, number, key, given, &mut range);
    } else {
        let words: &[&str] = if value.starts_with('"') { &WORDS } else { &["true", "false"] };
        for word in words {
            let Some(found) = broken(&changed(text, number, word)) else { continue };
            if !found.iter().any(|(at, _)| at == key) {
                range.words.push(word);
            }
            tied(&found, key, &mut range);
        }
        // Where there is no choice, nothing depends on others.
        if range.words.len() == 1 {
            range.ties.clear();
        }
    }
    range
}

fn number_range(text: &str, number: usize, key: &str, given: f64, range: &mut Range) {
    let mut below_nought = true;
    for value in TRIED {
        let found = broken(&changed(text, number, value));
        let own = found.iter().flatten().find(|(at, violation)| at == key && is_own_bound(violation));
        if let Some((_, violation)) = own {
            let bound = in_both(key, &Quantity::new(violation.bound, violation.unit()).to_string());
            let slot = if violation.value < violation.bound { &mut range.least } else { &mut range.most };
            slot.get_or_insert(bound);
        }
        if value == "-1" && (found.is_none() || own.is_some()) {
            below_nought = false;
        }
    }
    if !below_nought && range.least.is_none() {
        range.least = Some("0".to_owned());
    }
    for times in TIMES {
        // In steps that a count can take.
        let tried = if given.fract() == 0.0 && given < 100.0 { (given * times).round() } else { given * times };
        let Some(found) = broken(&changed(text, number, &format!("{tried}"))) else { continue };
        if !found.iter().any(|(at, violation)| at == key && is_own_bound(violation)) {
            tied(&found, key, range);
        }
    }
}

/// Keep what the rules among these hold between settings.
fn tied(found: &[(String, Violation)], key: &str, range: &mut Range) {
    for (at, violation) in found {
        let own = at == key && is_own_bound(violation);
        if let Some(says) = tie(violation.rule, violation.field).filter(|says| !own && !range.ties.contains(says)) {
            range.ties.push(says);
        }
    }
}

/// The text with another value in one line.
fn changed(text: &str, number: usize, value: &str) -> String {
    let line = |(at, line): (usize, &str)| match line.split_once(" = ") {
        Some((name, _)) if at == number => format!("{name} = {value}\n"),
        _ => format!("{line}\n"),
    };
    text.lines().enumerate().map(line).collect()
}

/// A bound with the other unit system behind it, where there is one. What has no unit in its key is written as a factor.
fn in_both(key: &str, bound: &str) -> String {
    let Some((number, unit)) = bound.split_once(' ') else { return bound.to_owned() };
    let Ok(number) = number.parse::<f64>() else { return bound.to_owned() };
    let other = match unit {
        "mm" => format!("{:.2} in", number / 25.4),
        "m" => format!("{:.1} ft", number / 0.3048),
        "m/s" => format!("{:.0} ft/min", number / 0.3048 * 60.0),
        "kW" => format!("{:.1} hp", number / 0.745_699_872),
        "W" => format!("{:.1} hp", number / 745.699_872),
        "%" if key.ends_with("factor") => return format!("{}", number / 100.0),
        _ if number == 0.0 => return "0".to_owned(),
        _ => return bound.to_owned(),
    };
    if number == 0.0 { "0".to_owned() } else { format!("{bound} ({other})") }
}

impl std::fmt::Display for Range {
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match (&self.least, &self.most) {
            (Some(least), Some(most)) if least == most => write!(out, "{least} only")?,
            (Some(least), Some(most)) => write!(out, "{least} to {most}")?,
            (Some(least), None) => write!(out, "{least} or more")?,
            (None, Some(most)) => write!(out, "up to {most}")?,
            (None, None) => {}
        }
        let quoted: Vec<String> = self.words.iter().map(|word| format!("`{word}`")).collect();
        match &quoted[..] {
            [] => {}
            [only] => write!(out, "{only} only")?,
            [but_last @ .., last] => write!(out, "{} or {last}", but_last.join(", "))?,
        }
        if !self.ties.is_empty() {
            let before = if self.least.is_some() || self.most.is_some() || !quoted.is_empty() { "; " } else { "" };
            write!(out, "{before}depends on others: {}", self.ties.join("; "))?;
        }
        Ok(())
    }
}
