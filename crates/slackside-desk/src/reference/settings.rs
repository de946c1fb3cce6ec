//! Every setting: unit, in both systems where there are two, range, starting value, reason.

use std::fmt::Write as _;

use slackside::conditions::Condition;
use slackside::settings::{AcceptedRatio, Settings, SpeedReference};
use slackside::units::{Ppm, Ratio};

use super::range;
use crate::settings::{parse, write};

/// The example leg with everything fitted that can be, so that every key has a line.
fn full() -> Settings {
    let mut settings = Settings::example();
    let machine = &mut settings.machine;
    machine.power_meter = true;
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
const UNITS: [(&str, &str); 19] = [
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
    let unknown = match parse(&changed, "reference") {
        Ok(_) => false,
        Err(refused) => refused.problems.iter().any(|problem| problem.text.contains("is not a key")),
    };
    (!unknown).then_some(renamed)
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
    let range = match value {
        "true" | "false" => "`true` or `false`".to_owned(),
        text if text.starts_with('"') => String::new(),
        _ => range::of(text, number, &format!("{section}.{key}")).to_string(),
    };
    let _ = writeln!(out, "| {names} | {units} | {range} | `{value}` | {why} |");
}

/// The page of all settings.
#[must_use]
pub fn settings() -> String {
    let text = write(&full());
    let mut out = String::from(
        "# Every setting\n\nMade from the rules of the core by `cargo xtask reference`; a test holds it against them. A settings \
         file is TOML; the unit is in each key's name, and where there are two, either may be given, not both. The values are those \
         of the example leg, or starting values: engineering judgement that each leg's engineer decides. Ranges are asked of \
         the rules with all else as in the example; a rule that ties two settings together may allow less, and then says so.\n\n\
         **Not a certified safety device.** A loss of belt speed beyond 20 % is refused as a stop limit: 29 CFR 1910.272(q)(5).\n",
    );
    let mut section = String::new();
    for (number, line) in text.lines().enumerate() {
        if let Some(name) = line.strip_prefix('[') {
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
            "1 to 32",
        ] {
            assert!(page.contains(part), "{part}\n{page}");
        }
        assert!(Condition::ALL.iter().all(|condition| page.contains(&format!("[limits.{}]", condition.name()))));
        let bare = page.lines().find(|line| line.starts_with("| `bare_diameter_mm`")).expect("the row");
        let range = bare.split('|').nth(3).expect("a range").trim();
        assert!(range.contains(" to "), "{bare}");
    }
}
