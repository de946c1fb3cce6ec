//! `slackside label`.

use std::io::Write as _;
use std::path::PathBuf;

use anyhow::bail;
use serde_json::json;
use slackside::conditions::Condition;

use slackside_desk::replay::{check_units, check_units_of_any_leg};
use slackside_desk::settings;
use slackside_desk::tune::label::{self, AlarmDue, Label, Stretch};

use super::talk::Talk;
use crate::disk::{Disk, open_trace};
use crate::outputs::write_whole;

/// Say what should come of a recording, for tuning: written beside it as TRACE.label.toml.
///
/// Times are seconds of the trace's own clock. Whatever comes outside of what is named is a nuisance.
#[derive(clap::Args)]
pub struct Args {
    /// The recordings, all with the same label.
    #[arg(value_name = "TRACE.csv", required = true)]
    traces: Vec<PathBuf>,
    /// A stop must come: something is wrong from the first time on, and the leg must have been told to stop by the second.
    #[arg(long, value_name = "FROM,BY", value_parser = two)]
    stop: Option<(f64, f64)>,
    /// Whatever comes between these times is excused.
    #[arg(long, value_name = "FROM,TO", value_parser = two)]
    may: Vec<(f64, f64)>,
    /// An alarm should come between these times, of one condition or of any.
    #[arg(long, value_name = "[CONDITION,]FROM,BY", value_parser = alarm)]
    alarm: Vec<(Option<Condition>, f64, f64)>,
    /// Nothing is wrong: any stop and any alarm is a nuisance.
    #[arg(long, conflicts_with_all = ["stop", "may", "alarm"])]
    nothing_wrong: bool,
    /// The leg did what a monitor with its own limits said: from the first permit which that dropped, run or feed, nothing is known
    /// of slower settings. A drive that goes off once something is wrong ends it by itself.
    #[arg(long)]
    obeyed: bool,
    /// Beyond this time the record says nothing of other limits, as when someone pulled the cord.
    #[arg(long, value_name = "SECONDS", value_parser = seconds)]
    known_until: Option<f64>,
    /// The settings of their leg: times that no such leg can have are refused, as in a replay. Without them only those that no
    /// leg at all can have.
    #[arg(long, value_name = "LEG.toml")]
    settings: Option<PathBuf>,
    /// What was wrong, in words.
    #[arg(long, value_name = "WORDS", default_value = "")]
    wrong: String,
}

fn seconds(text: &str) -> Result<f64, String> {
    let value: f64 = text.trim().parse().map_err(|_| format!("\"{text}\" is no number of seconds"))?;
    if value >= 0.0 && value.is_finite() { Ok(value) } else { Err(format!("\"{text}\" is no time in a trace")) }
}

fn two(text: &str) -> Result<(f64, f64), String> {
    let (from, to) = text.split_once(',').ok_or("write two times in seconds with a comma between, such as 612,640")?;
    let (from, to) = (seconds(from)?, seconds(to)?);
    if to > from { Ok((from, to)) } else { Err("the second time must be later than the first".to_owned()) }
}

fn alarm(text: &str) -> Result<(Option<Condition>, f64, f64), String> {
    let (condition, times) = match text.split(',').count() {
        3 => {
            let (name, times) = text.split_once(',').unwrap_or(("", text));
            let condition = Condition::from_name(name)
                .ok_or(format!("\"{name}\" is no condition: use a name from the settings file, such as slip_high"))?;
            (Some(condition), times)
        }
        _ => (None, text),
    };
    let (from, by) = two(times)?;
    Ok((condition, from, by))
}

/// Run the command.
pub fn run(args: &Args, talk: &Talk) -> anyhow::Result<()> {
    let micros = |seconds: f64| (seconds * 1e6).round() as u64;
    let stretch = |from: f64, to: f64| Stretch { from_us: micros(from), to_us: micros(to) };
    let label = Label {
        stop: args.stop.map(|(from, by)| stretch(from, by)),
        due_us: args.stop.map(|(_, by)| micros(by)),
        may: args.may.iter().map(|(from, to)| stretch(*from, *to)).collect(),
        alarms: args
            .alarm
            .iter()
            .map(|(condition, from, by)| AlarmDue {
                any_of: condition.iter().copied().collect(),
                within: stretch(*from, *by),
            })
            .collect(),
        wrong: args.wrong.clone(),
        obeyed: args.obeyed,
        known_until_us: args.known_until.map(micros),
    };
    let says = label.stop.is_some() || !label.may.is_empty() || !label.alarms.is_empty();
    if !says && !args.nothing_wrong {
        bail!("say what should come of it: --stop, --alarm, --may or --nothing-wrong");
    }
    let settings = args.settings.as_deref().map(|path| settings::read(&Disk, path)).transpose()?;
    let latest = [label.stop.map(|stop| stop.to_us), label.alarms.iter().map(|alarm| alarm.within.from_us).max()];
    // All is looked at before anything is written.
    for trace in &args.traces {
        let mut reader = open_trace(trace)?;
        let mut batch = Vec::new();
        while reader.read_batch(&mut batch)? {}
        match &settings {
            Some(loaded) => check_units(reader.name(), reader.survey(), &loaded.checked.machine)?,
            None => check_units_of_any_leg(reader.name(), reader.survey())?,
        }
        let (first, last) = (reader.survey().first, reader.survey().last);
        let (first, last) = (first.map_or(0, |at| at.get()), last.map_or(0, |at| at.get()));
        if let Some(late) = latest.into_iter().flatten().find(|at| *at > last) {
            bail!(
                "{}: the label speaks of {} s, but the trace runs from {} s to {} s; give times of the trace's own clock",
                trace.display(),
                late as f64 / 1e6,
                first as f64 / 1e6,
                last as f64 / 1e6
            );
        }
        let path = label::sidecar(trace);
        if path.exists() && !talk.force {
            bail!("{} is there already: look at it, then give --force to write over it", path.display());
        }
    }
    let mut written = Vec::new();
    for trace in &args.traces {
        let path = label::sidecar(trace);
        write_whole(&path, |file| Ok(file.write_all(label::write(&label).as_bytes())?))?;
        talk.line(path.display())?;
        written.push(path);
    }
    talk.object(|| json!({"format": "slackside-label", "format_version": 1, "written": written}))
}
