//! `slackside compare`.

use std::fmt::Write as _;
use std::path::PathBuf;

use slackside::alarm::AlarmState;
use slackside::conditions::Condition;
use slackside::verdict::{Change, Permit, Verdict};

use slackside_desk::replay;
use slackside_desk::settings::{self, Loaded};
use slackside_desk::tune::run::judge;
use slackside_desk::tune::store::Store;
use slackside_desk::tune::study::read_settings;

use crate::disk::{Disk, open_trace};

/// Judge traces under two settings and say what differs, trace by trace, from the first difference in time on.
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

/// Run the command.
pub fn run(args: &Args) -> anyhow::Result<()> {
    let (one, other) = (read_settings(&Disk, &args.one, args.bench)?, read_settings(&Disk, &args.other, args.bench)?);
    print!("{}", differences(&one, &other));
    let mut differ = 0;
    for trace in &args.traces {
        let first = Store::measure(open_trace(trace)?, &one.checked)?;
        let a = verdicts(&first, &one);
        let b = if one.checked.machine == other.checked.machine {
            verdicts(&first, &other)
        } else {
            // Another machine measures another motion.
            verdicts(&Store::measure(open_trace(trace)?, &other.checked)?, &other)
        };
        println!("\n{}", trace.display());
        let place = a.iter().zip(&b).position(|(a, b)| !alike(a, b)).unwrap_or(a.len().min(b.len()));
        if place == a.len() && place == b.len() {
            println!("  no difference: {} verdicts, the same to the microsecond", a.len());
            continue;
        }
        differ += 1;
        println!("  the first {place} verdicts are the same; then");
        println!("  A: {}", a.get(place).map_or_else(|| "nothing more".to_owned(), words));
        println!("  B: {}", b.get(place).map_or_else(|| "nothing more".to_owned(), words));
        let say = |name: &str, all: &[Verdict]| {
            let stop =
                dropped(all, Permit::Run).map_or_else(|| "no stop".to_owned(), |at| format!("stop at {at:.3} s"));
            let feed = dropped(all, Permit::Feed).map_or_else(String::new, |at| format!(", feed dropped at {at:.3} s"));
            println!("  {name} in all: {stop}{feed}, {} alarms", alarms(all));
        };
        say("A", &a);
        say("B", &b);
        println!("  From the first permit that differs the leg would have behaved otherwise:");
        println!("  what the record shows after that belongs to neither.");
    }
    println!("\n{differ} of {} traces differ", args.traces.len());
    Ok(())
}

fn verdicts(store: &Store, loaded: &Loaded) -> Vec<Verdict> {
    let mut all = Vec::new();
    judge(store, &loaded.checked, None, |verdict| {
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

fn dropped(all: &[Verdict], which: Permit) -> Option<f64> {
    let mut given = false;
    for verdict in all {
        if let Change::Permit { permit, allowed, because } = verdict.change
            && permit == which
        {
            if given && !allowed && because.is_some() {
                return Some(verdict.at.get() as f64 / 1e6);
            }
            given = allowed;
        }
    }
    None
}

fn alarms(all: &[Verdict]) -> usize {
    all.iter().filter(|verdict| matches!(verdict.change, Change::Alarm { to: AlarmState::Unacknowledged, .. })).count()
}

fn words(verdict: &Verdict) -> String {
    let name = |condition: Condition| condition.name().replace('_', " ");
    let what = match verdict.change {
        Change::Alarm { condition, to, .. } => {
            format!("{}: {}", name(condition), replay::state_name(to).replace('_', " "))
        }
        Change::Permit { permit, allowed, because } => {
            let which = if permit == Permit::Run { "run permit" } else { "feed permit" };
            let why = because.map_or_else(String::new, |condition| format!(" by {}", name(condition)));
            format!("{which} {}{why}", if allowed { "given" } else { "dropped" })
        }
        Change::FirstOut(Some(condition)) => format!("first-out {}", name(condition)),
        Change::FirstOut(None) => "first-out cleared".to_owned(),
        Change::Phase(phase) => format!("the leg is in phase {}", replay::phase_name(phase).replace('_', " ")),
        other => format!("{other:?}"),
    };
    format!("{:.6} s  {what}", verdict.at.get() as f64 / 1e6)
}

/// The lines in which the two settings files, written out in full, differ.
fn differences(one: &Loaded, other: &Loaded) -> String {
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
    let mut text = format!("A: {}\nB: {}\n", one.source_name, other.source_name);
    let mut keys: Vec<&String> = a.keys().chain(b.keys()).collect();
    keys.sort_unstable();
    keys.dedup();
    let mut none = true;
    for key in keys {
        let (from, to) = (a.get(key), b.get(key));
        if from != to {
            none = false;
            let said = |value: Option<&String>| value.map_or("not set", |value| value.as_str()).to_owned();
            let _ = writeln!(text, "  {key}: {} -> {}", said(from), said(to));
        }
    }
    if none {
        text.push_str("  the settings are the same\n");
    }
    text
}
