//! The traces of a study, measured once each.

use std::collections::HashMap;
use std::io;
use std::path::{Path, PathBuf};

use slackside::conditions::Condition;
use slackside::input::Input;
use slackside::settings::{Checked, Settings};

use super::label::{self, AlarmDue, Label, Stretch};
use super::run::HeatTables;
use super::store::{Measuring, Store};
use super::study::{Study, fingerprint, read_settings};
use crate::crew::Crew;
use crate::files::Files;
use crate::replay::check_units;
use crate::scenario::Scenario;
use crate::scenario::run::{Permits, Summary, Watch, run as simulate};
use crate::scenario::settings::{Commissioned, settings_for};
use crate::scenario::truth::Row;
use crate::trace::Reader;

/// One trace of a study.
pub struct Case {
    /// Its name: a file, or scenario, seed and severity.
    pub name: String,
    /// Where it came from.
    pub source: Source,
    /// Its motion.
    pub store: Store,
    /// The leg it ran on, with that leg's limits.
    pub settings: Checked,
    /// What should come of it.
    pub label: Label,
    /// Whether it is kept for the proof.
    pub held_out: bool,
    /// Slip heat for every time constant of the study.
    pub heat: HeatTables,
}

/// Where a trace comes from, so that it can be seen again.
#[derive(Clone, Debug)]
pub enum Source {
    /// A recording.
    Recorded(PathBuf),
    /// A run of a scenario.
    Simulated {
        /// The scenario file.
        scenario: PathBuf,
        /// The seed of the run.
        seed: u64,
        /// The severity of its faults, if not the scenario's own.
        severity: Option<f64>,
    },
}

impl Source {
    /// The commands that show it under the settings in `chosen`.
    #[must_use]
    pub fn commands(&self, chosen: &str, bench: bool) -> String {
        let bench = if bench { " --bench" } else { "" };
        match self {
            Self::Recorded(path) => format!("slackside replay {} --settings {chosen}{bench}", path.display()),
            Self::Simulated { scenario, seed, severity } => {
                let severity = severity.map_or_else(String::new, |severity| format!(" --severity {severity}"));
                format!("slackside simulate {} --seed {seed}{severity} --out trace.csv", scenario.display())
            }
        }
    }
}

/// Read, simulate and measure everything.
///
/// # Errors
/// A trace or a label is missing or broken, or a scenario does not fit: before any setting is judged.
pub fn load(
    study: &Study,
    files: &dyn Files,
    crew: &impl Crew,
    progress: &(dyn Fn(u64) + Sync),
) -> crate::error::Result<Vec<Case>> {
    // Labels first: a missing one must not cost the reading of a year.
    let labels: Vec<Label> = study
        .traces
        .iter()
        .map(|trace| label::read(files, &trace.label.clone().unwrap_or_else(|| label::sidecar(&trace.file))))
        .collect::<Result<_, _>>()?;
    let mut scenarios = Vec::new();
    for family in &study.families {
        let scenario = Scenario::read(files, &family.scenario)?;
        let commissioned = Commissioned::measure(&scenario.leg);
        let mut settings = settings_for(&scenario.leg, &commissioned);
        let own_heat = settings.limits.slip_heat;
        settings.limits.clone_from(&study.base.limits);
        settings.limits.slip_heat = own_heat;
        let settings = study.check(settings).map_err(|first| misfit(&family.scenario, &first))?;
        scenarios.push((scenario, commissioned, settings));
    }
    let mut jobs: Vec<Job<'_>> = Vec::new();
    for (trace, label) in study.traces.iter().zip(labels) {
        let settings = match &trace.settings {
            None => study.base.clone(),
            Some(path) => {
                let mut settings = Settings::clone(&read_settings(files, path, study.bench)?.checked);
                let own_heat = settings.limits.slip_heat;
                settings.limits.clone_from(&study.base.limits);
                settings.limits.slip_heat = own_heat;
                study.check(settings).map_err(|first| misfit(path, &first))?
            }
        };
        jobs.push(Job::Recorded(trace, label, settings));
    }
    for (family, (scenario, commissioned, settings)) in study.families.iter().zip(&scenarios) {
        for run in 0..family.runs {
            let severity = family.severity.map(|[from, to]| {
                let part = if family.runs > 1 { f64::from(run) / f64::from(family.runs - 1) } else { 1.0 };
                ((from + (to - from) * part) * 1e3).round() / 1e3
            });
            let seed = family.first_seed + u64::from(run);
            let path = family.scenario.clone();
            let alarm = family.alarm.as_deref().and_then(Condition::from_name);
            jobs.push(Job::Simulated { path, scenario, commissioned, settings, seed, severity, alarm });
        }
    }
    let measured = crew.each(jobs, |job| {
        let case = job.load(study, files);
        progress(1);
        case
    });
    let mut cases = measured.into_iter().collect::<crate::error::Result<Vec<Case>>>()?;
    hold_out(study, &mut cases);
    Ok(cases)
}

fn misfit(path: &Path, first: &str) -> crate::error::Error {
    crate::error::Error::said(format!(
        "{}: the study's limits do not fit its leg: {first}; tune legs that differ so much apart",
        path.display()
    ))
}

#[allow(clippy::large_enum_variant, reason = "one a trace, and gone when it is measured")]
enum Job<'a> {
    Recorded(&'a super::study::Trace, Label, Checked),
    Simulated {
        path: PathBuf,
        scenario: &'a Scenario,
        commissioned: &'a Commissioned,
        settings: &'a Checked,
        seed: u64,
        severity: Option<f64>,
        alarm: Option<Condition>,
    },
}

impl Job<'_> {
    fn load(self, study: &Study, files: &dyn Files) -> crate::error::Result<Case> {
        match self {
            Job::Recorded(trace, label, settings) => {
                let mut reader = Reader::open(files, &trace.file)?;
                let store = Store::measure(&mut reader, &settings)?;
                check_units(reader.name(), reader.survey(), &settings.machine)?;
                let heat = heat_tables(study, &store, &settings);
                let name = trace.file.display().to_string();
                let source = Source::Recorded(trace.file.clone());
                Ok(Case { name, source, store, settings, label, held_out: trace.held_out.unwrap_or(false), heat })
            }
            Job::Simulated { path, scenario, commissioned, settings, seed, severity, alarm } => {
                let mut scenario = scenario.clone();
                if let Some(severity) = severity {
                    scenario.set_severity(severity);
                }
                let mut kept = Kept(Measuring::new(settings));
                let summary = simulate(&scenario, commissioned, seed, false, &mut kept)?;
                let store = kept.0.finish();
                let heat = heat_tables(study, &store, settings);
                let how = severity.map_or_else(String::new, |severity| format!(" severity {severity}"));
                Ok(Case {
                    name: format!("{} seed {seed}{how}", scenario.name),
                    source: Source::Simulated { scenario: path, seed, severity },
                    store,
                    settings: settings.clone(),
                    label: from_truth(&scenario, &summary, study.grace_us, alarm),
                    held_out: false,
                    heat,
                })
            }
        }
    }
}

/// What the plant's truth calls for. Where the author meant a stop and the plant calls for none (a mild run), either is right.
fn from_truth(scenario: &Scenario, summary: &Summary, grace_us: u64, alarm: Option<Condition>) -> Label {
    let micros = |seconds: f64| (seconds * 1e6) as u64;
    let faults = scenario.faults.iter().map(|fault| fault.from_s).min_by(f64::total_cmp);
    let from = scenario.label.from_s.map(f64::from).or(faults).map(micros);
    let end_us = micros(scenario.duration_s);
    let mut label = Label { wrong: scenario.label.wrong.clone(), ..Label::default() };
    match summary.call {
        Some(call) => {
            // By the time it is due, and the grace a study gives on top.
            let called = call.from_us;
            label.due_us = Some(call.due_us);
            label.stop = Some(Stretch { from_us: from.unwrap_or(called).min(called), to_us: call.due_us + grace_us });
        }
        // A mild run: whatever comes while something is wrong is right, and so is nothing.
        None if scenario.label.stop || !scenario.label.wrong.is_empty() => {
            label.may.push(Stretch { from_us: from.unwrap_or(0), to_us: end_us });
        }
        None => {}
    }
    if let Some(condition) = alarm {
        label.alarms.push(AlarmDue {
            condition: Some(condition),
            within: Stretch { from_us: from.unwrap_or(0), to_us: end_us },
        });
    }
    label
}

fn heat_tables(study: &Study, store: &Store, settings: &Checked) -> HeatTables {
    let mut tried = vec![settings.clone()];
    // Every time constant, then limits as long as more tables are worth it.
    let limits = study.knobs.iter().filter(|knob| knob.is_heat_limit());
    for knob in study.knobs.iter().filter(|knob| knob.is_time_constant()).chain(limits) {
        let most = if knob.is_time_constant() { usize::MAX } else { HeatTables::MOST };
        for before in tried.clone() {
            for level in 0..knob.levels() {
                if tried.len() >= most {
                    break;
                }
                let mut changed = Settings::clone(&before);
                knob.turn(&mut changed, level);
                tried.extend(study.check(changed));
            }
        }
    }
    HeatTables::build(store, &tried)
}

struct Kept(Measuring);

impl Watch for Kept {
    fn input(&mut self, input: &Input) -> io::Result<()> {
        self.0.take(*input);
        Ok(())
    }

    fn truth(&mut self, _row: &Row) -> io::Result<()> {
        Ok(())
    }

    fn permits(&mut self, _now_us: u64) -> Permits {
        Permits { run: true, feed: true }
    }
}

/// Keep the asked share of traces for the proof: apart among those that need a stop and those that do not, by chance that depends
/// on the study's seed and the trace's name alone.
fn hold_out(study: &Study, cases: &mut [Case]) {
    let said: HashMap<String, bool> =
        study.traces.iter().filter_map(|trace| Some((trace.file.display().to_string(), trace.held_out?))).collect();
    for needs_stop in [true, false] {
        let mut free: Vec<(u64, usize)> = cases
            .iter()
            .enumerate()
            .filter(|(_, case)| case.label.stop.is_some() == needs_stop && !said.contains_key(&case.name))
            .map(|(number, case)| {
                (
                    fingerprint(format!("{} {}", study.seed, case.name).as_bytes()).wrapping_mul(0x9E37_79B9_7F4A_7C15),
                    number,
                )
            })
            .collect();
        free.sort_unstable();
        let count = (free.len() as f64 * study.held_out).round() as usize;
        for (_, number) in free.into_iter().take(count) {
            cases[number].held_out = true;
        }
    }
}
