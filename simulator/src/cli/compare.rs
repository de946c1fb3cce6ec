//! `slackside compare`.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use serde_json::{Value, json};
use slackside::alarm::AlarmState;
use slackside::conditions::Condition;
use slackside::units::Micros;
use slackside::verdict::{Change, Permit, Verdict};
use slackside_desk::cautions;
use slackside_desk::lines::{WIDTH, fill};
use slackside_desk::replay::{change_name, check_units, condition_of};
use slackside_desk::report::{Clock, lower, phase_words, state_words};
use slackside_desk::settings::{self, Loaded};
use slackside_desk::tune::run::judge_plainly;
use slackside_desk::tune::store::Store;
use slackside_desk::tune::study::read_settings;

use super::talk::Talk;
use crate::disk::{Disk, open_trace};

/// Judge traces under two settings and say what differs: stops and what tripped first, feed, alarms; then, trace by trace, the first
/// difference in time.
#[derive(clap::Args)]
pub struct Args {
    /// One leg's settings.
    #[arg(value_name = "A.toml")]
    one: PathBuf,
    /// The other.
    #[arg(value_name = "B.toml")]
    other: PathBuf,
    /// The traces.
    #[arg(value_name = "TRACE.csv", required = true)]
    traces: Vec<PathBuf>,
    /// Accept settings of a test bench, whose speeds and sizes no leg has.
    #[arg(long)]
    bench: bool,
}

/// What came of one trace under both.
struct Compared {
    trace: PathBuf,
    clock: Clock,
    sides: [Vec<Verdict>; 2],
    /// How many verdicts are the same before the first that differs.
    alike: usize,
}

impl Compared {
    fn same(&self) -> bool {
        self.sides.iter().all(|side| side.len() == self.alike)
    }

    /// What matters of both: the stop and what tripped first, the feed, how many alarms.
    fn ends(&self) -> [Ending; 2] {
        self.sides.each_ref().map(|side| Ending::of(side))
    }

    fn leads(&self) -> String {
        let [a, b] = self.ends();
        let mut text = format!("  {}\n", self.trace.display());
        if self.same() {
            let stop =
                a.stop.map_or_else(|| "no stop".to_owned(), |stop| format!("stop at {}", stop.words(self.clock)));
            let _ = writeln!(text, "    the same under both: {stop}");
            return text;
        }
        let _ = writeln!(text, "    stop:   {}", both(a.stop, b.stop, self.clock, "no stop"));
        let _ = writeln!(text, "    feed:   {}", both(a.feed, b.feed, self.clock, "not dropped"));
        let _ = writeln!(text, "    alarms: {}", alarm_words(&a.alarms, &b.alarms));
        text
    }

    fn words(&self) -> String {
        let mut text = format!("\n{}\n", self.trace.display());
        if self.same() {
            let _ = writeln!(text, "  no difference: {} verdicts, the same to the microsecond", self.alike);
            return text;
        }
        let _ = match self.alike {
            0 => writeln!(text, "  they differ from the first verdict on:"),
            1 => writeln!(text, "  the first verdict is the same; then"),
            alike => writeln!(text, "  the first {alike} verdicts are the same; then"),
        };
        for (name, side) in ["A", "B"].iter().zip(&self.sides) {
            let next =
                side.get(self.alike).map_or_else(|| "nothing more".to_owned(), |verdict| words(verdict, self.clock));
            let _ = writeln!(text, "  {name}: {next}");
        }
        text.push_str(
            "  From the first permit that differs the leg would have behaved otherwise:\n  what the record shows after that belongs to neither.\n",
        );
        text
    }

    fn object(&self) -> Value {
        let side = |side: &Vec<Verdict>| {
            let end = Ending::of(side);
            json!({
                "first_different": side.get(self.alike).map(|verdict| json!({
                    "time_us": verdict.at.get(),
                    "change": change_name(&verdict.change),
                    "condition": condition_of(&verdict.change).map(Condition::name),
                })),
                "stop_us": end.stop.map(|stop| stop.at.get()),
                "tripped_first": end.stop.and_then(|stop| stop.by).map(Condition::name),
                "feed_dropped_us": end.feed.map(|feed| feed.at.get()),
                "alarms": end.alarms.values().sum::<usize>(),
                "verdicts": side.len(),
            })
        };
        let [a, b] = &self.sides;
        json!({"trace": self.trace, "same": self.same(), "verdicts_alike": self.alike, "a": side(a), "b": side(b)})
    }
}

/// A permit dropped.
#[derive(Clone, Copy, PartialEq)]
struct Drop {
    at: Micros,
    by: Option<Condition>,
}

impl Drop {
    fn words(self, clock: Clock) -> String {
        let by = self.by.map_or_else(String::new, |by| format!(" by {}", lower(by.entry().title)));
        format!("{}{by}", clock.short(self.at))
    }
}

/// What came of a trace under one setting.
struct Ending {
    stop: Option<Drop>,
    feed: Option<Drop>,
    alarms: BTreeMap<&'static str, usize>,
}

impl Ending {
    /// The first time each permit was dropped by a condition, and the alarms until the stop: beyond it the leg would have stood.
    fn of(side: &[Verdict]) -> Self {
        let mut end = Self { stop: None, feed: None, alarms: BTreeMap::new() };
        let (mut given, mut first_out) = ([false; 2], None);
        for verdict in side {
            match verdict.change {
                Change::FirstOut(first) => first_out = first.or(first_out),
                Change::Alarm { condition, to: AlarmState::Unacknowledged, .. } => {
                    *end.alarms.entry(condition.entry().title).or_default() += 1;
                }
                Change::Permit { permit, allowed, because } => {
                    let run = permit == Permit::Run;
                    let drops = given[usize::from(run)] && !allowed && because.is_some();
                    given[usize::from(run)] = allowed;
                    if drops && run {
                        end.stop = Some(Drop { at: verdict.at, by: first_out.or(because) });
                        return end;
                    }
                    if drops && end.feed.is_none() {
                        end.feed = Some(Drop { at: verdict.at, by: because });
                    }
                }
                _ => {}
            }
        }
        end
    }
}

/// The same permit under both, and by how much B is later.
fn both(a: Option<Drop>, b: Option<Drop>, clock: Clock, never: &str) -> String {
    let one = |side: Option<Drop>| side.map_or_else(|| never.to_owned(), |drop| drop.words(clock));
    match (a, b) {
        _ if a == b => format!("the same, {}", one(a)),
        (Some(first), Some(other)) => {
            let change = (other.at.get() as f64 - first.at.get() as f64) / 1e6;
            let by_how_much = Clock::length_of_seconds(change.abs());
            let when = match change {
                0.0 => "at the same time".to_owned(),
                later if later > 0.0 => format!("{by_how_much} later"),
                _ => format!("{by_how_much} sooner"),
            };
            let by = other.by.map_or_else(String::new, |by| format!(" by {}", lower(by.entry().title)));
            format!("A {}; B {when}{by}", first.words(clock))
        }
        _ => format!("A {}; B {}", one(a), one(b)),
    }
}

/// How many alarms came before the stop, and of which conditions more or fewer.
fn alarm_words(a: &BTreeMap<&'static str, usize>, b: &BTreeMap<&'static str, usize>) -> String {
    let all = |side: &BTreeMap<&str, usize>| side.values().sum::<usize>();
    let mut names: Vec<&str> = a.keys().chain(b.keys()).copied().collect();
    names.sort_unstable();
    names.dedup();
    let count = |side: &BTreeMap<&str, usize>, name: &str| side.get(name).copied().unwrap_or(0);
    let differ: Vec<String> = names
        .into_iter()
        .filter(|name| count(a, name) != count(b, name))
        .map(|name| format!("{} {} against {}", lower(name), count(a, name), count(b, name)))
        .collect();
    let of = if differ.is_empty() { String::new() } else { format!(": {}", differ.join(", ")) };
    format!("A {}, B {} until the stop{of}", all(a), all(b))
}

/// Run the command.
pub fn run(args: &Args, talk: &Talk) -> anyhow::Result<()> {
    let (one, other) = (read_settings(&Disk, &args.one, args.bench)?, read_settings(&Disk, &args.other, args.bench)?);
    let differences = differences(&one, &other);
    let all =
        args.traces.iter().map(|trace| compare(trace, &one, &other)).collect::<anyhow::Result<Vec<Compared>>>()?;
    talk.words(said(&one, &other, &differences))?;
    let differ = all.iter().filter(|compared| !compared.same()).count();
    let (all_of_them, verb) = match args.traces.len() {
        1 => ("1 trace".to_owned(), "differs"),
        several => (format!("{several} traces"), if differ == 1 { "differs" } else { "differ" }),
    };
    talk.line(format_args!("\n{differ} of {all_of_them} {verb}. What comes of each:"))?;
    for compared in &all {
        for line in compared.leads().lines() {
            let indent = " ".repeat(12.min(line.len() - line.trim_start().len() + 8));
            talk.line(fill("", &indent, line))?;
        }
    }
    for compared in &all {
        talk.words(compared.words())?;
    }
    talk.object(|| {
        let settings: Vec<Value> = differences.iter().map(|(key, a, b)| json!({"key": key, "a": a, "b": b})).collect();
        json!({
            "format": "slackside-compare",
            "format_version": 1,
            "a": one.source_name,
            "b": other.source_name,
            "settings": settings,
            "traces": all.iter().map(Compared::object).collect::<Vec<_>>(),
            "differ": differ,
        })
    })?;
    talk.line("\nCautions")?;
    talk.words(cautions::as_text(WIDTH))
}

fn compare(trace: &Path, one: &Loaded, other: &Loaded) -> anyhow::Result<Compared> {
    let measure = |loaded: &Loaded| -> anyhow::Result<(Store, Clock)> {
        let mut reader = open_trace(trace)?;
        let store = Store::measure(&mut reader, &loaded.checked)?;
        check_units(reader.name(), reader.survey(), &loaded.checked.machine)?;
        Ok((store, Clock::of(reader.survey())))
    };
    let (first, clock) = measure(one)?;
    let a = verdicts(&first, one);
    // Another machine measures another motion.
    let b = if one.checked.machine == other.checked.machine {
        verdicts(&first, other)
    } else {
        verdicts(&measure(other)?.0, other)
    };
    let alike = a.iter().zip(&b).position(|(a, b)| !alike(a, b)).unwrap_or(a.len().min(b.len()));
    Ok(Compared { trace: trace.to_owned(), clock, sides: [a, b], alike })
}

fn verdicts(store: &Store, loaded: &Loaded) -> Vec<Verdict> {
    let mut all = Vec::new();
    judge_plainly(store, &loaded.checked, |verdict| {
        all.push(verdict);
        true
    });
    all
}

/// The same happened: the setpoint it was held against may differ, and the value in passing.
fn alike(one: &Verdict, other: &Verdict) -> bool {
    let bare = |verdict: &Verdict| match verdict.change {
        Change::Alarm { condition, from, to, detail, .. } => {
            (verdict.at, Change::Alarm { condition, from, to, value: None, setpoint: 0, detail })
        }
        change => (verdict.at, change),
    };
    bare(one) == bare(other)
}

fn words(verdict: &Verdict, clock: Clock) -> String {
    let title = |condition: Condition| lower(condition.entry().title);
    let what = match verdict.change {
        Change::Alarm { condition, to, .. } => format!("{}: {}", title(condition), state_words(to)),
        Change::Permit { permit, allowed, because } => {
            let which = if permit == Permit::Run { "run permit" } else { "feed permit" };
            let why = because.map_or_else(String::new, |condition| format!(": {}", title(condition)));
            format!("{which} {}{why}", if allowed { "given" } else { "dropped" })
        }
        Change::FirstOut(Some(condition)) => format!("tripped first: {}", title(condition)),
        Change::FirstOut(None) => "trip reset".to_owned(),
        Change::Phase(phase) => format!("the leg is {}", phase_words(phase)),
        other => change_name(&other).replace('_', " ").replace(':', ": "),
    };
    format!("{}  {what}", clock.short(verdict.at))
}

/// The keys in which the two settings files, written out in full, differ, with both values.
fn differences(one: &Loaded, other: &Loaded) -> Vec<(String, Option<String>, Option<String>)> {
    let value = |line: &str| line.split(" #").next().unwrap_or_default().trim_end().to_owned();
    let all = |loaded: &Loaded| {
        let mut section = String::new();
        let mut lines = std::collections::BTreeMap::new();
        for line in settings::write(&loaded.checked).lines() {
            if let Some(name) = line.strip_prefix('[') {
                section = name.trim_end_matches(']').to_owned();
            } else if let Some((key, text)) = value(line).split_once(" = ") {
                lines.insert(format!("{section}.{key}"), text.to_owned());
            }
        }
        lines
    };
    let (a, b) = (all(one), all(other));
    let mut keys: Vec<&String> = a.keys().chain(b.keys()).collect();
    keys.sort_unstable();
    keys.dedup();
    keys.into_iter()
        .filter(|key| a.get(*key) != b.get(*key))
        .map(|key| (key.clone(), a.get(key).cloned(), b.get(key).cloned()))
        .collect()
}

fn said(one: &Loaded, other: &Loaded, differences: &[(String, Option<String>, Option<String>)]) -> String {
    let mut text = format!("A: {}\nB: {}\n", one.source_name, other.source_name);
    let value = |value: &Option<String>| value.clone().unwrap_or_else(|| "not set".to_owned());
    for (key, from, to) in differences {
        let _ = writeln!(text, "  {key}: {} -> {}", value(from), value(to));
    }
    if differences.is_empty() {
        text.push_str("  the settings are the same\n");
    }
    text
}
