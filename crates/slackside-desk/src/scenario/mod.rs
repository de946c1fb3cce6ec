//! Scenarios: small TOML files that say which leg, what people do, what goes wrong, and what should come of it.

mod check;
mod doings;
pub mod due;
pub mod estimate;
pub mod fault;
pub mod guard;
pub mod heard;
pub mod legs;
pub mod run;
pub mod score;
mod setting_out;
pub mod settings;
pub mod timeline;
pub mod truth;

use std::path::Path;

use serde::Deserialize;

use crate::files::{Files, WANTED_SCENARIO, unreadable};
use crate::plant::friction::{self, Friction};
use crate::plant::leg::Leg;
use crate::problem::{Refused, of_table, of_toml, place_of, refuse_another};
use fault::Fault;
use run::Obeys;
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
#[serde(untagged, expecting = "expected the name of a built-in leg in quotes, or a [leg] table")]
enum LegGiven {
    Named(String),
    Whole(toml::Table),
}

#[derive(Deserialize)]
#[serde(untagged, expecting = "expected the name of a set of friction in quotes, or a [friction] table")]
enum FrictionGiven {
    Named(String),
    Whole(toml::Table),
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
    #[serde(default = "yes")]
    feeder_wired: bool,
    #[serde(default)]
    timeline: Vec<Act>,
    routine: Option<Routine>,
    #[serde(default, rename = "fault")]
    faults: Vec<Fault>,
    label: Label,
}

/// What such a file is called in messages.
const WHAT: &str = "scenario";

const fn yes() -> bool {
    true
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
    /// Whether the feeder is wired to the feed permit; else it feeds on.
    pub feeder_wired: bool,
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
    /// What motor and feed obey with a monitor in the loop: its permits, unless the scenario says otherwise.
    #[must_use]
    pub fn obeys(&self) -> Obeys {
        if self.obey_permits == Some(false) { Obeys::Interlock } else { Obeys::Permits }
    }

    /// Read a scenario from a file.
    ///
    /// # Errors
    /// The file cannot be read, is not TOML, has an unknown or a missing key, or a figure breaks a rule: each with its line.
    pub fn read(files: &dyn Files, path: &Path) -> Result<Self, Refused> {
        let refused = |error| Refused::whole(WHAT, path.display().to_string(), unreadable(&error, WANTED_SCENARIO));
        let text = files.text(path).map_err(refused)?;
        Self::parse(&text, path)
    }

    /// Read a scenario from text; `path` is for its name and for messages.
    ///
    /// # Errors
    /// As [`read`](Self::read).
    pub fn parse(text: &str, path: &Path) -> Result<Self, Refused> {
        let name = path.display().to_string();
        let single = |place, key: &str, message| Refused::one(WHAT, &name, place, key, message);
        refuse_another(WHAT, "a scenario", &name, text, WANTED_SCENARIO)?;
        let file: File = toml::from_str(text).map_err(|error| {
            let (place, said) = of_toml(text, &error);
            single(place, "", said)
        })?;
        let (mut table, own) = match file.leg {
            LegGiven::Named(named) => match legs::built_in(&named) {
                Some(table) => (table, false),
                None => {
                    let known = legs::NAMES.join(", ");
                    let message =
                        format!("no leg is called \"{named}\"; the built-in legs are {known}, or give a [leg] table");
                    return Err(single(place_of(text, "leg"), "leg", message));
                }
            },
            LegGiven::Whole(table) => (table, true),
        };
        merge(&mut table, file.leg_changes);
        let grip = match file.friction {
            None => Friction::default(),
            Some(FrictionGiven::Whole(given)) => Friction::deserialize(toml::Value::Table(given)).map_err(|error| {
                let (place, key, message) = of_table(text, "friction", &error);
                single(place, &key, message)
            })?,
            Some(FrictionGiven::Named(name)) => friction::built_in(&name).ok_or_else(|| {
                let known = friction::SETS.join(", ");
                let message = format!(
                    "no set of friction is called \"{name}\"; the built-in sets are {known}, or give a [friction] table"
                );
                single(place_of(text, "friction"), "friction", message)
            })?,
        };
        let mut leg = Leg::deserialize(toml::Value::Table(table)).map_err(|error| {
            let (place, key, message) = of_table(text, if own { "leg" } else { "leg_changes" }, &error);
            single(place, &key, message)
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
            feeder_wired: file.feeder_wired,
            timeline: file.timeline,
            routine: file.routine,
            faults: file.faults,
            label: file.label,
        };
        check::check(&scenario, text, own).refuse(WHAT, &name)?;
        Ok(scenario)
    }

    /// Give every fault this severity.
    pub fn set_severity(&mut self, severity: f64) {
        for fault in &mut self.faults {
            fault.severity = severity;
        }
    }
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
