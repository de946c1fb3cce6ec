//! The traces of a study, measured once each.

use std::io;
use std::path::{Path, PathBuf};

use slackside::conditions::Condition;
use slackside::input::Input;
use slackside::settings::{Checked, Settings};
use slackside::units::Micros;

use super::course::Course;
use super::ending::known_until_us;
use super::expected::Expected;
use super::heat::HeatTables;
use super::label::{self, AlarmDue, Label, Stretch};
use super::proof::{group, hold_out, refuse_copies};
use super::store::{Measuring, Store};
use super::study::{Study, fingerprint, read_settings};
use crate::crew::Crew;
use crate::files::Files;
use crate::replay::check_units;
use crate::scenario::Scenario;
use crate::scenario::fault::Fault;
use crate::scenario::run::{Obeys, Permits, Watch, run as simulate};
use crate::scenario::score::calls::Calls;
use crate::scenario::score::population::{self, Drawn};
use crate::scenario::settings::{Commissioned, settings_for};
use crate::scenario::truth::Row;
use crate::trace::{Reader, write_row};

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
    pub expected: Expected,
    /// The plant's truth, of a simulated run.
    pub course: Option<Course>,
    /// Whether it is kept for the proof.
    pub held_out: bool,
    /// Slip heat for every time constant of the study.
    pub heat: HeatTables,
    /// What kind of day or upset it is, in words.
    pub family: String,
    /// The leg's name.
    pub leg: String,
    /// What tells its family from others, whatever they are called.
    pub(super) kind: String,
    /// The number of its family on its leg.
    pub group: u32,
    /// A number that changes with what is in it.
    pub content: u64,
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
    /// A shift of a sound leg.
    Shift {
        /// The seed of all chance.
        seed: u64,
        /// Its number on the page of scores.
        number: usize,
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
            Self::Shift { seed, number } => {
                format!("slackside simulate --healthy {number} --seed {seed} --interlock --out trace.csv")
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
        let settings = settings_for(&scenario.leg, &commissioned);
        let settings = with_limits(study, settings).map_err(|first| misfit(&family.scenario, &first))?;
        scenarios.push((scenario, commissioned, settings));
    }
    let mut jobs: Vec<Job<'_>> = Vec::new();
    for (trace, label) in study.traces.iter().zip(labels) {
        let (own, settings) = match &trace.settings {
            None => (study.base.clone(), study.base.clone()),
            Some(path) => {
                let own = read_settings(files, path, study.bench)?.checked;
                let settings = with_limits(study, Settings::clone(&own)).map_err(|first| misfit(path, &first))?;
                (own, settings)
            }
        };
        jobs.push(Job::Recorded { trace, label, own, settings });
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
            let healthy = family.healthy;
            jobs.push(Job::Simulated { path, scenario, commissioned, settings, seed, severity, alarm, healthy });
        }
    }
    for population in &study.populations {
        jobs.extend(population.numbers().map(|number| Job::Shift { seed: population.seed, number }));
    }
    let measured = crew.each(jobs, |job| {
        let case = job.load(study, files);
        progress(1);
        case
    });
    let mut cases = measured.into_iter().collect::<crate::error::Result<Vec<Case>>>()?;
    refuse_copies(&cases)?;
    group(&mut cases);
    hold_out(study, &mut cases)?;
    Ok(cases)
}

/// A leg with the limits of the study, but for its own slip heat.
fn with_limits(study: &Study, mut settings: Settings) -> Result<Checked, String> {
    let own_heat = settings.limits.slip_heat;
    settings.limits.clone_from(&study.base.limits);
    settings.limits.slip_heat = own_heat;
    study.check(settings)
}

fn misfit(path: &Path, first: &str) -> crate::error::Error {
    crate::error::Error::said(format!(
        "{}: the study's limits do not fit its leg: {first}; tune legs that differ so much apart",
        path.display()
    ))
}

#[allow(clippy::large_enum_variant, reason = "one a trace, and gone when it is measured")]
enum Job<'a> {
    Recorded {
        trace: &'a super::study::Trace,
        label: Label,
        own: Checked,
        settings: Checked,
    },
    Simulated {
        path: PathBuf,
        scenario: &'a Scenario,
        commissioned: &'a Commissioned,
        settings: &'a Checked,
        seed: u64,
        severity: Option<f64>,
        alarm: Option<Condition>,
        healthy: bool,
    },
    Shift {
        seed: u64,
        number: usize,
    },
}

impl Job<'_> {
    fn load(self, study: &Study, files: &dyn Files) -> crate::error::Result<Case> {
        match self {
            Job::Recorded { trace, label, own, settings } => recorded(study, files, trace, label, &own, settings),
            Job::Simulated { path, scenario, commissioned, settings, seed, severity, alarm, healthy } => {
                let mut scenario = scenario.clone();
                if let Some(severity) = severity {
                    scenario.set_severity(severity);
                }
                let how = severity.map_or_else(String::new, |severity| format!(" severity {severity}"));
                let run = Run { scenario: &scenario, commissioned, seed, healthy };
                let mut case = run.measured(study, settings.clone())?;
                case.name = format!("{} seed {seed}{how}", scenario.name);
                case.source = Source::Simulated { scenario: path, seed, severity };
                if let Some(condition) = alarm {
                    let within = Stretch { from_us: case.expected.first_sign_us(), to_us: case.store.end().get() };
                    case.expected.alarms.push(AlarmDue { any_of: vec![condition], within });
                }
                Ok(case)
            }
            Job::Shift { seed, number } => {
                let (stratum, drawn) = population::healthy(seed, number)?;
                let name = format!("{} shift {number} seed {seed}", drawn.scenario.leg.name);
                let settings = with_limits(study, Settings::clone(&drawn.settings))
                    .map_err(|first| misfit(Path::new(&name), &first))?;
                let Drawn { scenario, commissioned, .. } = &drawn;
                let run = Run { scenario, commissioned, seed: scenario.seed, healthy: true };
                let mut case = run.measured(study, settings)?;
                case.name = name;
                case.source = Source::Shift { seed, number };
                case.kind = stratum.words().to_owned();
                case.family = stratum.words().split(':').next().unwrap_or_default().to_owned();
                Ok(case)
            }
        }
    }
}

/// A run of the plant, which nothing that is said of it stops. Its feeder is interlocked, as any is: feed that heaps up in a leg that
/// stands would stop it under every setting, and say nothing of any.
struct Run<'a> {
    scenario: &'a Scenario,
    commissioned: &'a Commissioned,
    seed: u64,
    healthy: bool,
}

impl Run<'_> {
    fn measured(&self, study: &Study, settings: Checked) -> crate::error::Result<Case> {
        let Self { scenario, commissioned, seed, healthy } = *self;
        let course = Course::new(scenario.leg.head_radius());
        let mut kept = Kept { measuring: Measuring::new(&settings), course };
        let summary = simulate(scenario, commissioned, seed, Obeys::Interlock, &mut kept)?;
        let store = kept.measuring.finish();
        let heat = heat_tables(study, &store, &settings);
        // Which scenario it is: all that bears on the run, whatever the file is called.
        let Scenario { leg, duration_s, step_us, timeline, routine, faults, .. } = scenario;
        let faults_apart: Vec<_> = faults.iter().map(|fault| Fault { severity: 0.0, ..fault.clone() }).collect();
        let kind = format!("{leg:?} {duration_s} {step_us} {timeline:?} {routine:?}");
        let content = format!("{kind} {faults:?} {seed}");
        let calls = Calls::of(scenario, &summary, healthy);
        Ok(Case {
            name: String::new(),
            source: Source::Shift { seed, number: 0 },
            store,
            settings,
            expected: Expected::of_truth(&calls, study.grace_us, &scenario.label.wrong),
            course: Some(kept.course),
            held_out: false,
            heat,
            family: scenario.name.clone(),
            leg: scenario.leg.name.clone(),
            kind: format!("{:016x}", fingerprint(format!("{kind} {faults_apart:?}").as_bytes())),
            group: 0,
            content: fingerprint(content.as_bytes()),
        })
    }
}

fn recorded(
    study: &Study,
    files: &dyn Files,
    trace: &super::study::Trace,
    mut label: Label,
    own: &Checked,
    settings: Checked,
) -> crate::error::Result<Case> {
    let mut reader = Reader::open(files, &trace.file)?;
    let mut content = Content::default();
    let seen = (&mut reader).inspect(|input| {
        if let Ok(input) = input {
            content.take(input);
        }
    });
    let store = Store::measure(seen, &settings)?;
    check_units(reader.name(), reader.survey(), &settings.machine)?;
    let heat = heat_tables(study, &store, &settings);
    label.known_until_us = known_until_us(&store, own, &label);
    let family = trace.family.clone().unwrap_or_else(|| match label.wrong.as_str() {
        "" if label.stop.is_none() && label.alarms.is_empty() => "nothing wrong".to_owned(),
        wrong => wrong.to_owned(),
    });
    Ok(Case {
        name: trace.file.display().to_string(),
        source: Source::Recorded(trace.file.clone()),
        store,
        expected: Expected::of_label(&label),
        course: None,
        held_out: false,
        heat,
        kind: format!("recorded {family}"),
        family,
        leg: settings.machine.leg.to_string(),
        group: 0,
        content: content.hash,
        settings,
    })
}

/// What is in a recording, whenever it was and however its file is written.
#[derive(Default)]
struct Content {
    first: Option<Micros>,
    hash: u64,
    line: Vec<u8>,
}

impl Content {
    fn take(&mut self, input: &Input) {
        let first = *self.first.get_or_insert(input.at);
        let at = Micros::new(input.at.get().saturating_sub(first.get()));
        self.line.clear();
        write_row(&Input::new(at, input.signal), &mut self.line);
        self.hash = self.hash.rotate_left(5) ^ fingerprint(&self.line);
    }
}

fn heat_tables(study: &Study, store: &Store, settings: &Checked) -> HeatTables {
    let mut tried = vec![settings.clone()];
    // From the least on that slip below zero may heat from: no other limit of it makes more.
    if let Some(knob) = study.knobs.iter().find(|knob| knob.is_below_zero()) {
        let mut least = Settings::clone(settings);
        knob.turn(&mut least, 0);
        tried.extend(study.check(least));
    }
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

struct Kept {
    measuring: Measuring,
    course: Course,
}

impl Watch for Kept {
    fn input(&mut self, input: &Input) -> io::Result<()> {
        self.measuring.take(*input);
        Ok(())
    }

    fn truth(&mut self, row: &Row) -> io::Result<()> {
        self.course.take(row);
        Ok(())
    }

    fn permits(&mut self, _now_us: u64) -> Permits {
        Permits { run: true, feed: true }
    }
}
