//! Every setting: unit, in both systems where there are two, range, starting value, reason.

use std::fmt::Write as _;

use slackside::conditions::Condition;
use slackside::settings::{AcceptedRatio, Settings, SpeedReference};
use slackside::units::{MicroturnsPerSecond, Ppm, Ratio};

use super::range;
use crate::settings::{broken, write};

/// The example leg with everything fitted that can be, so that every key has a line.
fn full() -> Settings {
    let mut settings = Settings::example();
    let machine = &mut settings.machine;
    machine.power_meter = true;
    machine.unloaded_head = Some(MicroturnsPerSecond::new(1_333_333));
    machine.outlet_switch = true;
    machine.temperatures = [true; 4];
    machine.speed_reference = Some(SpeedReference { minimum: Ppm::new(950_000), ramp_per_second: Ppm::new(50_000) });
    machine.accepted_ratio = Some(AcceptedRatio { ratio: Ratio::new(1_039_474), spread: Ppm::new(1_000) });
    settings
}

/// The same quantity in another unit, as the file may give it.
const OTHER: [(&str, &str); 6] =
    [("_mm", "_in"), ("_m", "_ft"), ("_kw", "_hp"), ("_mps", "_fpm"), ("_s", "_ms"), ("_min", "_s")];

/// What the ending of a key stands for.
const UNITS: [(&str, &str); 22] = [
    ("_j_kgk", "J/(kg K)"),
    ("_pct_per_s", "% a second"),
    ("_turns", "turns"),
    ("_rpm", "turns a minute"),
    ("_mps", "m/s"),
    ("_fpm", "ft/min"),
    ("_pct", "%"),
    ("_deg", "degrees"),
    ("_min", "minutes"),
    ("_mm", "mm"),
    ("_in", "inches"),
    ("_ft", "feet"),
    ("_kw", "kW"),
    ("_hp", "horsepower"),
    ("_kj", "kJ"),
    ("_kg", "kg"),
    ("_k", "K"),
    ("_us", "µs"),
    ("_ms", "ms"),
    ("_m", "m"),
    ("_s", "s"),
    ("_c", "°C"),
];

fn unit(key: &str) -> Option<(&'static str, &'static str)> {
    UNITS.into_iter().find(|(ending, _)| key.ends_with(ending))
}

/// The key in the other unit, if the file takes it.
fn other(text: &str, number: usize, key: &str) -> Option<String> {
    let (ending, _) = unit(key)?;
    let (_, theirs) = OTHER.into_iter().find(|(ours, _)| *ours == ending)?;
    let renamed = format!("{}{theirs}", key.strip_suffix(ending)?);
    let changed: String = text
        .lines()
        .enumerate()
        .map(
            |(at, line)| {
                if at == number { format!("{}\n", line.replacen(key, &renamed, 1)) } else { format!("{line}\n") }
            },
        )
        .collect();
    broken(&changed).map(|_| renamed)
}

fn row(out: &mut String, text: &str, number: usize, section: &str, line: &str) {
    let Some((key, rest)) = line.split_once(" = ") else { return };
    let (value, why) = rest.split_once(" #").map_or((rest.trim(), ""), |(value, why)| (value.trim(), why.trim()));
    let mut names = format!("`{key}`");
    let mut units = unit(key).map_or("", |(_, name)| name).to_owned();
    if let Some(other) = other(text, number, key) {
        let _ = write!(names, " or `{other}`");
        if let Some((_, name)) = unit(&other) {
            let _ = write!(units, " or {name}");
        }
    }
    let range = match key {
        "name" => "text".to_owned(),
        _ => range::of(text, number, &format!("{section}.{key}"), value).to_string(),
    };
    let _ = writeln!(out, "| {names} | {units} | {range} | `{value}` | {why} |");
}

/// Keys that stand in the place of others: the section, what they replace, and their lines.
const INSTEAD: [(&str, &[&str], &[&str]); 5] = [
    ("belt", &["loop_m"], &["centres_m = 29.5 # between the shafts; in place of `loop_m`"]),
    (
        "speed",
        &["head_rpm", "boot_rpm"],
        &["belt_mps = 2.6 # in place of `head_rpm` and `boot_rpm`, which follow from it without slip"],
    ),
    (
        "head_targets",
        &["spacing_tolerance_pct"],
        &[
            "closest_deg = 88 # smallest pitch between counted edges; in place of `spacing_tolerance_pct`, of uneven targets",
            "widest_deg = 93 # largest pitch; with `closest_deg`",
        ],
    ),
    (
        "boot_targets",
        &["spacing_tolerance_pct"],
        &[
            "closest_deg = 88 # smallest pitch between counted edges; in place of `spacing_tolerance_pct`, of uneven targets",
            "widest_deg = 93 # largest pitch; with `closest_deg`",
        ],
    ),
    (
        "slip_heat",
        &["budget_kj"],
        &[
            "mass_kg = 30 # of what slip heats; with the two below in place of `budget_kj`",
            "heat_capacity_j_kgk = 500 # steel about 500, rubber about 1900",
            "rise_k = 60 # allowed",
        ],
    ),
];

/// The text with `lines` in a section in place of the keys `gone`.
fn with_instead(text: &str, of: &str, gone: &[&str], lines: &[&str]) -> String {
    let mut out = String::new();
    let mut section = "";
    for line in text.lines() {
        if let Some(name) = line.strip_prefix('[') {
            section = name.trim_end_matches(']');
        }
        let key = line.split(" = ").next().unwrap_or_default();
        if section == of && gone.contains(&key) {
            continue;
        }
        out.push_str(line);
        out.push('\n');
        if line == format!("[{of}]") {
            out.push_str(&format!("{}\n", lines.join("\n")));
        }
    }
    out
}

/// The rows of what stands in the place of others in this section.
fn instead(out: &mut String, text: &str, section: &str) {
    for (_, gone, lines) in INSTEAD.into_iter().filter(|(of, ..)| *of == section) {
        let text = with_instead(text, section, gone, lines);
        for (number, line) in text.lines().enumerate().filter(|(_, line)| lines.contains(line)) {
            row(out, &text, number, section, line);
        }
    }
}

/// The page of all settings.
#[must_use]
pub fn settings() -> String {
    // Whether a condition is judged at all is written only where it is not.
    let enabled = |line: &str| match line.starts_with("[limits.") {
        true => format!("{line}\nenabled = true # whether it is judged\n"),
        false => format!("{line}\n"),
    };
    let text: String = write(&full()).lines().map(enabled).collect();
    let mut out = String::from(
        "# Every setting\n\nMade from the rules of the core by `cargo xtask reference`; a test holds it against them. A settings \
         file is TOML; the unit is in each key's name, and where there are two, either may be given, not both. The values are those \
         of the example leg, or starting values: engineering judgement that each leg's engineer decides. Ranges are asked of \
         the rules with all else as in the example; where a rule ties a setting to others, its range depends on theirs, and the rule \
         stands behind it in words.\n\n\
         **Not a certified safety device.** A loss of belt speed beyond 20 % is refused as a stop limit: 29 CFR 1910.272(q)(5).\n",
    );
    let mut section = String::new();
    for (number, line) in text.lines().enumerate() {
        if let Some(name) = line.strip_prefix('[') {
            instead(&mut out, &text, &section);
            section = name.trim_end_matches(']').to_owned();
            let title = section.strip_prefix("limits.").and_then(Condition::from_name);
            let _ = match title {
                Some(condition) => writeln!(
                    out,
                    "\n## `[{section}]`: {}\n\n{}",
                    condition.entry().title.to_lowercase(),
                    condition.entry().reason
                ),
                None => writeln!(out, "\n## `[{section}]`"),
            };
            out.push_str("\n| key | unit | range | value | reason |\n|---|---|---|---|---|\n");
        } else {
            row(&mut out, &text, number, &section, line);
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ranges_units_and_reasons_are_those_of_the_rules() {
        let page = settings();
        // 29 CFR 1910.272(q)(5), and the rules in words.
        for part in [
            "| `bare_diameter_mm` or `bare_diameter_in` | mm or inches |",
            "| `loop_m` or `loop_ft` | m or feet |",
            "| `rated_kw` or `rated_hp` | kW or horsepower |",
            "## `[limits.deep_underspeed]`",
            "`setpoint_pct`",
            "1 to 64",
        ] {
            assert!(page.contains(part), "{part}\n{page}");
        }
        assert!(Condition::ALL.iter().all(|condition| page.contains(&format!("[limits.{}]", condition.name()))));
        // What is tied to another setting says so, and what must be says that it must.
        for (key, part) in [
            ("face_mm", "depends on others: each face is at least as wide as the belt"),
            ("width_mm", "each face is at least as wide as the belt"),
            ("crown_mm", "crown is below 3 % of the face"),
            ("loop_m", "the loop fits pulleys 2 m to 150 m"),
            ("centres_m", "the loop fits pulleys 2 m to 150 m"),
            ("boot_rpm", "boot speed is within 10 % of head speed"),
            ("belt_mps", "0.5 m/s (98 ft/min) to 5 m/s (984 ft/min)"),
            ("ratio", "within 10 % of what the pulleys give"),
            ("minimum_width_us", "at most a quarter of the closest pitch"),
            ("widest_deg", "add up to one turn"),
            ("service_factor", "0.5 to 2"),
            ("edges", "`\"rising\"`, `\"falling\"` or `\"both\"`"),
            ("head_left", "`\"up\"` or `\"down\"`"),
        ] {
            let row = page.lines().find(|line| line.starts_with(&format!("| `{key}`"))).expect(key);
            assert!(row.split('|').nth(3).is_some_and(|range| range.contains(part)), "{key}: {part}: {row}");
        }
        let deep = page.split("## `[limits.deep_underspeed]`").nth(1).and_then(|rest| rest.split("\n## ").next());
        let deep = deep.expect("the section");
        for (key, part) in [
            ("enabled", "`true` only"),
            ("setpoint_pct", "come to 20 % at most"),
            ("setpoint_pct", "the stop lies above its alarm"),
            ("on_delay_s", "come to 20 % at most"),
            ("deadband_pct", "the deadband is below the setpoint"),
            ("latching", "`true` only"),
            ("action", "`\"stop\"` only"),
            ("priority", "`\"low\"`, `\"medium\"` or `\"high\"`"),
        ] {
            let row = deep.lines().find(|line| line.starts_with(&format!("| `{key}`"))).expect(key);
            assert!(row.split('|').nth(3).is_some_and(|range| range.contains(part)), "{key}: {part}: {row}");
        }
        for row in page.lines().filter(|line| line.starts_with("| `")) {
            assert!(row.split('|').nth(3).is_some_and(|range| !range.trim().is_empty()), "no range: {row}");
        }
        let bare = page.lines().find(|line| line.starts_with("| `bare_diameter_mm`")).expect("the row");
        let range = bare.split('|').nth(3).expect("a range").trim();
        assert!(range.contains(" to "), "{bare}");
    }
}
