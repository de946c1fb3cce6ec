//! `slackside import`.

use std::io::Write as _;
use std::path::{Path, PathBuf};

use anyhow::{anyhow, bail};
use serde_json::{Value, json};
use slackside_desk::files::{Files as _, unreadable};
use slackside_desk::import::{Choice, Role, Speeds, Unit, guess, inputs, look, speeds, suggestion};
use slackside_desk::settings;
use slackside_desk::trace::Writer;

use super::talk::{Talk, tell};
use crate::disk::Disk;
use crate::outputs::{same_file, write_whole};

/// Make a trace of what another logger wrote: a value change dump (VCD), a logic analyser's CSV, a wide CSV with a column for each wire, or
/// a historian's export with a row for each value.
///
/// Without `--out` it says what the file seems to hold, with the evidence, and writes nothing. Nothing is taken on a guess: which column is
/// which sensor is said by `--map`, unless the columns bear the names of channels; the rate of samples or the unit of time by `--rate` or
/// `--time-unit`, unless the file says it itself.
#[derive(clap::Args)]
pub struct Args {
    /// The file.
    file: PathBuf,
    /// Which series is what, such as head=D0,boot=!D1,drive=D2; `!` for one whose levels are the other way about.
    #[arg(long, value_name = "CHANNEL=NAME,…")]
    map: Option<String>,
    /// Samples a second, where each row is one and nothing says so.
    #[arg(long, value_name = "HERTZ", value_parser = rate)]
    rate: Option<f64>,
    /// The unit of the time column, where nothing says so: s, ms, us, ns or ps.
    #[arg(long, value_name = "UNIT", value_parser = unit)]
    time_unit: Option<Unit>,
    /// Write the trace to this file: it appears whole or not at all.
    #[arg(long, value_name = "TRACE.csv")]
    out: Option<PathBuf>,
    /// The settings of the leg, for files of speeds: what can be told of it without edges.
    #[arg(long, value_name = "LEG.toml", conflicts_with = "out")]
    settings: Option<PathBuf>,
}

fn rate(text: &str) -> Result<f64, String> {
    let rate: f64 = text.parse().map_err(|_| "write hertz as a number, such as 10000".to_owned())?;
    if rate > 0.0 && rate <= 1e10 { Ok(rate) } else { Err("write hertz above 0, at most 10 GHz".to_owned()) }
}

fn unit(text: &str) -> Result<Unit, String> {
    Unit::ALL.into_iter().find(|unit| unit.name() == text).ok_or_else(|| "write s, ms, us, ns or ps".to_owned())
}

/// Run the command.
pub fn run(args: &Args, talk: &Talk) -> anyhow::Result<()> {
    let name = args.file.display().to_string();
    let wanted = "name a file that a logger wrote, such as a VCD or CSV file";
    let bytes = Disk.bytes(&args.file).map_err(|error| anyhow!("{name} {}", unreadable(&error, wanted)))?;
    let map = args.map.as_deref().map(Choice::read_map).transpose()?.unwrap_or_default();
    let choice = Choice { map, rate_hz: args.rate, unit: args.time_unit };
    let found = look(&name, &bytes)?;
    if !choice.map.is_empty() {
        // What was said of the file must be true of it, written or not.
        choice.roles(&found)?;
    }
    let said = guess(&found, &choice);
    let Some(out) = &args.out else {
        if let Some(path) = &args.settings {
            let told = speeds(&found, &choice, &settings::read(&Disk, path)?.checked)?;
            talk.object(|| object(&said, &Done { speeds: Some(&told), ..Done::default() }))?;
            return talk.words(format!("{said}\n{}", told.words()));
        }
        let suggestion = suggestion(&found);
        talk.object(|| object(&said, &Done { suggestion: Some(&suggestion), ..Done::default() }))?;
        return talk.words(format!(
            "{said}\nNothing was written. If that is what the file holds:\n  slackside import {name}{suggestion} --out TRACE.csv\n"
        ));
    };
    if same_file(&args.file, out) {
        bail!("{name} would be overwritten: name another file to write");
    }
    let roles = choice.roles(&found)?;
    if let Some((role, series, _)) = roles.iter().find(|(role, ..)| matches!(role, Role::HeadRpm | Role::BootRpm)) {
        bail!(
            "`{}` as {} holds no edges, and a trace is made of edges: leave out --out and give --settings for what speeds can tell",
            series.name,
            role.name()
        );
    }
    let imported = inputs(&found, &choice)?;
    talk.words(&said)?;
    imported.remarks.iter().for_each(|remark| tell(format_args!("{remark}")));
    write_whole(out, |file| {
        let mut writer = Writer::begin(Vec::new())?;
        for input in &imported.inputs {
            writer.write(input)?;
        }
        let text = writer.into_inner();
        let header = text.iter().position(|byte| *byte == b'\n').map_or(0, |end| end + 1);
        file.write_all(&text[..header])?;
        if let Some(began) = imported.began_us {
            // A file of times to the millisecond knows them no better.
            writeln!(file, "#anchor 0 {began} 1000000")?;
        }
        Ok(file.write_all(&text[header..])?)
    })?;
    let rows = imported.inputs.len();
    talk.object(|| object(&said, &Done { out: Some(out), rows, remarks: &imported.remarks, ..Done::default() }))?;
    talk.line(format_args!("{}: {rows} rows", out.display()))
}

/// What came of it.
#[derive(Default)]
struct Done<'d> {
    suggestion: Option<&'d str>,
    speeds: Option<&'d Speeds>,
    out: Option<&'d Path>,
    rows: usize,
    remarks: &'d [String],
}

fn object(guess: &str, done: &Done<'_>) -> Value {
    let slow = |(from, to, share): &(f64, f64, f64)| json!({"from_s": from, "to_s": to, "share": share});
    let speeds = done.speeds.map(|speeds| {
        let slow: Vec<Value> = speeds.slow.iter().map(slow).collect();
        json!({"seconds": speeds.seconds, "mean_slip_pct": speeds.mean_slip_pct, "slow": slow})
    });
    json!({
        "format": "slackside-import",
        "format_version": 1,
        "guess": guess,
        "suggestion": done.suggestion,
        "speeds": speeds,
        "out": done.out,
        "rows": done.rows,
        "remarks": done.remarks,
    })
}
