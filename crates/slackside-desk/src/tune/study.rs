//! The study file: which traces, which limits over what ranges, how to search.
//!
//! ```toml
//! name = "Slip limits of leg 3"
//! settings = "leg-3.toml"        # the leg; left out: the built-in example leg
//! # bench = true                 # settings of a test bench, whose speeds and sizes no leg has
//! held_out_pct = 30              # traces kept for the proof
//!
//! [[trace]]                      # a recording, with RECORDING.label.toml beside it
//! file = "recordings/choke.csv.gz"
//!
//! [[family]]                     # simulated runs of one scenario
//! scenario = "../scenarios/wet-grain-film.toml"
//! runs = 20
//! severity = [0.3, 1.0]
//!
//! [[population]]                 # sound legs worked hard, on which any stop and any alarm is one too many
//! leg = "millbrook-leg-3"
//! shifts = 24
//!
//! [[limit]]
//! key = "slip_very_high.setpoint_pct"
//! from = 8.0
//! to = 16.0
//! step = 1.0
//!
//! [search]
//! method = "latin_hypercube"     # or "grid", "evolution"
//! settings = 2000
//! ```

use std::path::{Path, PathBuf};

use serde::Deserialize;
use slackside::conditions::Condition;
use slackside::settings::{Checked, Rule, Settings};

use super::knob::Knob;
use crate::files::{Files, WANTED_STUDY, unreadable};
use crate::problem::{Findings, Refused, of_toml, refuse_another};
use crate::scenario::legs;
use crate::scenario::score::Stratum;
use crate::settings::{self, Loaded};

/// How settings are picked.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Method {
    /// Every combination.
    Grid,
    /// So many, spread so that every value of every limit is tried equally often.
    LatinHypercube,
    /// So many, bred towards the best trade-offs (NSGA-II).
    Evolution,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    name: String,
    settings: Option<PathBuf>,
    #[serde(default)]
    bench: bool,
    #[serde(default = "thirty")]
    held_out_pct: f64,
    #[serde(default = "one")]
    seed: u64,
    #[serde(default)]
    grace_s: f64,
    #[serde(default, rename = "trace")]
    traces: Vec<Trace>,
    #[serde(default, rename = "family")]
    families: Vec<Family>,
    #[serde(default, rename = "population")]
    populations: Vec<Population>,
    #[serde(default, rename = "limit")]
    limits: Vec<LimitEntry>,
    search: Search,
}

/// What such a file is called in messages.
const WHAT: &str = "study";

const fn thirty() -> f64 {
    30.0
}
const fn one() -> u64 {
    1
}

/// A recording.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Trace {
    /// The trace file.
    pub file: PathBuf,
    /// Its label, if not beside it.
    pub label: Option<PathBuf>,
    /// The settings of the leg it was recorded on, if not the study's: its machine counts, its limits do not.
    pub settings: Option<PathBuf>,
    /// What kind of day or upset it is; left out: what its label says was wrong. Recordings of one kind on one leg are tuned on or
    /// held out together.
    pub family: Option<String>,
    /// Whether it is held out, with all of its family on its leg; left out: chance decides.
    pub held_out: Option<bool>,
}

/// Simulated runs of one scenario.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Family {
    /// The scenario file.
    pub scenario: PathBuf,
    /// How many runs, each with its own seed.
    pub runs: u32,
    /// The seed of the first.
    #[serde(default = "one")]
    pub first_seed: u64,
    /// Severity from the first run to the last, evenly; left out: the scenario's own.
    pub severity: Option<[f64; 2]>,
    /// A condition whose alarm should come in every run, beside what the page of scores asks for.
    pub alarm: Option<String>,
    /// Its faults are what any sound leg lives with, such as a cold morning: they excuse nothing.
    #[serde(default)]
    pub healthy: bool,
}

impl Family {
    fn seeds(&self) -> std::ops::Range<u64> {
        self.first_seed..self.first_seed.saturating_add(u64::from(self.runs))
    }
}

/// Sound legs drawn at random and worked hard, as on the page of scores: an hour each, every kind of hardship in turn, but for those
/// that need another drive.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Population {
    /// The built-in leg they are drawn from.
    pub leg: String,
    /// How many shifts.
    pub shifts: u32,
    /// The seed of all chance in them.
    #[serde(default = "one")]
    pub seed: u64,
}

impl Population {
    /// The numbers of its shifts on the page of scores.
    pub fn numbers(&self) -> impl Iterator<Item = usize> {
        let strata = Stratum::ALL.len();
        let leg = legs::NAMES.iter().position(|name| *name == self.leg).unwrap_or(0);
        let rounds = (0..).map(move |round| (round * legs::NAMES.len() + leg) * strata);
        let of_this_drive = (0..strata).filter(|stratum| Stratum::ALL[*stratum] != Stratum::VariableSpeed);
        rounds
            .flat_map(move |first| of_this_drive.clone().map(move |stratum| first + stratum))
            .take(self.shifts as usize)
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct LimitEntry {
    key: String,
    from: f64,
    to: f64,
    step: f64,
}

/// How to search.
#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Search {
    /// The way.
    pub method: Method,
    /// How many settings; for a grid the most it may be.
    pub settings: Option<usize>,
    /// Settings bred at a time.
    #[serde(default = "eighty")]
    pub population: usize,
}

const fn eighty() -> usize {
    80
}

/// The most settings a study may have.
pub const MOST_SETTINGS: usize = 1_000_000;

/// A study that may begin.
#[derive(Clone, Debug)]
pub struct Study {
    /// The file, for messages.
    pub path: PathBuf,
    /// What it is called.
    pub name: String,
    /// The leg, with the limits as they stand.
    pub base: Checked,
    /// Where the leg came from.
    pub base_name: String,
    /// Whether whoever wrote its settings measures in feet and inches.
    pub feet: bool,
    /// Whether settings are held against the rules for a test bench only.
    pub bench: bool,
    /// Share of the traces held out, 0 to 1.
    pub held_out: f64,
    /// The seed of all chance.
    pub seed: u64,
    /// How long after a stop was called for it still counts as in time, in microseconds.
    pub grace_us: u64,
    /// Recordings.
    pub traces: Vec<Trace>,
    /// Simulated runs.
    pub families: Vec<Family>,
    /// Sound legs worked hard.
    pub populations: Vec<Population>,
    /// The limits that vary.
    pub knobs: Vec<Knob>,
    /// How to search.
    pub search: Search,
    /// A number that changes with the text of the study.
    pub fingerprint: u64,
}

impl Study {
    /// Read a study.
    ///
    /// # Errors
    /// It cannot be read or cannot begin: all reasons at once, with file, line and mend.
    pub fn read(files: &dyn Files, path: &Path) -> Result<Self, Refused> {
        let name = path.display().to_string();
        let text = files.text(path).map_err(|error| Refused::whole(WHAT, &name, unreadable(&error, WANTED_STUDY)))?;
        refuse_another(WHAT, "a study", &name, &text, WANTED_STUDY)?;
        let file: File = toml::from_str(&text).map_err(|error| {
            let (place, said) = of_toml(&text, &error);
            Refused::one(WHAT, &name, place, "", plainly(&said))
        })?;
        let place = Directory { files, of: path.parent().unwrap_or(Path::new("")) };
        let loaded = match &file.settings {
            Some(settings) => read_settings(files, &place.beside(settings), file.bench)?,
            None => Loaded::example(),
        };
        let mut found = Findings::new(&text);
        whole(&mut found, &file);
        for number in 0..file.traces.len() {
            trace(&mut found, &file.traces, number, &place);
        }
        for number in 0..file.families.len() {
            family(&mut found, &file.families, number, &place);
        }
        for number in 0..file.populations.len() {
            population(&mut found, &file.populations, number);
        }
        let knobs = knobs(&mut found, &file, &loaded.checked);
        let search = search(&mut found, file.search, &knobs);
        found.refuse(WHAT, &name)?;
        let trace = |trace: Trace| Trace {
            file: place.beside(&trace.file),
            label: trace.label.as_deref().map(|path| place.beside(path)),
            settings: trace.settings.as_deref().map(|path| place.beside(path)),
            ..trace
        };
        let family = |family: Family| Family { scenario: place.beside(&family.scenario), ..family };
        Ok(Self {
            path: path.to_path_buf(),
            name: file.name,
            base: loaded.checked,
            base_name: loaded.source_name,
            feet: loaded.feet,
            bench: file.bench,
            held_out: file.held_out_pct / 100.0,
            seed: file.seed,
            grace_us: (file.grace_s * 1e6) as u64,
            traces: file.traces.into_iter().map(trace).collect(),
            families: file.families.into_iter().map(family).collect(),
            populations: file.populations,
            knobs,
            search,
            fingerprint: fingerprint(text.as_bytes()),
        })
    }

    /// The settings at these levels, on the given leg; `Err` with the first broken rule if they do not go together.
    pub fn settings(&self, machine: &Settings, levels: &[u16]) -> Result<Checked, String> {
        let mut settings = machine.clone();
        for (knob, level) in self.knobs.iter().zip(levels) {
            knob.turn(&mut settings, *level);
        }
        self.check(settings)
    }

    /// The levels at which every limit stands as it does now.
    #[must_use]
    pub fn standing(&self) -> Vec<u16> {
        self.knobs.iter().map(|knob| knob.standing(&self.base)).collect()
    }

    /// Hold settings against the rules that this study goes by; `Err` with the first that is broken.
    pub fn check(&self, settings: Settings) -> Result<Checked, String> {
        let checked = if self.bench { settings.check_for_bench() } else { settings.check() };
        checked.map_err(|violations| {
            violations
                .first()
                .map_or_else(String::new, |violation| format!("{}: {}", violation.field.key(), violation.reason()))
        })
    }
}

/// The directory from which a study counts its paths.
struct Directory<'a> {
    files: &'a dyn Files,
    of: &'a Path,
}

impl Directory<'_> {
    fn beside(&self, file: &Path) -> PathBuf {
        self.of.join(file)
    }

    fn same_file(&self, one: &Path, other: &Path) -> bool {
        self.files.same_file(&self.beside(one), &self.beside(other))
    }
}

fn whole(found: &mut Findings<'_>, file: &File) {
    if !(0.0..=90.0).contains(&file.held_out_pct) {
        found.tell("held_out_pct", format!("is {}, expected 0 to 90 per cent", file.held_out_pct));
    }
    if !(0.0..=3_600.0).contains(&file.grace_s) {
        found.tell("grace_s", format!("is {}, expected 0 to 3,600 s", file.grace_s));
    }
    if file.traces.is_empty() && file.families.is_empty() && file.populations.is_empty() {
        found.tell("trace", "there is no [[trace]], no [[family]] and no [[population]]: name what to tune on");
    }
    if file.limits.is_empty() {
        found.tell("limit", "no [[limit]] varies: name one with its range");
    }
}

fn trace(found: &mut Findings<'_>, all: &[Trace], number: usize, place: &Directory<'_>) {
    let trace = &all[number];
    let recording = place.beside(&trace.file);
    if all[..number].iter().any(|other| place.same_file(&other.file, &trace.file)) {
        let message = format!(
            "{} is there twice: remove one, since it would count double, and might be tuned on and held out at once",
            recording.display()
        );
        found.tell(format!("trace.{number}.file"), message);
    }
    let mut there = |field: &str, path: &Path, mend: &str| {
        if !place.files.is_file(path) {
            found.tell(format!("trace.{number}.{field}"), format!("{} is not there: {mend}", path.display()));
        }
    };
    there("file", &recording, "give the path of a recording, counted from the study's own directory");
    if let Some(settings) = &trace.settings {
        there("settings", &place.beside(settings), "give the path of the settings of its leg");
    }
    let label = trace.label.as_deref().map_or_else(|| super::label::sidecar(&recording), |path| place.beside(path));
    let field = if trace.label.is_some() { "label" } else { "file" };
    there(field, &label, "say what should come of the trace with `slackside label`");
}

fn family(found: &mut Findings<'_>, all: &[Family], number: usize, place: &Directory<'_>) {
    let family = &all[number];
    let key = |name: &str| format!("family.{number}.{name}");
    let path = place.beside(&family.scenario);
    if !place.files.is_file(&path) {
        let mend = "give the path of a scenario, counted from the study's own directory";
        found.tell(key("scenario"), format!("{} is not there: {mend}", path.display()));
    }
    if family.runs == 0 || family.runs > 100_000 {
        found.tell(key("runs"), format!("is {}, expected 1 to 100,000", family.runs));
    }
    if let Some([from, to]) = family.severity
        && !(0.0 <= from && from <= to && to <= 1.0)
    {
        let message = format!("is [{from}, {to}], expected two numbers from 0 to 1, the smaller first");
        found.tell(key("severity"), message);
    }
    if let Some(name) = family.alarm.as_ref().filter(|name| Condition::from_name(name).is_none()) {
        let message = format!("\"{name}\" is no condition: use a name from the settings file, such as \"mistracking\"");
        found.tell(key("alarm"), message);
    }
    let same = |other: &Family| {
        let (one, two) = (other.seeds(), family.seeds());
        place.same_file(&other.scenario, &family.scenario) && one.start < two.end && two.start < one.end
    };
    if let Some(first) = all[..number].iter().position(same) {
        let message = format!(
            "is that of family.{first}, and some of the seeds are the same: the same chance would count double, and might be tuned on and held out at once; give this one first_seed = {}",
            all.iter().map(|family| family.seeds().end).max().unwrap_or(1)
        );
        found.tell(key("scenario"), message);
    }
}

fn population(found: &mut Findings<'_>, all: &[Population], number: usize) {
    let population = &all[number];
    if !legs::NAMES.contains(&population.leg.as_str()) {
        let known = legs::NAMES.join(", ");
        let message = format!("no leg is called \"{}\": one of {known}", population.leg);
        found.tell(format!("population.{number}.leg"), message);
    }
    if !(1..=10_000).contains(&population.shifts) {
        let message = format!("is {}, expected 1 to 10,000 shifts of an hour", population.shifts);
        found.tell(format!("population.{number}.shifts"), message);
    }
    let same = |other: &Population| other.leg == population.leg && other.seed == population.seed;
    if all[..number].iter().any(same) {
        let message = format!("the same shifts of {} are there already: give another seed", population.leg);
        found.tell(format!("population.{number}.seed"), message);
    }
}

fn knobs(found: &mut Findings<'_>, file: &File, base: &Checked) -> Vec<Knob> {
    let mut knobs: Vec<Knob> = Vec::new();
    for (number, limit) in file.limits.iter().enumerate() {
        match Knob::new(&limit.key, limit.from, limit.to, limit.step) {
            Ok(knob) => {
                for (field, level) in [("from", 0), ("to", knob.levels() - 1)] {
                    if let Some(reason) = out_of_the_question(&knob, level, base, file.bench) {
                        found.tell(format!("limit.{number}.{field}"), reason);
                    }
                }
                if knobs.iter().any(|other| other.key == knob.key) {
                    found.tell(format!("limit.{number}.key"), format!("\"{}\" is there twice: remove one", knob.key));
                }
                knobs.push(knob);
            }
            Err((field, reason)) => found.tell(format!("limit.{number}.{field}"), reason),
        }
    }
    knobs
}

fn search(found: &mut Findings<'_>, search: Search, knobs: &[Knob]) -> Search {
    let all: f64 = knobs.iter().map(|knob| f64::from(knob.levels())).product();
    let most = search.settings.unwrap_or(if search.method == Method::Grid { MOST_SETTINGS } else { 2_000 });
    if most == 0 || most > MOST_SETTINGS {
        found.tell("search.settings", format!("is {most}, expected 1 to {MOST_SETTINGS}"));
    } else if search.method == Method::Grid && all > most as f64 {
        let message = format!(
            "a grid of these limits has {all} settings, more than {most}: make steps larger, or use \"latin_hypercube\""
        );
        found.tell("search.method", message);
    }
    if !(8..=10_000).contains(&search.population) {
        found.tell("search.population", format!("is {}, expected 8 to 10,000", search.population));
    }
    Search { settings: Some(most), ..search }
}

/// Read a leg's settings, or those of a test bench.
///
/// # Errors
/// They cannot be read, or break a rule.
pub fn read_settings(files: &dyn Files, path: &Path, bench: bool) -> Result<Loaded, Refused> {
    if bench { settings::read_for_bench(files, path) } else { settings::read(files, path) }
}

/// What the reader of the file says, in words instead of types.
fn plainly(said: &str) -> String {
    let words = [
        ("missing field `search`", "missing field `search`: add [search] with method = \"grid\", or another"),
        ("missing field `name`", "missing field `name`: say what the report shall be headed with"),
    ];
    words.iter().fold(said.to_owned(), |said, (from, to)| said.replace(from, to))
}

/// Why an end of a ladder can be part of no setting at all, if it can not: out of range, or beyond the code's 20 %.
fn out_of_the_question(knob: &Knob, level: u16, base: &Checked, bench: bool) -> Option<String> {
    let mut settings = Settings::clone(base);
    knob.turn(&mut settings, level);
    let violations = if bench { settings.check_for_bench() } else { settings.check() }.err()?;
    let (section, _) = knob.place();
    let hopeless = |rule: Rule| matches!(rule, Rule::BeyondTheCode | Rule::Range);
    violations.iter().find(|violation| hopeless(violation.rule)).map(|violation| {
        let key = violation.field.key().to_string();
        let about = if key.starts_with(&section) { String::new() } else { format!("{key}: ") };
        format!("{} {}: {about}{}", knob.text(level), knob.unit(), violation.reason())
    })
}

/// FNV-1a, 64 bits.
#[must_use]
pub fn fingerprint(bytes: &[u8]) -> u64 {
    bytes.iter().fold(0xCBF2_9CE4_8422_2325, |hash, byte| (hash ^ u64::from(*byte)).wrapping_mul(0x100_0000_01B3))
}
