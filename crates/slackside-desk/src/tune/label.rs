//! What should have come of a trace: the sidecar file `TRACE.label.toml`.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use serde::Deserialize;
use slackside::conditions::Condition;

use crate::files::{Files, unreadable};
use crate::problem::{Refused, of_toml, place_of};

/// A stretch of time in microseconds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stretch {
    /// It begins.
    pub from_us: u64,
    /// It ends.
    pub to_us: u64,
}

/// An alarm that should come.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AlarmDue {
    /// One of these; empty: any.
    pub any_of: Vec<Condition>,
    /// Within this.
    pub within: Stretch,
}

impl AlarmDue {
    /// Whether an alarm of that condition at that moment is it.
    #[must_use]
    pub fn is_met(&self, condition: Condition, at_us: u64) -> bool {
        (self.any_of.is_empty() || self.any_of.contains(&condition))
            && (self.within.from_us..=self.within.to_us).contains(&at_us)
    }
}

/// What should have come of a trace. A stop or an alarm outside of all that is named here is a nuisance.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Label {
    /// The stop that must come: from when something is wrong, and by when the leg must have been told to stop.
    pub stop: Option<Stretch>,
    /// When that stop is due: where the plant's truth calls for it, in simulated runs; the time by which it must have come, in
    /// recordings.
    pub due_us: Option<u64>,
    /// When a stop or an alarm may come and need not.
    pub may: Vec<Stretch>,
    /// Alarms that should come.
    pub alarms: Vec<AlarmDue>,
    /// What was wrong, in words.
    pub wrong: String,
    /// The leg did what a monitor with the limits of its settings said: its feed stopped where that feed permit dropped.
    pub obeyed: bool,
    /// Beyond this the record says nothing of what other limits would have done, in microseconds.
    pub known_until_us: Option<u64>,
}

impl Label {
    /// From when on whatever comes is no nuisance, in microseconds.
    #[must_use]
    pub fn excused_from_us(&self) -> u64 {
        let alarms = self.alarms.iter().map(|alarm| alarm.within.from_us);
        alarms.chain(self.stop.map(|stop| stop.from_us)).min().unwrap_or(u64::MAX)
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    #[serde(default)]
    wrong: String,
    #[serde(default)]
    nothing_wrong: bool,
    #[serde(default)]
    obeyed: bool,
    known_until_s: Option<f64>,
    stop: Option<StopEntry>,
    #[serde(default)]
    may: Vec<MayEntry>,
    #[serde(default)]
    alarm: Vec<AlarmEntry>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct StopEntry {
    from_s: f64,
    by_s: f64,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct MayEntry {
    from_s: f64,
    to_s: f64,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct AlarmEntry {
    condition: Option<String>,
    from_s: f64,
    by_s: f64,
}

/// Where the label of a trace is looked for: `day.csv.gz` has `day.label.toml` beside it.
#[must_use]
pub fn sidecar(trace: &Path) -> PathBuf {
    let name = trace.file_name().unwrap_or_default().to_string_lossy();
    let stem = name.trim_end_matches(".gz").trim_end_matches(".csv");
    trace.with_file_name(format!("{stem}.label.toml"))
}

/// Read a sidecar.
///
/// # Errors
/// It is not there, is not TOML, or says something impossible: with file, line and mend.
pub fn read(files: &dyn Files, path: &Path) -> Result<Label, Refused> {
    let name = path.display().to_string();
    let refused = |place, key: &str, message: String| Refused::one("label", &name, place, key, message);
    let text = files.text(path).map_err(|error| {
        let mend = "write it with `slackside label TRACE`, so that it is known what should come of the trace";
        refused(None, "", unreadable(&error, mend))
    })?;
    let file: File = toml::from_str(&text).map_err(|error| {
        let (place, said) = of_toml(&text, &error);
        refused(place, "", said)
    })?;
    let micros = |seconds: f64| (seconds * 1e6).round().max(0.0) as u64;
    let stretch = |field: &str, from: f64, to: f64| {
        if from >= 0.0 && to > from && to.is_finite() {
            Ok(Stretch { from_us: micros(from), to_us: micros(to) })
        } else {
            Err(refused(
                place_of(&text, field),
                field,
                format!("runs from {from} s to {to} s: the end must come after the beginning"),
            ))
        }
    };
    let mut label = Label { wrong: file.wrong, obeyed: file.obeyed, ..Label::default() };
    if let Some(until) = file.known_until_s {
        if !(until > 0.0 && until.is_finite()) {
            let message = format!("is {until}, expected a time above 0 s of the trace's own clock");
            return Err(refused(place_of(&text, "known_until_s"), "known_until_s", message));
        }
        label.known_until_us = Some(micros(until));
    }
    if let Some(stop) = file.stop {
        let stop = stretch("stop", stop.from_s, stop.by_s)?;
        label.stop = Some(stop);
        label.due_us = Some(stop.to_us);
    }
    for may in file.may {
        label.may.push(stretch("may", may.from_s, may.to_s)?);
    }
    for alarm in file.alarm {
        let within = stretch("alarm", alarm.from_s, alarm.by_s)?;
        let any_of = match alarm.condition {
            None => Vec::new(),
            Some(name) => vec![Condition::from_name(&name).ok_or_else(|| {
                refused(
                    place_of(&text, "alarm"),
                    "alarm.condition",
                    format!("\"{name}\" is no condition: use a name from the settings file, such as \"slip_high\""),
                )
            })?],
        };
        label.alarms.push(AlarmDue { any_of, within });
    }
    let says = label.stop.is_some() || !label.may.is_empty() || !label.alarms.is_empty();
    if says == file.nothing_wrong {
        let message = if says {
            "is true, and yet a stop or an alarm is called for: remove one of them"
        } else {
            "is missing: say nothing_wrong = true, or what should come ([stop], [[alarm]], [[may]])"
        };
        return Err(refused(place_of(&text, "nothing_wrong"), "nothing_wrong", message.to_owned()));
    }
    Ok(label)
}

/// Write a sidecar's text.
#[must_use]
pub fn write(label: &Label) -> String {
    let seconds = |micros: u64| micros as f64 / 1e6;
    let mut text = "# What should have come of the trace beside this file. Times in seconds of the trace.\n".to_owned();
    let _ = writeln!(text, "wrong = {:?}", label.wrong);
    if label.stop.is_none() && label.may.is_empty() && label.alarms.is_empty() {
        text.push_str("nothing_wrong = true           # any stop and any alarm is a nuisance\n");
    }
    if label.obeyed {
        text.push_str("obeyed = true                  # feed and drive did what the leg's own limits said\n");
    }
    if let Some(until) = label.known_until_us {
        let _ =
            writeln!(text, "known_until_s = {}          # beyond it nothing is known of other limits", seconds(until));
    }
    if let Some(stop) = label.stop {
        text.push_str("\n[stop]                         # it must come\n");
        let _ = writeln!(text, "from_s = {}                # when something begins to be wrong", seconds(stop.from_us));
        let _ = writeln!(
            text,
            "by_s = {}                  # by when the leg must have been told to stop",
            seconds(stop.to_us)
        );
    }
    for may in &label.may {
        text.push_str("\n[[may]]                        # whatever comes in this stretch is excused\n");
        let _ = writeln!(text, "from_s = {}\nto_s = {}", seconds(may.from_us), seconds(may.to_us));
    }
    for alarm in &label.alarms {
        text.push_str("\n[[alarm]]                      # it should come\n");
        if let [condition] = alarm.any_of[..] {
            let _ = writeln!(text, "condition = \"{}\"", condition.name());
        }
        let _ = writeln!(text, "from_s = {}\nby_s = {}", seconds(alarm.within.from_us), seconds(alarm.within.to_us));
    }
    text
}
