//! `slackside simulate`.

use std::fmt::Write as _;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use anyhow::{Context, anyhow, bail};
use clap::builder::{PathBufValueParser, TypedValueParser as _};
use indicatif::ProgressBar;
use rayon::iter::{IntoParallelIterator, ParallelIterator};
use serde_json::{Value, json};
use slackside::conditions::Condition;
use slackside::input::Input;
use slackside::settings::{Checked, Limits};
use slackside::units::Micros;
use slackside::verdict::{Change, Permit};

use slackside_desk::cautions;
use slackside_desk::files::unreadable;
use slackside_desk::lines::{WIDTH, fill};
use slackside_desk::report::{Clock, event_words};
use slackside_desk::scenario::due::Why;
use slackside_desk::scenario::estimate::{self, Guess};
use slackside_desk::scenario::guard::Guard;
use slackside_desk::scenario::heard::{self, Heard};
use slackside_desk::scenario::run::{Obeys, Permits, Summary, Watch, run as run_scenario};
use slackside_desk::scenario::score::population::{Drawn, HEALTHY, STRAINED};
use slackside_desk::scenario::score::{self, checked, templates};
use slackside_desk::scenario::settings::Commissioned;
use slackside_desk::scenario::truth::Row;
use slackside_desk::scenario::{Scenario, truth};
use slackside_desk::settings;
use slackside_desk::trace::Writer;

use super::talk::{Talk, tell};
use crate::bars::{self, Stages};
use crate::cores::Cores;
use crate::disk::Disk;
use crate::outputs::{Whole, create, same_file, svg, write_whole};
use crate::pictures::run as picture;

/// Simulate a leg and write its trace, its truth and its picture.
#[derive(clap::Args)]
pub struct Args {
    /// The scenario, a TOML file.
    #[arg(value_name = "SCENARIO.toml", required_unless_present_any = ["score", "random", "healthy", "strained"])]
    scenario: Option<PathBuf>,
    /// Write the trace, as the sensors tell it, to this CSV file.
    #[arg(long, value_name = "TRACE.csv")]
    out: Option<PathBuf>,
    /// Write what the plant knows and no sensor tells to this CSV file.
    #[arg(long, value_name = "TRUTH.csv")]
    truth: Option<PathBuf>,
    /// Draw the run into this SVG file.
    #[arg(long, value_name = "FILE.svg", value_parser = PathBufValueParser::new().try_map(svg))]
    plot: Option<PathBuf>,
    /// The picture begins here, in seconds of the run.
    #[arg(long, value_name = "S", requires = "plot")]
    from: Option<f64>,
    /// The picture ends here, in seconds of the run.
    #[arg(long, value_name = "S", requires = "plot")]
    to: Option<f64>,
    /// The seed of all chance, in place of the scenario's. The same seed gives the same files on any machine.
    #[arg(long)]
    seed: Option<u64>,
    /// Run so many times, with seeds counted up, on all cores, and sum up. Files get the seed in their names.
    #[arg(long, value_name = "N", default_value_t = 1)]
    repeat: u32,
    /// Give every fault of the scenario this severity, 0 to 1.
    #[arg(long, value_name = "0..1")]
    severity: Option<f64>,
    /// Put the monitor in the loop: print what it says, and let motor and feed obey its permits (unless the scenario
    /// says otherwise).
    #[arg(long)]
    replay: bool,
    /// Let the feeder run only with the motor on and the belt at speed since the start, as in a study: no feed heaps up in a leg that
    /// stands. (With --replay the feed permit sees to that; a --random run has it always.)
    #[arg(long, conflicts_with_all = ["replay", "score"])]
    interlock: bool,
    /// Run the scenario on the leg of these settings in place of its own. What they do not hold of the plant is guessed by rules,
    /// and each guess is listed.
    #[arg(long, value_name = "LEG.toml", conflicts_with = "score")]
    settings: Option<PathBuf>,
    /// Write the settings of the leg that was run, as commissioned, for `slackside replay --settings`.
    #[arg(long, value_name = "FILE.toml")]
    write_settings: Option<PathBuf>,
    /// Score the monitor on every scenario of a directory and on healthy hours, and print the page of the book.
    #[arg(long, value_name = "DIRECTORY", conflicts_with_all = ["scenario", "out", "truth", "plot", "severity", "replay"])]
    score: Option<PathBuf>,
    /// Faulty runs drawn at random to score.
    #[arg(long, value_name = "N", default_value_t = 500, requires = "score")]
    faults: u32,
    /// In place of a scenario: the faulty run of that number, as `--score` draws it from the seed (1 if none is given).
    #[arg(long, value_name = "NUMBER", conflicts_with_all = ["scenario", "score", "healthy", "strained", "repeat", "severity", "settings"])]
    random: Option<usize>,
    /// In place of a scenario: the healthy shift of that number, as `--score` draws it from the seed (1 if none is given).
    #[arg(long, value_name = "NUMBER", conflicts_with_all = ["scenario", "score", "strained", "repeat", "severity", "settings"])]
    healthy: Option<usize>,
    /// In place of a scenario: the shift of that number of a leg that cannot lift what comes, drawn likewise.
    #[arg(long, value_name = "NUMBER", conflicts_with_all = ["scenario", "score", "repeat", "severity", "settings"])]
    strained: Option<usize>,
    /// Healthy hours to score, with the motor on.
    #[arg(long, default_value_t = 1_000.0, requires = "score", allow_negative_numbers = true)]
    hours: f64,
    /// Write the page of scores to this file instead.
    #[arg(long, value_name = "FILE.md", requires = "score")]
    write: Option<PathBuf>,
}

impl Args {
    /// Whether a run is drawn from the seed, in place of a scenario.
    const fn is_drawn(&self) -> bool {
        self.random.is_some() || self.healthy.is_some() || self.strained.is_some()
    }
}

/// Run the command.
pub fn run(args: &Args, talk: &Talk) -> anyhow::Result<()> {
    if args.repeat == 0 {
        bail!("--repeat is 0, expected 1 or more");
    }
    if let Some(directory) = &args.score {
        return score_all(args, directory, talk);
    }
    let Subject { scenario, commissioned, own, guesses } = subject(args)?;
    window(args, &scenario)?;
    // Of a run that was drawn the seed given is that of the draw.
    let first = if args.is_drawn() { scenario.seed } else { args.seed.unwrap_or(scenario.seed) };
    let job = RunJob { args, scenario: &scenario, commissioned: &commissioned, own: own.as_ref() };
    if let Some(path) = &args.write_settings {
        let text = settings::write(&job.settings()?.into_settings());
        write_whole(path, |file| Ok(file.write_all(text.as_bytes())?))?;
    }
    let bar = if args.repeat > 1 { bars::steps("runs", u64::from(args.repeat)) } else { ProgressBar::hidden() };
    let begun = std::time::Instant::now();
    let runs: Vec<One> = (0..args.repeat)
        .into_par_iter()
        .map(|i| {
            let run = one(&job, first.wrapping_add(u64::from(i)));
            bar.inc(1);
            run
        })
        .collect::<anyhow::Result<_>>()?;
    bar.finish_and_clear();
    talk.object(|| object(&scenario, &runs, &guesses))?;
    talk.words(table(args, &scenario, &runs, begun.elapsed().as_secs_f64()))?;
    talk.words(guessed(&guesses))?;
    talk.words(format!("\nCautions\n{}", cautions::as_text(WIDTH)))
}

/// What is simulated.
struct Subject {
    scenario: Scenario,
    commissioned: Commissioned,
    /// What the monitor is told, where it is not what the scenario's leg is.
    own: Option<Checked>,
    guesses: Vec<Guess>,
}

fn subject(args: &Args) -> anyhow::Result<Subject> {
    refuse_overwriting(args)?;
    let seed = args.seed.unwrap_or(1);
    let drawn = match (args.random, args.healthy, args.strained) {
        (Some(number), ..) => Some(templates::faulty(seed, number)?.1),
        (_, Some(number), _) => Some(HEALTHY.draw(seed, number)?.1),
        (.., Some(number)) => Some(STRAINED.draw(seed, number)?.1),
        _ => None,
    };
    if let Some(Drawn { scenario, commissioned, settings, .. }) = drawn {
        return Ok(Subject { scenario, commissioned, own: Some(settings), guesses: Vec::new() });
    }
    let Some(path) = &args.scenario else { bail!("no scenario given: name a TOML file") };
    let mut scenario = Scenario::read(&Disk, path)?;
    if let Some(severity) = args.severity {
        if !(0.0..=1.0).contains(&severity) {
            bail!("--severity is {severity:?}, expected 0 to 1");
        }
        scenario.set_severity(severity);
    }
    let mut guesses = Vec::new();
    let own = match &args.settings {
        Some(path) => {
            let loaded = settings::read(&Disk, path)?;
            guesses = estimate::stand_on(&mut scenario, &loaded)?;
            Some(loaded.checked)
        }
        None => None,
    };
    let commissioned = Commissioned::measure(&scenario.leg);
    Ok(Subject { scenario, commissioned, own, guesses })
}

/// The stretch of the picture, from and to in s.
fn window(args: &Args, scenario: &Scenario) -> anyhow::Result<(f64, f64)> {
    let (from, to) = (args.from.unwrap_or(0.0), args.to.unwrap_or(scenario.duration_s));
    if !(from >= 0.0 && to - from >= 1.0 && to <= scenario.duration_s) {
        bail!(
            "--from {from} --to {to} is no stretch of this run: give two times from 0 to {} s, a second or more apart",
            scenario.duration_s
        );
    }
    Ok((from, to))
}

fn score_all(args: &Args, directory: &Path, talk: &Talk) -> anyhow::Result<()> {
    if !(args.hours > 0.0 && args.hours.is_finite()) {
        bail!("--hours is {}, expected more than 0", args.hours);
    }
    let repeat = if args.repeat == 1 { 3 } else { args.repeat };
    let (seed, begun) = (args.seed.unwrap_or(1), std::time::Instant::now());
    let place = directory.display().to_string();
    let job = score::Job {
        place: &place,
        scenarios: scenarios_of(directory)?,
        hours: args.hours,
        repeat,
        random: args.faults,
        seed,
    };
    let stages = Stages::default();
    let results = score::run_all(job, &Cores, &|what, done, of| stages.show(what, done, of))?;
    stages.clear();
    tell(format_args!("scored in {}", Clock::length_of_seconds(begun.elapsed().as_secs_f64())));
    let (hours, faults) = (args.hours, args.faults);
    let page = score::say(
        &results,
        &format!(
            "slackside simulate --score {place} --hours {hours} --faults {faults} --repeat {repeat} --seed {seed} --write FILE"
        ),
    );
    talk.object(|| json!({"format": "slackside-scores", "format_version": 1, "page": page}))?;
    match &args.write {
        Some(path) => write_whole(path, |file| Ok(file.write_all(page.as_bytes())?)),
        None => talk.words(page),
    }
}

/// Every scenario of a directory, in order of their names.
fn scenarios_of(directory: &Path) -> anyhow::Result<Vec<Scenario>> {
    let mut paths: Vec<PathBuf> = std::fs::read_dir(directory)
        .map_err(|error| {
            let said = unreadable(&error, "name a directory of scenarios, such as the folder scenarios");
            anyhow!("{} {}", directory.display(), said.replace("no such file", "no such directory"))
        })?
        .filter_map(Result::ok)
        .map(|entry| entry.path())
        .filter(|path| path.extension().is_some_and(|ending| ending == "toml"))
        .collect();
    paths.sort();
    if paths.is_empty() {
        bail!("{} holds no scenarios (files ending in .toml)", directory.display());
    }
    paths.iter().map(|path| Ok(Scenario::read(&Disk, path)?)).collect()
}

/// No output may be the scenario, and no two outputs the same file.
fn refuse_overwriting(args: &Args) -> anyhow::Result<()> {
    let outputs = [
        ("--out", &args.out),
        ("--truth", &args.truth),
        ("--plot", &args.plot),
        ("--write-settings", &args.write_settings),
    ];
    for (index, (name, output)) in outputs.iter().enumerate() {
        let Some(output) = output else { continue };
        if args.scenario.as_deref().is_some_and(|scenario| same_file(scenario, output)) {
            bail!("{name} {} is the scenario itself: write to another file", output.display());
        }
        for (other_name, other) in outputs.iter().take(index) {
            if other.as_deref().is_some_and(|other| same_file(other, output)) {
                bail!("{other_name} and {name} are the same file, {}: name two", output.display());
            }
        }
    }
    Ok(())
}

/// What is run.
struct RunJob<'a> {
    args: &'a Args,
    scenario: &'a Scenario,
    commissioned: &'a Commissioned,
    /// The settings of the engineer's own leg, where it is not the scenario's.
    own: Option<&'a Checked>,
}

impl RunJob<'_> {
    /// The settings the monitor watches with.
    fn settings(&self) -> anyhow::Result<Checked> {
        Ok(self.own.map_or_else(|| checked(&self.scenario.leg, self.commissioned), |own| Ok(own.clone()))?)
    }
}

fn one(job: &RunJob<'_>, seed: u64) -> anyhow::Result<One> {
    let RunJob { args, scenario, commissioned, .. } = *job;
    let settings = job.settings()?;
    let place = |path: &Option<PathBuf>| {
        path.as_deref().map(|path| if args.repeat > 1 { numbered(path, seed) } else { path.to_path_buf() })
    };
    let names: Vec<String> = scenario.faults.iter().map(|fault| fault.kind.name()).collect();
    let (trace, truth_path) = (place(&args.out), place(&args.truth));
    let mut files = Files {
        trace: trace.as_deref().map(|path| Ok::<_, anyhow::Error>(Writer::begin(create(path)?)?)).transpose()?,
        truth: truth_path.as_deref().map(create).transpose()?,
        names: names.iter().map(String::as_str).collect(),
        picture: args.plot.is_some().then(|| (Vec::new(), Heard::of(&scenario.leg))),
        guard: args.replay.then(|| Guard::new(&settings)),
    };
    if let Some(file) = &mut files.truth {
        writeln!(file, "{}", truth::HEADER)?;
    }
    let obeys = match (args.replay, args.interlock || args.random.is_some()) {
        (true, _) => scenario.obeys(),
        (false, true) => Obeys::Interlock,
        (false, false) => Obeys::Nothing,
    };
    let summary =
        run_scenario(scenario, commissioned, seed, obeys, &mut files).context("the output cannot be written")?;
    let said = files.guard.as_ref().map(|guard| said(guard, &settings.limits)).unwrap_or_default();
    if let (Some(path), Some((rows, heard))) = (place(&args.plot), &files.picture) {
        let watched = files.guard.as_ref().map(watched).unwrap_or_default();
        picture::draw(scenario, window(args, scenario)?, &summary, rows, heard, &watched, &path)?;
    }
    if let Some(writer) = files.trace {
        writer.into_inner().finish()?;
    }
    if let Some(file) = files.truth {
        file.finish()?;
    }
    let stop = files.guard.as_ref().and_then(|guard| guard.dropped);
    Ok(One { seed, summary, stop, said })
}

/// What came of one run.
struct One {
    seed: u64,
    summary: Summary,
    stop: Option<(Micros, Option<Condition>)>,
    said: Vec<(f64, String)>,
}

/// `trace.csv` becomes `trace-7.csv`.
fn numbered(path: &Path, seed: u64) -> PathBuf {
    let stem = path.file_stem().unwrap_or_default().to_string_lossy();
    let ending = path.extension().map(|ending| format!(".{}", ending.to_string_lossy())).unwrap_or_default();
    path.with_file_name(format!("{stem}-{seed}{ending}"))
}

struct Files<'a> {
    trace: Option<Writer<Whole>>,
    truth: Option<Whole>,
    names: Vec<&'a str>,
    picture: Option<(Vec<Row>, Heard)>,
    guard: Option<Guard>,
}

impl Watch for Files<'_> {
    fn input(&mut self, input: &Input) -> io::Result<()> {
        if let Some(guard) = &mut self.guard {
            guard.take(input);
        }
        if let Some((_, heard)) = &mut self.picture {
            heard.input(input);
        }
        self.trace.as_mut().map_or(Ok(()), |trace| trace.write(input))
    }

    fn truth(&mut self, row: &Row) -> io::Result<()> {
        if let Some(file) = &mut self.truth {
            truth::write_row(row, &self.names, file)?;
        }
        if let Some((rows, heard)) = &mut self.picture {
            rows.push(row.clone());
            heard.row(row.time_us);
        }
        Ok(())
    }

    fn permits(&mut self, now_us: u64) -> Permits {
        self.guard.as_mut().map_or(Permits { run: true, feed: true }, |guard| guard.allows(now_us))
    }
}

/// What the monitor did, for the picture. A permit that an ordinary stop drops is no news.
fn watched(guard: &Guard) -> picture::Watched {
    let marks = guard.verdicts.iter().filter_map(|verdict| {
        let Change::Permit { permit, allowed: false, because: Some(because) } = verdict.change else { return None };
        let stops = permit == Permit::Run;
        let which = if stops { "STOP, run" } else { "feed" };
        let why = because.entry().title.to_lowercase();
        Some(picture::Mark {
            at: verdict.at.get() as f64 * 1e-6,
            text: format!("{which} permit dropped: {why}"),
            stops,
        })
    });
    picture::Watched { marks: marks.collect(), bars: heard::monitor(&guard.verdicts) }
}

/// What the monitor said, for people: permits and alarms, as a replay says them.
fn said(guard: &Guard, limits: &Limits) -> Vec<(f64, String)> {
    guard
        .verdicts
        .iter()
        .filter(|verdict| !matches!(verdict.change, Change::Phase(_)))
        .filter_map(|verdict| Some((verdict.at.get() as f64 * 1e-6, event_words(Some(limits), verdict)?.0)))
        .collect()
}

/// The runs as one object.
fn object(scenario: &Scenario, runs: &[One], guesses: &[Guess]) -> Value {
    let run = |One { seed, summary, stop, said }: &One| {
        json!({
            "seed": seed,
            "stop_called_us": summary.call.map(|call| call.from_us),
            "called_by": summary.why().map(Why::name),
            "lowest_belt_pct": summary.lowest_belt_pct,
            "largest_slip_pct": summary.largest_slip_pct,
            "most_heat_j": summary.most_heat_j,
            "largest_offset_mm": summary.largest_offset_mm,
            "rub_s": summary.rub_s,
            "stopped_us": stop.map(|(at, _)| at.get()),
            "stopped_by": stop.and_then(|(_, by)| by).map(Condition::name),
            "said": said.iter().map(|(at, words)| json!({"time_s": at, "words": words})).collect::<Vec<_>>(),
        })
    };
    json!({
        "format": "slackside-simulate",
        "format_version": 1,
        "scenario": scenario.name,
        "leg": scenario.leg.name,
        "duration_s": scenario.duration_s,
        "runs": runs.iter().map(run).collect::<Vec<_>>(),
        "guesses": guesses.iter().map(|guess| json!({"field": guess.field, "value": guess.value, "rule": guess.rule})).collect::<Vec<_>>(),
    })
}

/// What was guessed of the plant, a line each.
fn guessed(guesses: &[Guess]) -> String {
    let mut text = String::new();
    if guesses.is_empty() {
        return text;
    }
    text.push_str("\nGuessed of the plant, because the settings do not hold it\n");
    for Guess { field, value, rule } in guesses {
        let _ = writeln!(text, "{}", fill("  ", "      ", &format!("{field} = {value}: {rule}")));
    }
    text
}

/// Most lines of what the monitor said.
const MOST_SAID: usize = 200;

/// What came of the runs, in lines of 80 columns.
fn table(args: &Args, scenario: &Scenario, runs: &[One], spent: f64) -> String {
    let mut text = String::new();
    let mut line = |first: &str, rest: &str, words: &str| {
        let _ = writeln!(text, "{}", fill(first, rest, words));
    };
    line("", "  ", &format!("{} on {}: {}", scenario.name, scenario.leg.name, scenario.description));
    if let [run] = runs {
        for (at, words) in run.said.iter().take(MOST_SAID) {
            line(&format!("{:>15}  ", Clock::length_of_seconds(*at)), &" ".repeat(17), words);
        }
        if run.said.len() > MOST_SAID {
            line(&" ".repeat(17), "", &format!("... and {} more", run.said.len() - MOST_SAID));
        }
    }
    let mut rows = vec![HEADS.map(str::to_owned).to_vec()];
    rows.extend(runs.iter().map(figures));
    if !args.replay {
        rows.iter_mut().for_each(|row| row.truncate(HEADS.len() - 1));
    }
    text.push_str(&columns(&rows));
    let _ = writeln!(text, "{}", fill("", "  ", LEGEND));
    let _ = writeln!(text, "{}", fill("", "", &sum(args, scenario, runs, spent)));
    text
}

/// The figures of a run; the last is for the monitor in the loop.
const HEADS: [&str; 9] = ["seed", "stop due", "by", "slowest", "slip", "hottest", "offset", "rub", "stopped"];

/// What the heads mean.
const LEGEND: &str = "Of the plant's truth: when a stop was due, and what called for it; the belt's slowest, of normal speed, after a start; the \
                      most slip while running; the hottest of head, belt, boot and rub; the belt's furthest from its middle, at either \
                      end; how long it rubbed.";

fn figures(run: &One) -> Vec<String> {
    let One { seed, summary: s, stop, .. } = run;
    let never = || "never".to_owned();
    vec![
        seed.to_string(),
        s.call.map_or_else(never, |call| Clock::length(call.due_us)),
        s.why().map_or("", Why::name).to_owned(),
        format!("{:.1} %", s.lowest_belt_pct),
        format!("{:.1} %", s.largest_slip_pct),
        format!("{:.0} °C", s.hottest_c.into_iter().fold(f64::NEG_INFINITY, f64::max)),
        format!("{:.1} mm", s.largest_offset_mm),
        Clock::length_of_seconds(s.rub_s),
        stop.map_or_else(never, |(at, _)| Clock::length(at.get())),
    ]
}

/// Rows of text in columns, each as wide as its widest.
fn columns(rows: &[Vec<String>]) -> String {
    let width = |column: usize| rows.iter().filter_map(|row| row.get(column)).map(|text| text.chars().count()).max();
    let widths: Vec<usize> = (0..HEADS.len()).map_while(width).collect();
    let mut text = String::new();
    for row in rows {
        let cells: Vec<String> = row.iter().zip(&widths).map(|(cell, width)| format!("{cell:>width$}")).collect();
        let _ = writeln!(text, "{}", cells.join("  ").trim_end());
    }
    text
}

/// All runs in a sentence.
fn sum(args: &Args, scenario: &Scenario, runs: &[One], spent: f64) -> String {
    let called = runs.iter().filter(|run| run.summary.call.is_some()).count();
    let mut words = match runs.len() {
        1 if called == 1 => "The run calls for a stop".to_owned(),
        1 => "The run calls for no stop".to_owned(),
        several => format!("{called} of {several} runs call for a stop"),
    };
    if args.replay {
        let stopped: Vec<Option<Condition>> = runs.iter().filter_map(|run| Some(run.stop?.1)).collect();
        let _ = match (runs.len(), stopped.len()) {
            (1, 0) => write!(words, "; the monitor did not stop it"),
            (1, _) => write!(words, "; the monitor stopped it"),
            (_, stopped) => write!(words, "; the monitor stops {stopped}"),
        };
        let by: Vec<String> = Condition::ALL
            .into_iter()
            .filter_map(|condition| {
                let count = stopped.iter().filter(|by| **by == Some(condition)).count();
                let title = condition.entry().title.to_lowercase();
                (count > 0).then(|| if runs.len() == 1 { title } else { format!("{title} {count}") })
            })
            .collect();
        if !by.is_empty() {
            let _ = write!(words, " ({})", by.join(", "));
        }
    }
    let simulated = scenario.duration_s * runs.len() as f64;
    let inputs: u64 = runs.iter().map(|run| run.summary.inputs).sum();
    let _ = write!(
        words,
        "; {} with {inputs} inputs simulated in {}, {:.0} times real time",
        Clock::length_of_seconds(simulated),
        Clock::length_of_seconds(spent),
        simulated / spent.max(1e-9)
    );
    words
}
