//! `slackside simulate`.

use std::fmt::Write as _;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use anyhow::{Context, bail};
use indicatif::{ParallelProgressIterator, ProgressBar, ProgressStyle};
use rayon::iter::{IntoParallelIterator, ParallelIterator};
use slackside::input::Input;
use slackside::judge::{AlarmState, Condition};
use slackside::units::Micros;
use slackside::verdict::{Change, Permit};

use crate::outputs::{Whole, same_file};
use crate::replay::state_name;
use crate::scenario::guard::Guard;
use crate::scenario::run::{Permits, Summary, Watch, run as run_scenario};
use crate::scenario::score::{self, checked};
use crate::scenario::settings::{Commissioned, settings_for};
use crate::scenario::truth::Row;
use crate::scenario::{Scenario, plot, truth};
use crate::trace::Writer;

/// Simulate a leg and write its trace, its truth and its picture.
#[derive(clap::Args)]
pub struct Args {
    /// The scenario, a TOML file.
    #[arg(value_name = "SCENARIO.toml", required_unless_present = "score")]
    scenario: Option<PathBuf>,
    /// Write the trace, as the sensors tell it, to this CSV file.
    #[arg(long, value_name = "TRACE.csv")]
    out: Option<PathBuf>,
    /// Write what the plant knows and no sensor tells to this CSV file.
    #[arg(long, value_name = "TRUTH.csv")]
    truth: Option<PathBuf>,
    /// Draw the run into this SVG file.
    #[arg(long, value_name = "FILE.svg")]
    plot: Option<PathBuf>,
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
    /// Write the settings of the scenario's leg, as commissioned, for `slackside replay --settings`.
    #[arg(long, value_name = "LEG.toml")]
    settings: Option<PathBuf>,
    /// Score the monitor on every scenario of a directory and on healthy hours, and print the page of the book.
    #[arg(long, value_name = "DIRECTORY", conflicts_with_all = ["scenario", "out", "truth", "plot", "severity", "replay"])]
    score: Option<PathBuf>,
    /// Healthy hours to score, with the motor on.
    #[arg(long, default_value_t = 1_000.0, requires = "score")]
    hours: f64,
    /// Write the page of scores to this file instead.
    #[arg(long, value_name = "FILE.md", requires = "score")]
    write: Option<PathBuf>,
}

/// Run the command.
pub fn run(args: &Args) -> anyhow::Result<()> {
    if args.repeat == 0 {
        bail!("--repeat is 0, expected 1 or more");
    }
    if let Some(directory) = &args.score {
        return score_all(args, directory);
    }
    let Some(path) = &args.scenario else { bail!("no scenario given: name a TOML file") };
    refuse_overwriting(args, path)?;
    let mut scenario = Scenario::read(path)?;
    if let Some(severity) = args.severity {
        if !(0.0..=1.0).contains(&severity) {
            bail!("--severity is {severity}, expected 0 to 1");
        }
        scenario.set_severity(severity);
    }
    let first = args.seed.unwrap_or(scenario.seed);
    let commissioned = Commissioned::measure(&scenario.leg);
    if let Some(path) = &args.settings {
        let text = crate::settings::write(&settings_for(&scenario.leg, &commissioned));
        let mut file = Whole::create(path).with_context(|| format!("{} cannot be written", path.display()))?;
        file.write_all(text.as_bytes())?;
        file.finish()?;
    }
    let bar = if args.repeat > 1 {
        ProgressBar::new(u64::from(args.repeat))
            .with_style(ProgressStyle::with_template("{wide_bar} {pos}/{len} runs, {eta} to go")?)
    } else {
        ProgressBar::hidden()
    };
    let begun = std::time::Instant::now();
    let runs: Vec<One> = (0..args.repeat)
        .into_par_iter()
        .progress_with(bar)
        .map(|i| one(args, &scenario, &commissioned, first.wrapping_add(u64::from(i))))
        .collect::<anyhow::Result<_>>()?;
    let text = table(args, &scenario, &runs, begun.elapsed().as_secs_f64());
    print(&text)
}

fn score_all(args: &Args, directory: &Path) -> anyhow::Result<()> {
    let repeat = if args.repeat == 1 { 10 } else { args.repeat };
    let job = score::Job { scenarios: directory, hours: args.hours, repeat, seed: args.seed.unwrap_or(1) };
    let page = score::page(&job)?;
    match &args.write {
        Some(path) => {
            let mut file = Whole::create(path).with_context(|| format!("{} cannot be written", path.display()))?;
            file.write_all(page.as_bytes())?;
            file.finish()?;
            Ok(())
        }
        None => print(&page),
    }
}

fn print(text: &str) -> anyhow::Result<()> {
    match io::stdout().lock().write_all(text.as_bytes()) {
        // Whoever read it has seen enough.
        Err(error) if error.kind() == io::ErrorKind::BrokenPipe => Ok(()),
        wrote => wrote.context("standard output cannot be written"),
    }
}

/// No output may be the scenario, and no two outputs the same file.
fn refuse_overwriting(args: &Args, scenario: &Path) -> anyhow::Result<()> {
    let outputs =
        [("--out", &args.out), ("--truth", &args.truth), ("--plot", &args.plot), ("--settings", &args.settings)];
    for (index, (name, output)) in outputs.iter().enumerate() {
        let Some(output) = output else { continue };
        if same_file(scenario, output) {
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

fn one(args: &Args, scenario: &Scenario, commissioned: &Commissioned, seed: u64) -> anyhow::Result<One> {
    let place = |path: &Option<PathBuf>| {
        path.as_deref().map(|path| if args.repeat > 1 { numbered(path, seed) } else { path.to_path_buf() })
    };
    let names: Vec<String> = scenario.faults.iter().map(|fault| fault.kind.name()).collect();
    let cannot = |path: &Path| format!("{} cannot be written: check that its directory is there", path.display());
    let (trace, truth_path) = (place(&args.out), place(&args.truth));
    let mut files = Files {
        trace: trace.as_deref().map(|path| Writer::create(path).with_context(|| cannot(path))).transpose()?,
        truth: truth_path.as_deref().map(|path| Whole::create(path).with_context(|| cannot(path))).transpose()?,
        names: names.iter().map(String::as_str).collect(),
        rows: args.plot.is_some().then(Vec::new),
        guard: if args.replay { Some(Guard::new(&checked(&scenario.leg, commissioned)?)) } else { None },
    };
    if let Some(file) = &mut files.truth {
        writeln!(file, "{}", truth::HEADER)?;
    }
    let obey = args.replay && scenario.obey_permits.unwrap_or(true);
    let summary =
        run_scenario(scenario, commissioned, seed, obey, &mut files).context("the output cannot be written")?;
    let said = files.guard.as_ref().map(said).unwrap_or_default();
    if let (Some(path), Some(rows)) = (place(&args.plot), &files.rows) {
        let marks: Vec<(f64, String)> = said
            .iter()
            .filter(|(_, text)| text.contains("permit") && text.contains("dropped"))
            .take(12)
            .cloned()
            .collect();
        plot::draw(scenario, &summary, rows, &marks, &path)?;
    }
    if let Some(file) = files.trace {
        file.finish()?;
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
    trace: Option<Writer>,
    truth: Option<Whole>,
    names: Vec<&'a str>,
    rows: Option<Vec<Row>>,
    guard: Option<Guard>,
}

impl Watch for Files<'_> {
    fn input(&mut self, input: &Input) -> io::Result<()> {
        if let Some(guard) = &mut self.guard {
            guard.take(input);
        }
        self.trace.as_mut().map_or(Ok(()), |trace| trace.write(input))
    }

    fn truth(&mut self, row: &Row) -> io::Result<()> {
        if let Some(file) = &mut self.truth {
            truth::write_row(row, &self.names, file)?;
        }
        if let Some(rows) = &mut self.rows {
            rows.push(row.clone());
        }
        Ok(())
    }

    fn permits(&mut self, now_us: u64) -> Permits {
        self.guard.as_mut().map_or(Permits { run: true, feed: true }, |guard| guard.allows(now_us))
    }
}

/// What the monitor said, for people: permits, first-out, alarms.
fn said(guard: &Guard) -> Vec<(f64, String)> {
    guard
        .verdicts
        .iter()
        .filter_map(|verdict| {
            let text = match verdict.change {
                Change::Permit { permit, allowed, because } => {
                    let which = if permit == Permit::Run { "run" } else { "feed" };
                    let by = because.map_or_else(String::new, |because| format!(" by {}", because.name()));
                    format!("{which} permit {}{by}", if allowed { "given" } else { "dropped" })
                }
                // What is suppressed by design while starting is no news.
                Change::Alarm { condition, to, from, .. }
                    if to != AlarmState::Suppressed && from != AlarmState::Suppressed =>
                {
                    format!("{}: {}", condition.name(), state_name(to))
                }
                Change::FirstOut(Some(condition)) => format!("first-out: {}", condition.name()),
                _ => return None,
            };
            Some((verdict.at.get() as f64 * 1e-6, text))
        })
        .collect()
}

fn table(args: &Args, scenario: &Scenario, runs: &[One], spent: f64) -> String {
    let mut text = String::new();
    let _ = writeln!(text, "{}: {}", scenario.name, scenario.description);
    if let [run] = runs {
        for (at, words) in run.said.iter().take(200) {
            let _ = writeln!(text, "{at:>14.6} s  {words}");
        }
        if run.said.len() > 200 {
            let _ = writeln!(text, "                  ... and {} more", run.said.len() - 200);
        }
    }
    let monitor = if args.replay { "monitor stops" } else { "" };
    let _ = writeln!(
        text,
        "{:>10}  {:>13}  {:>12}  {:>8}  {:>8}  {:>9}  {:>10}  {:>9}  {:>9}  {monitor}",
        "seed", "stop due", "because of", "inputs", "lowest", "most slip", "slip heat", "offset", "rubbing"
    );
    for One { seed, summary: s, stop, .. } in runs {
        let due = s.stop_called_us.map_or_else(|| "never".to_owned(), |at| format!("{:.3} s", at as f64 * 1e-6));
        let why = match (s.stop_called_us, s.called_by_belt) {
            (None, _) => "",
            (Some(_), true) => "belt < 80 %",
            (Some(_), false) => "slip heat",
        };
        let stop = match stop {
            Some((at, because)) => {
                let by = because.map_or("nothing named", Condition::name);
                format!("{:.3} s, {by}", at.get() as f64 * 1e-6)
            }
            None if args.replay => "never".to_owned(),
            None => String::new(),
        };
        let _ = writeln!(
            text,
            "{seed:>10}  {due:>13}  {why:>12}  {:>8}  {:>6.1} %  {:>7.1} %  {:>7.0} kJ  {:>6.1} mm  {:>7.1} s  {stop}",
            s.inputs,
            s.lowest_belt_pct,
            s.largest_slip_pct,
            s.most_heat_j / 1e3,
            s.largest_offset_mm,
            s.rub_s
        );
    }
    let simulated = scenario.duration_s * runs.len() as f64;
    let called = runs.iter().filter(|run| run.summary.stop_called_us.is_some()).count();
    let stopped = if args.replay {
        format!("; the monitor stops {}", runs.iter().filter(|run| run.stop.is_some()).count())
    } else {
        String::new()
    };
    let _ = writeln!(
        text,
        "{called} of {} runs call for a stop{stopped}; {simulated:.0} s simulated in {spent:.2} s, {:.0} times real time",
        runs.len(),
        simulated / spent.max(1e-9)
    );
    text
}
