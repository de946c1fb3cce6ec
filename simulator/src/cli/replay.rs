//! `slackside replay`.

use std::io::{Cursor, Write};
use std::path::{Path, PathBuf};

use anyhow::{Context, bail};
use clap::builder::{PathBufValueParser, TypedValueParser as _};
use slackside::retained::Retained;
use slackside::settings::Advice;
use slackside::units::Span;

use slackside_desk::demo;
use slackside_desk::monitor::monitor;
use slackside_desk::recording::{Prepared, Recording, recording_at};
use slackside_desk::replay::{EventsCsv, Job, Outcome, SamplesCsv, replay_from};
use slackside_desk::report;
use slackside_desk::settings::{self, Loaded};
use slackside_desk::trace::{Progress, Reader};

use super::talk::Talk;
use crate::bars::Reading;
use crate::cores::Cores;
use crate::disk::{Disk, open_trace};
use crate::outputs::{Whole, create, html, same_file, write_whole};
use crate::samples_parquet::SamplesParquet;

/// Replay a trace through the monitor and say what happened.
///
/// Without a trace, a built-in demo leg trips before your eyes. A trace is a CSV file with the header
/// `time_us,channel,value`, plain or gzip; `-` reads standard input. A recording fetched from a box is replayed from the state
/// the box was in, to the last bit, or with --settings under others: what if.
#[derive(clap::Args, Default)]
pub struct Args {
    /// The trace: `time_us,channel,value`, rows in order of time. Without it the built-in demo is replayed.
    trace: Option<PathBuf>,
    /// Another trip, to stand beside the first in the report, both aligned at the trip.
    #[arg(value_name = "OTHER", requires = "report")]
    other: Option<PathBuf>,
    /// The settings of the leg it was recorded on. Without them those of the example leg are used, and said so.
    #[arg(long, value_name = "LEG.toml", requires = "trace")]
    settings: Option<PathBuf>,
    /// The settings of the leg that OTHER was recorded on, if it is another leg.
    #[arg(long, value_name = "LEG.toml", requires = "other")]
    other_settings: Option<PathBuf>,
    /// Accept settings of a test bench, whose speeds and sizes no leg has; every output says so.
    #[arg(long, requires = "settings")]
    bench: bool,
    /// Write every change of the motion: speeds, slip, heat, contacts. As Parquet where the name ends in `.parquet`, else as CSV.
    #[arg(long, value_name = "FILE")]
    samples: Option<PathBuf>,
    /// Write samples at most this often, in seconds.
    #[arg(long, value_name = "SECONDS", requires = "samples", value_parser = seconds, allow_negative_numbers = true)]
    every: Option<Span>,
    /// Write every verdict: alarms, permits, first-out, commands.
    #[arg(long, value_name = "FILE.csv")]
    events: Option<PathBuf>,
    /// Write a page: one file with everything on one time axis, to take apart, to read on a phone or to print.
    #[arg(long, value_name = "FILE.html", value_parser = PathBufValueParser::new().try_map(html))]
    report: Option<PathBuf>,
    /// Write the trace of the built-in demo, to look at or to replay under other settings.
    #[arg(long, value_name = "FILE.csv", conflicts_with_all = ["trace", "settings"])]
    save_demo: Option<PathBuf>,
}

fn seconds(text: &str) -> Result<Span, String> {
    let seconds: f64 = text.parse().map_err(|_| "write a number of seconds, such as 0.5".to_owned())?;
    if !(0.0..=4_000.0).contains(&seconds) {
        return Err("write 0 to 4000 seconds".to_owned());
    }
    // Held within 4,000 s above, so that it fits.
    Ok(Span::new((seconds * 1e6).round() as u32))
}

/// Run the command.
pub fn run(args: &Args, talk: &Talk) -> anyhow::Result<()> {
    refuse_overwriting(args)?;
    // Opened before the work is done, so that a wrong path is known at once.
    let report_file = args.report.as_deref().map(create).transpose()?;
    let outcome = judged(args)?;
    let other = args.other.as_deref().map(|other| {
        judged(&Args {
            trace: Some(other.to_owned()),
            settings: args.other_settings.as_ref().or(args.settings.as_ref()).cloned(),
            bench: args.bench,
            ..Args::default()
        })
    });
    let other = other.transpose()?;
    let opening: &[&str] = if args.trace.is_none() { &demo::STORY } else { &[] };
    if let Some(mut file) = report_file {
        let page = match &other {
            Some(other) => report::pair(&outcome, other),
            None => report::page(&outcome, opening),
        };
        file.write_all(page.as_bytes()).and_then(|()| file.finish()).context("the report could not be written")?;
    }
    talk.object(|| {
        let mut object = report::object(&outcome);
        object["other"] = other.as_ref().map_or(serde_json::Value::Null, report::object);
        object
    })?;
    talk.words(report::words(&outcome, opening))?;
    match &other {
        Some(other) => talk.words(format!("\n{}", report::words(other, &[]))),
        None => Ok(()),
    }
}

/// The page of a recording that was just fetched, held against the settings of its leg.
pub fn page_of(recording: &Path, settings: &Path) -> anyhow::Result<String> {
    let args = Args { trace: Some(recording.to_owned()), settings: Some(settings.to_owned()), ..Args::default() };
    Ok(report::page(&judged(&args)?, &[]))
}

/// What came of the trace.
fn judged(args: &Args) -> anyhow::Result<Outcome> {
    let recording = args.trace.as_deref().map(|path| recording_at(&Disk, path)).transpose()?.flatten();
    let recorded = recording.as_ref().map(Recording::settings).transpose()?.flatten();
    let loaded = match (&recorded, &args.settings) {
        (Some(recorded), None) => Loaded::from_checked(recorded.clone(), "the settings in the recording"),
        (None, None) if recording.is_some() => {
            bail!("the recording came without its settings: name those of its leg with --settings LEG.toml")
        }
        _ => settings(args)?,
    };
    let settings = &loaded.checked;
    if let Some(path) = &args.save_demo {
        let bytes = demo::trace(settings);
        write_whole(path, |file| Ok(file.write_all(&bytes)?))?;
    }
    let found = recording.as_ref().map(|recording| Prepared::new(recording, &loaded.checked));
    let reader = match (&args.trace, &found) {
        (Some(_), Some(found)) => found.reader()?,
        (Some(trace), None) => open_trace(trace)?,
        (None, _) => Reader::from_read(demo::NAME, Cursor::new(demo::trace(settings)))?,
    };
    go(args, reader, &loaded, found.as_ref())
}

fn go(args: &Args, reader: Reader, loaded: &Loaded, found: Option<&Prepared<'_>>) -> anyhow::Result<Outcome> {
    let settings = &loaded.checked;
    let settings_name = loaded.source_name.as_str();
    let (mut cautions, mut notes) = notes(args, loaded, found.is_some());
    cautions.extend(found.iter().flat_map(|found| found.cautions.iter().cloned()));
    notes.splice(0..0, found.iter().flat_map(|found| found.notes.iter().cloned()));
    let monitor = found.map_or_else(|| monitor(settings, &Retained::default()), Prepared::monitor);
    let every = args.every.unwrap_or(Span::ZERO);
    let file = |path: &Option<PathBuf>| path.as_deref().map(create).transpose();
    let mut samples_file =
        file(&args.samples)?.map(|file| Samples::begin(args.samples.as_deref(), file)).transpose()?;
    let mut events_file = file(&args.events)?;
    let samples = samples_file.as_mut().map(|file| SamplesCsv::begin(file.rows(), every, settings)).transpose()?;
    let events = events_file.as_mut().map(|file| EventsCsv::begin(file, &settings.limits)).transpose()?;
    let mut reading = Reading::default();
    let progress: &mut dyn FnMut(&Progress) = &mut |progress| reading.show(progress);
    let job = Job {
        reader,
        settings,
        settings_name,
        notes,
        cautions,
        feet: loaded.feet,
        samples,
        events,
        progress: Some(progress),
    };
    let mut outcome = replay_from(job, monitor, &Cores)?;
    let samples_file = samples_file.map(Samples::whole).transpose()?;
    for file in [samples_file, events_file].into_iter().flatten() {
        file.finish().context("a file could not be put in its place")?;
    }
    if let Some(found) = found {
        found.mark(&mut outcome);
    }
    Ok(outcome)
}

/// The samples file, in the form that its name asks for.
enum Samples {
    Csv(Whole),
    Parquet(Box<SamplesParquet>),
}

impl Samples {
    fn begin(path: Option<&Path>, file: Whole) -> anyhow::Result<Self> {
        let ending = path.and_then(Path::extension);
        Ok(if ending.is_some_and(|ending| ending.eq_ignore_ascii_case("parquet")) {
            Self::Parquet(Box::new(SamplesParquet::begin(file)?))
        } else {
            Self::Csv(file)
        })
    }

    /// Where its rows go.
    fn rows(&mut self) -> &mut dyn Write {
        match self {
            Self::Csv(file) => file,
            Self::Parquet(file) => &mut **file,
        }
    }

    fn whole(self) -> anyhow::Result<Whole> {
        match self {
            Self::Csv(file) => Ok(file),
            Self::Parquet(file) => file.whole(),
        }
    }
}

fn settings(args: &Args) -> anyhow::Result<Loaded> {
    Ok(match &args.settings {
        Some(path) if args.bench => settings::read_for_bench(&Disk, path)?,
        path => settings::read_or_example(&Disk, path.as_deref())?,
    })
}

/// What spoils the outcome, and what everybody who reads it must know about the settings.
fn notes(args: &Args, loaded: &Loaded, is_recording: bool) -> (Vec<String>, Vec<String>) {
    let (mut cautions, mut notes) = (Vec::new(), Vec::new());
    if args.bench {
        cautions.push(
            "The settings were held against the rules for a test bench only: no leg may run with them.".to_owned(),
        );
    }
    if args.settings.is_none() && args.trace.is_some() && !is_recording {
        cautions.push(
            "No settings were named: the trace was held against those of the built-in example leg. Unless it is that \
             leg's, nothing here means anything. Name its settings with --settings."
                .to_owned(),
        );
    }
    // What is fitted and what not, the story says for every trace.
    let told = |advice: &&Advice| {
        !matches!(advice, Advice::BootAlone | Advice::NoDriveContact | Advice::Unsupervised(_) | Advice::NoContacts)
    };
    notes.extend(loaded.advice.iter().filter(told).map(ToString::to_string));
    (cautions, notes)
}

/// No output may be an input, and no two outputs the same file.
fn refuse_overwriting(args: &Args) -> anyhow::Result<()> {
    let inputs = [
        ("the trace", &args.trace),
        ("the settings", &args.settings),
        ("the other trip", &args.other),
        ("its settings", &args.other_settings),
    ];
    let outputs = [
        ("--samples", &args.samples),
        ("--events", &args.events),
        ("--report", &args.report),
        ("--save-demo", &args.save_demo),
    ];
    for (index, (name, output)) in outputs.iter().enumerate() {
        let Some(output) = output else { continue };
        for (input_name, input) in inputs {
            if input.as_deref().is_some_and(|input| same_file(input, output)) {
                bail!("{name} {} is {input_name} itself: write to another file", output.display());
            }
        }
        for (other_name, other) in outputs.iter().take(index) {
            if other.as_deref().is_some_and(|other| same_file(other, output)) {
                bail!("{other_name} and {name} are the same file, {}: name two", output.display());
            }
        }
    }
    Ok(())
}
