//! `slackside simulate`.

use std::fmt::Write as _;
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

use anyhow::{Context, bail};
use indicatif::{ParallelProgressIterator, ProgressBar, ProgressStyle};
use rayon::iter::{IntoParallelIterator, ParallelIterator};
use slackside::input::Input;
use tempfile::NamedTempFile;

use crate::scenario::run::{Permits, Summary, Watch, run as run_scenario};
use crate::scenario::settings::Commissioned;
use crate::scenario::truth::Row;
use crate::scenario::{Scenario, plot, trace_csv, truth};

/// Simulate a leg and write its trace, its truth and its picture.
#[derive(clap::Args)]
pub struct Args {
    /// The scenario, a TOML file.
    #[arg(value_name = "SCENARIO.toml")]
    scenario: PathBuf,
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
}

/// Run the command.
pub fn run(args: &Args) -> anyhow::Result<()> {
    let mut scenario = Scenario::read(&args.scenario)?;
    if let Some(severity) = args.severity {
        if !(0.0..=1.0).contains(&severity) {
            bail!("--severity is {severity}, expected 0 to 1");
        }
        scenario.set_severity(severity);
    }
    if args.repeat == 0 {
        bail!("--repeat is 0, expected 1 or more");
    }
    let first = args.seed.unwrap_or(scenario.seed);
    let commissioned = Commissioned::measure(&scenario.leg);
    let bar = if args.repeat > 1 {
        ProgressBar::new(u64::from(args.repeat)).with_style(ProgressStyle::with_template(
            "{wide_bar} {pos}/{len} runs, {eta} to go",
        )?)
    } else {
        ProgressBar::hidden()
    };
    let begun = std::time::Instant::now();
    let summaries: Vec<(u64, Summary)> = (0..args.repeat)
        .into_par_iter()
        .progress_with(bar)
        .map(|i| {
            let seed = first.wrapping_add(u64::from(i));
            one(args, &scenario, &commissioned, seed).map(|summary| (seed, summary))
        })
        .collect::<anyhow::Result<_>>()?;
    let spent = begun.elapsed().as_secs_f64();
    print!("{}", table(&scenario, &summaries, spent));
    Ok(())
}

fn one(args: &Args, scenario: &Scenario, commissioned: &Commissioned, seed: u64) -> anyhow::Result<Summary> {
    let place = |path: &Option<PathBuf>| {
        path.as_deref().map(|path| if args.repeat > 1 { numbered(path, seed) } else { path.to_path_buf() })
    };
    let names: Vec<String> = scenario.faults.iter().map(|fault| fault.kind.name()).collect();
    let mut files = Files {
        trace: Output::create(place(&args.out), trace_csv::HEADER)?,
        truth: Output::create(place(&args.truth), truth::HEADER)?,
        names: names.iter().map(String::as_str).collect(),
        rows: args.plot.is_some().then(Vec::new),
    };
    let obey = scenario.obey_permits.unwrap_or(false);
    let summary = run_scenario(scenario, commissioned, seed, obey, &mut files).context("the output cannot be written")?;
    if let (Some(path), Some(rows)) = (place(&args.plot), &files.rows) {
        plot::draw(scenario, &summary, rows, &[], &path)?;
    }
    files.trace.finish()?;
    files.truth.finish()?;
    Ok(summary)
}

/// `trace.csv` becomes `trace-7.csv`.
fn numbered(path: &Path, seed: u64) -> PathBuf {
    let stem = path.file_stem().unwrap_or_default().to_string_lossy();
    let ending = path.extension().map(|ending| format!(".{}", ending.to_string_lossy())).unwrap_or_default();
    path.with_file_name(format!("{stem}-{seed}{ending}"))
}

/// A file that appears only once it is whole.
struct Output {
    file: Option<(BufWriter<NamedTempFile>, PathBuf)>,
}

impl Output {
    fn create(path: Option<PathBuf>, header: &str) -> anyhow::Result<Self> {
        let Some(path) = path else { return Ok(Self { file: None }) };
        let directory = path.parent().filter(|parent| !parent.as_os_str().is_empty()).unwrap_or(Path::new("."));
        let file = NamedTempFile::new_in(directory).with_context(|| format!("{} cannot be written", path.display()))?;
        let mut file = BufWriter::with_capacity(1 << 16, file);
        writeln!(file, "{header}")?;
        Ok(Self { file: Some((file, path)) })
    }

    fn finish(self) -> anyhow::Result<()> {
        if let Some((file, path)) = self.file {
            let file = file.into_inner().map_err(io::IntoInnerError::into_error)?;
            file.persist(&path).with_context(|| format!("{} cannot be written", path.display()))?;
        }
        Ok(())
    }
}

struct Files<'a> {
    trace: Output,
    truth: Output,
    names: Vec<&'a str>,
    rows: Option<Vec<Row>>,
}

impl Watch for Files<'_> {
    fn input(&mut self, input: &Input) -> io::Result<()> {
        if let Some((file, _)) = &mut self.trace.file {
            trace_csv::write_row(input, file)?;
        }
        Ok(())
    }

    fn truth(&mut self, row: &Row) -> io::Result<()> {
        if let Some((file, _)) = &mut self.truth.file {
            truth::write_row(row, &self.names, file)?;
        }
        if let Some(rows) = &mut self.rows {
            rows.push(row.clone());
        }
        Ok(())
    }

    fn permits(&mut self, _now_us: u64) -> Permits {
        Permits { run: true, feed: true }
    }
}

fn table(scenario: &Scenario, summaries: &[(u64, Summary)], spent: f64) -> String {
    let mut text = String::new();
    let _ = writeln!(text, "{}: {}", scenario.name, scenario.description);
    let _ = writeln!(
        text,
        "{:>10}  {:>12}  {:>14}  {:>8}  {:>10}  {:>10}  {:>10}  {:>9}  {:>8}",
        "seed", "stop due", "because of", "inputs", "lowest", "most slip", "slip heat", "offset", "rubbing"
    );
    for (seed, s) in summaries {
        let due = s.stop_called_us.map_or_else(|| "never".to_owned(), |at| format!("{:.3} s", at as f64 * 1e-6));
        let why = match (s.stop_called_us, s.called_by_belt) {
            (None, _) => "",
            (Some(_), true) => "belt < 80 %",
            (Some(_), false) => "slip heat",
        };
        let _ = writeln!(
            text,
            "{seed:>10}  {due:>12}  {why:>14}  {:>8}  {:>8.1} %  {:>8.1} %  {:>7.0} kJ  {:>6.1} mm  {:>6.1} s",
            s.inputs,
            s.lowest_belt_pct,
            s.largest_slip_pct,
            s.most_heat_j / 1e3,
            s.largest_offset_mm,
            s.rub_s
        );
    }
    let simulated = scenario.duration_s * summaries.len() as f64;
    let called = summaries.iter().filter(|(_, s)| s.stop_called_us.is_some()).count();
    let _ = writeln!(
        text,
        "{} of {} runs call for a stop; {simulated:.0} s simulated in {spent:.2} s, {:.0} times real time",
        called,
        summaries.len(),
        simulated / spent.max(1e-9)
    );
    text
}
