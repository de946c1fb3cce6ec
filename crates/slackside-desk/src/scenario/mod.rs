//! Scenarios: small TOML files that say which leg, what people do, what goes wrong, and what should come of it.

pub mod due;
pub mod error;
pub mod fault;
pub mod guard;
pub mod heard;
pub mod legs;
pub mod run;
pub mod score;
pub mod settings;
pub mod timeline;
pub mod truth;

use std::path::Path;

use serde::Deserialize;

use crate::files::Files;
use crate::plant::Plant;
use crate::plant::friction::{self, Friction};
use crate::plant::leg::Leg;
use error::{ScenarioError, Wrong, line_of};
use fault::{Fault, Where};
use timeline::{Act, Routine};

/// What the author says of it. The plant's truth decides whether a stop was called for; this says what was meant.
#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Label {
    /// What is wrong, in a few words; empty if nothing.
    pub wrong: String,
    /// From when, in whole seconds.
    pub from_s: Option<u32>,
    /// Whether the leg ought to be stopped.
    pub stop: bool,
}

#[derive(Deserialize)]
#[serde(untagged)]
enum LegGiven {
    Named(String),
    Whole(toml::Table),
}

#[derive(Deserialize)]
#[serde(untagged)]
enum FrictionGiven {
    Named(String),
    Whole(Box<Friction>),
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    description: String,
    leg: LegGiven,
    friction: Option<FrictionGiven>,
    #[serde(default)]
    leg_changes: toml::Table,
    duration_s: f64,
    #[serde(default = "one")]
    seed: u64,
    #[serde(default = "step")]
    step_us: u32,
    obey_permits: Option<bool>,
    #[serde(default)]
    timeline: Vec<Act>,
    routine: Option<Routine>,
    #[serde(default, rename = "fault")]
    faults: Vec<Fault>,
    label: Label,
}

const fn one() -> u64 {
    1
}

const fn step() -> u32 {
    2_000
}

/// A scenario that keeps all rules.
#[derive(Clone, Debug)]
pub struct Scenario {
    /// The file's name without its ending.
    pub name: String,
    /// A sentence or two.
    pub description: String,
    /// The leg.
    pub leg: Leg,
    /// How long it lasts, in s.
    pub duration_s: f64,
    /// The seed of all chance.
    pub seed: u64,
    /// Step of the plant in microseconds.
    pub step_us: u32,
    /// Whether motor and feed follow the monitor's permits; left out: only in a replay.
    pub obey_permits: Option<bool>,
    /// What people do.
    pub timeline: Vec<Act>,
    /// Ordinary running.
    pub routine: Option<Routine>,
    /// What goes wrong.
    pub faults: Vec<Fault>,
    /// What was meant.
    pub label: Label,
}

impl Scenario {
    /// Read a scenario from a file.
    ///
    /// # Errors
    /// The file cannot be read, is not TOML, has an unknown or a missing key, or a figure breaks a rule: each with its line.
    pub fn read(files: &dyn Files, path: &Path) -> Result<Self, ScenarioError> {
        let text = files.text(path).map_err(|error| ScenarioError {
            file: path.to_path_buf(),
            wrong: vec![Wrong {
                line: None,
                field: String::new(),
                message: format!("cannot be read: {error}; give the path of a scenario file (TOML, UTF-8)"),
            }],
        })?;
        Self::parse(&text, path)
    }

    /// Read a scenario from text; `path` is for its name and for messages.
    ///
    /// # Errors
    /// As [`read`](Self::read).
    pub fn parse(text: &str, path: &Path) -> Result<Self, ScenarioError> {
        let failed = |wrong| ScenarioError { file: path.to_path_buf(), wrong };
        let single = |line, field: &str, message| failed(vec![Wrong { line, field: field.to_owned(), message }]);
        let file: File = toml::from_str(text).map_err(|error| {
            let line = error.span().map(|span| 1 + text[..span.start].matches('\n').count());
            single(line, "", one_line(error.message()))
        })?;
        let (mut table, own) = match file.leg {
            LegGiven::Named(name) => match legs::built_in(&name) {
                Some(table) => (table, false),
                None => {
                    let known = legs::NAMES.join(", ");
                    let message =
                        format!("no leg is called \"{name}\"; the built-in legs are {known}, or give a [leg] table");
                    return Err(single(line_of(text, &["leg"]), "leg", message));
                }
            },
            LegGiven::Whole(table) => (table, true),
        };
        merge(&mut table, file.leg_changes);
        let grip = match file.friction {
            None => Friction::default(),
            Some(FrictionGiven::Whole(given)) => *given,
            Some(FrictionGiven::Named(name)) => friction::built_in(&name).ok_or_else(|| {
                let known = friction::SETS.join(", ");
                let message = format!(
                    "no set of friction is called \"{name}\"; the built-in sets are {known}, or give a [friction] table"
                );
                single(line_of(text, &["friction"]), "friction", message)
            })?,
        };
        let mut leg = Leg::deserialize(toml::Value::Table(table)).map_err(|error| {
            let message = one_line(error.message());
            // The merged leg has no lines: the first name in backticks is the key it is about.
            let key = message.split('`').nth(1).unwrap_or_default().to_owned();
            let line = text.lines().position(|line| line.trim_start().starts_with(&key)).map(|at| at + 1);
            let line = if key.is_empty() { None } else { line };
            single(line.or_else(|| line_of(text, &[if own { "leg" } else { "leg_changes" }])), "leg", message)
        })?;
        leg.grip = grip;
        let scenario = Self {
            name: path.file_stem().map_or_else(String::new, |stem| stem.to_string_lossy().into_owned()),
            description: file.description,
            leg,
            duration_s: file.duration_s,
            seed: file.seed,
            step_us: file.step_us,
            obey_permits: file.obey_permits,
            timeline: file.timeline,
            routine: file.routine,
            faults: file.faults,
            label: file.label,
        };
        let wrong = scenario.check(text, own);
        if wrong.is_empty() { Ok(scenario) } else { Err(failed(wrong)) }
    }

    fn check(&self, text: &str, own_leg: bool) -> Vec<Wrong> {
        let mut wrong = Vec::new();
        let mut hold = |sound: bool, field: String, message: String| {
            if !sound {
                let path: Vec<&str> = field.split('.').collect();
                wrong.push(Wrong { line: line_of(text, &path), field: field.clone(), message });
            }
        };
        for bad in self.leg.faults() {
            let table = if own_leg { "leg" } else { "leg_changes" };
            let message = format!("is {}, expected {}: {}", bad.value, bad.expected, bad.mend);
            hold(false, format!("{table}.{}", bad.field), message);
        }
        for (name, expected) in self.leg.grip.faults() {
            hold(false, format!("friction.{name}"), format!("is no curve, expected {expected}"));
        }
        hold(
            self.duration_s > 0.0 && self.duration_s <= 1e8,
            "duration_s".to_owned(),
            format!("is {}, expected above 0 and no more than 100,000,000 s (three years)", self.duration_s),
        );
        hold(
            (100..=10_000).contains(&self.step_us) && Plant::SLOW_US.is_multiple_of(self.step_us),
            "step_us".to_owned(),
            format!(
                "is {}, expected a divisor of {} from 100 to 10,000: leave it out for 2,000",
                self.step_us,
                Plant::SLOW_US
            ),
        );
        for (i, act) in self.timeline.iter().enumerate() {
            let field = |name: &str| format!("timeline.{i}.{name}");
            hold(
                act.at_s >= 0.0 && act.at_s.is_finite(),
                field("at_s"),
                format!("is {}, expected seconds from the beginning, 0 or more", act.at_s),
            );
            hold(
                act.at_s < self.duration_s || act.at_s.is_infinite(),
                field("at_s"),
                format!("is {}, after the end: the scenario lasts {} s", act.at_s, self.duration_s),
            );
            let something =
                act.press.is_some() || act.feed_pct.is_some() || act.speed_pct.is_some() || act.command.is_some();
            hold(something, field("at_s"), "nothing is done: give press, feed_pct, speed_pct or command".to_owned());
            for (name, value) in [("feed_pct", act.feed_pct), ("speed_pct", act.speed_pct)] {
                let value = value.unwrap_or_default();
                hold((0.0..=300.0).contains(&value), field(name), format!("is {value}, expected 0 to 300 per cent"));
            }
        }
        if let Some(routine) = &self.routine {
            for (name, value) in
                [("run_s", routine.run_s), ("rest_s", routine.rest_s), ("feed_change_s", routine.feed_change_s)]
            {
                hold(value >= 1.0, format!("routine.{name}"), format!("is {value}, expected 1 s or more"));
            }
            for (name, value) in [("wet_share", routine.wet_share), ("wet_friction", routine.wet_friction)] {
                hold((0.0..=1.0).contains(&value), format!("routine.{name}"), format!("is {value}, expected 0 to 1"));
            }
            hold(
                0.0 <= routine.feed_min_pct && routine.feed_min_pct <= routine.feed_max_pct,
                "routine.feed_min_pct".to_owned(),
                format!("is {}, expected 0 or more and no more than feed_max_pct", routine.feed_min_pct),
            );
        }
        for (i, fault) in self.faults.iter().enumerate() {
            let field = |name: &str| format!("fault.{i}.{name}");
            hold(
                (0.0..=1.0).contains(&fault.severity),
                field("severity"),
                format!("is {}, expected 0 to 1, where 1 means: {}", fault.severity, fault.kind.meaning()),
            );
            hold(fault.from_s >= 0.0, field("from_s"), format!("is {}, expected 0 s or more", fault.from_s));
            hold(
                fault.from_s < self.duration_s,
                field("from_s"),
                format!("is {}, after the end: the scenario lasts {} s", fault.from_s, self.duration_s),
            );
            if let Some(until) = fault.until_s {
                hold(
                    until > fault.from_s,
                    field("until_s"),
                    format!("is {until}, expected more than from_s, {}: the fault would never act", fault.from_s),
                );
            }
            hold(fault.ramp_s >= 0.0, field("ramp_s"), format!("is {}, expected 0 s or more", fault.ramp_s));
            let needs = fault.kind.needs();
            for (name, given, wanted, example) in [
                ("side", fault.side.is_some(), needs == Where::Side, "\"left\" or \"right\""),
                ("shaft", fault.shaft.is_some(), needs == Where::Shaft, "\"head\" or \"boot\""),
                (
                    "place",
                    fault.place.is_some(),
                    needs == Where::Place,
                    "\"head_left\", \"head_right\", \"boot_left\" or \"boot_right\"",
                ),
            ] {
                let message = if wanted {
                    format!("is missing: this kind of fault needs {name} = {example}")
                } else {
                    format!("has no meaning for this kind of fault: leave it out ({example})")
                };
                hold(given == wanted, field(name), message);
            }
        }
        wrong
    }

    /// Give every fault this severity.
    pub fn set_severity(&mut self, severity: f64) {
        for fault in &mut self.faults {
            fault.severity = severity;
        }
    }
}

fn one_line(message: &str) -> String {
    message.lines().map(str::trim).filter(|line| !line.is_empty()).collect::<Vec<_>>().join("; ")
}

fn merge(into: &mut toml::Table, changes: toml::Table) {
    for (key, value) in changes {
        match (into.get_mut(&key), value) {
            // A starter of another kind replaces the old one: its fields do not mix.
            (Some(toml::Value::Table(old)), toml::Value::Table(new)) if !new.contains_key("kind") => merge(old, new),
            (_, value) => {
                into.insert(key, value);
            }
        }
    }
}
