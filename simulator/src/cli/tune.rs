//! `slackside tune`.

use std::collections::HashMap;
use std::fmt::Write as _;
use std::fs;
use std::io::Write as _;
use std::path::{Path, PathBuf};

use anyhow::{Context, bail};
use clap::builder::{PathBufValueParser, TypedValueParser as _};
use serde_json::{Value, json};
use slackside_desk::cautions;
use slackside_desk::lines::{WIDTH, fill};

use slackside_desk::tune::answer::{Answer, cannot_trade_off};
use slackside_desk::tune::choose::{Choice, choose, cost, refusal, undecided};
use slackside_desk::tune::corpus::{Case, load};
use slackside_desk::tune::page::{BENCH_ONLY, NONE_HELD_OUT, Replays, figures, judged, page, worst_of};
use slackside_desk::tune::results::Rows;
use slackside_desk::tune::session::{Beside, Found, Shard, held_out, none_held_out, planned, tuned};
use slackside_desk::tune::settings_out;
use slackside_desk::tune::study::Study;
use slackside_desk::tune::summary::Summary;

use super::interrupt;
use super::talk::{Talk, tell};
use crate::bars;
use crate::cores::Cores;
use crate::disk::Disk;
use crate::outputs::{html, is_free, write_whole};
use crate::study_files::{MOST, pages, read_parquet, search, write_csv, write_parquet};

/// Find limits an engineer can choose and defend, from recordings and simulated runs.
///
/// A study file says which traces, which limits over what ranges, and how to search. What was done is kept: the same command goes
/// on from where it was stopped.
#[derive(clap::Args)]
#[command(args_conflicts_with_subcommands = true)]
pub struct Args {
    #[command(subcommand)]
    merge: Option<Sub>,
    #[command(flatten)]
    study: StudyArgs,
}

#[derive(clap::Subcommand)]
enum Sub {
    /// Put the shards of a study together: the same results as one run.
    Merge(MergeArgs),
}

#[derive(clap::Args)]
struct StudyArgs {
    /// The study file.
    #[arg(value_name = "STUDY.toml")]
    study: Option<PathBuf>,
    /// Do only part K of N, for a batch of machines; put together with `slackside tune merge`.
    #[arg(long, value_name = "K/N", value_parser = shard)]
    shard: Option<Shard>,
    #[command(flatten)]
    outputs: Outputs,
}

#[derive(clap::Args)]
struct MergeArgs {
    /// The study file.
    #[arg(value_name = "STUDY.toml")]
    study: PathBuf,
    /// The shards' results.
    #[arg(value_name = "SHARD.parquet", required = true)]
    shards: Vec<PathBuf>,
    #[command(flatten)]
    outputs: Outputs,
}

#[derive(clap::Args)]
struct Outputs {
    /// Write the results to STEM.parquet and STEM.csv; unfinished work is kept in STEM.unfinished.csv. The study's name without it.
    #[arg(long, value_name = "STEM")]
    out: Option<PathBuf>,
    /// Write the report, one page for a hazard review.
    #[arg(long, value_name = "FILE.html", value_parser = PathBufValueParser::new().try_map(html))]
    report: Option<PathBuf>,
    /// Write the recommended settings, each tuned value with its reason.
    #[arg(long, value_name = "OUT.toml")]
    write_settings: Option<PathBuf>,
}

impl Outputs {
    /// Hours of work must not end at a directory that is not there.
    fn can_be_written(&self, stem: &Path) -> anyhow::Result<()> {
        for path in [Some(stem), self.report.as_deref(), self.write_settings.as_deref()].into_iter().flatten() {
            let directory = path.parent().filter(|parent| !parent.as_os_str().is_empty()).unwrap_or(Path::new("."));
            if !directory.is_dir() {
                bail!(
                    "{} cannot be written: there is no directory {}; make it, or give another path",
                    path.display(),
                    directory.display()
                );
            }
            if path != stem {
                is_free(path).map_err(|error| anyhow::anyhow!("{} is not written: {error}", path.display()))?;
            }
            if path.is_dir() && path != stem {
                bail!("{} cannot be written: it is a directory; give the path of a file", path.display());
            }
        }
        for ending in [".parquet", ".csv"] {
            let path = with_ending(stem, ending);
            is_free(&path).map_err(|error| anyhow::anyhow!("{} is not written: {error}", path.display()))?;
        }
        Ok(())
    }
}

fn shard(text: &str) -> Result<Shard, String> {
    let wrong = || "write part and parts, such as 2/8".to_owned();
    let (number, of) = text.split_once('/').ok_or_else(wrong)?;
    let (number, of): (u32, u32) = (number.parse().map_err(|_| wrong())?, of.parse().map_err(|_| wrong())?);
    if (1..=of).contains(&number) { Ok(Shard { number, of }) } else { Err(wrong()) }
}

fn with_ending(stem: &Path, ending: &str) -> PathBuf {
    let mut name = stem.file_name().unwrap_or_default().to_os_string();
    name.push(ending);
    stem.with_file_name(name)
}

/// Run the command.
pub fn run(args: &Args, talk: &Talk) -> anyhow::Result<()> {
    match &args.merge {
        Some(Sub::Merge(merge)) => run_merge(merge, talk),
        None => run_study(&args.study, talk),
    }
}

fn measured(study: &Study) -> anyhow::Result<Vec<Case>> {
    let runs: u64 = study.families.iter().map(|family| u64::from(family.runs)).sum();
    let shifts: u64 = study.populations.iter().map(|population| u64::from(population.shifts)).sum();
    let bar = bars::steps("measuring", study.traces.len() as u64 + runs + shifts);
    let cases = load(study, &Disk, &Cores, &|done| bar.inc(done))?;
    bar.finish_and_clear();
    Ok(cases)
}

fn run_study(args: &StudyArgs, talk: &Talk) -> anyhow::Result<()> {
    let Some(path) = &args.study else { bail!("which study? give the path of a study file (TOML)") };
    let study = Study::read(&Disk, path)?;
    let shard = args.shard.unwrap_or(Shard { number: 1, of: 1 });
    if shard.of > 1 && (args.outputs.report.is_some() || args.outputs.write_settings.is_some()) {
        bail!("a shard alone cannot recommend anything: leave --report and --write-settings to `slackside tune merge`");
    }
    let mut stem = args.outputs.out.clone().unwrap_or_else(|| path.with_extension(""));
    if shard.of > 1 {
        stem = with_ending(&stem, &format!(".{}-of-{}", shard.number, shard.of));
    }
    args.outputs.can_be_written(&stem)?;
    let cases = measured(&study)?;
    let unfinished = with_ending(&stem, ".unfinished.csv");
    interrupt::gently(true);
    let bar = bars::steps("judging", 1);
    let found = search(&study, &cases, shard, &unfinished, &|done, all| {
        if let Some(all) = all {
            bar.set_length(all);
        }
        bar.inc(done);
        !interrupt::asked()
    })?;
    bar.finish_and_clear();
    interrupt::gently(false);
    if found.stopped {
        let judged = found.rows.len();
        interrupt::leave(&format!("{judged} settings are kept in {}; the same command goes on", unfinished.display()));
    }
    if found.kept > 0 {
        tell(format_args!("gone on from {}: {} settings were judged before", unfinished.display(), found.kept));
    }
    if shard.of == 1 && found.rows.len() <= 1 && found.refused.0 > 0 {
        fs::remove_file(&unfinished).with_context(|| format!("{} cannot be removed", unfinished.display()))?;
        bail!(
            "{}: every setting of this study breaks a rule together with the limits it does not vary, so there is nothing to \
             choose from; the first: {}",
            path.display(),
            found.refused.1.as_deref().unwrap_or_default()
        );
    }
    write_results(&study, &cases, &found.rows, &stem)?;
    // All of it stands in the results now.
    fs::remove_file(&unfinished).with_context(|| format!("{} cannot be removed", unfinished.display()))?;
    if shard.of > 1 {
        let parquet = with_ending(&stem, ".parquet");
        talk.object(|| {
            json!({
                "format": "slackside-tune-shard",
                "format_version": 1,
                "shard": shard.number,
                "of": shard.of,
                "settings_judged": found.rows.len(),
                "results": parquet,
            })
        })?;
        talk.line(format_args!("shard {} of {}: {} settings", shard.number, shard.of, found.rows.len()))?;
        return talk.line(parquet.display());
    }
    conclude(&study, &cases, &found, &stem, &args.outputs, talk)
}

fn run_merge(args: &MergeArgs, talk: &Talk) -> anyhow::Result<()> {
    let study = Study::read(&Disk, &args.study)?;
    let stem = args.outputs.out.clone().unwrap_or_else(|| args.study.with_extension(""));
    args.outputs.can_be_written(&stem)?;
    let cases = measured(&study)?;
    let mut rows = Rows::new();
    for shard in &args.shards {
        read_parquet(shard, &study, &cases, &mut rows)?;
    }
    let Some(plan) = planned(&study) else { bail!("{}: an evolution has no shards", args.study.display()) };
    let mut refused = (0, None);
    let numbers = std::iter::once((0, None))
        .chain(plan.iter().enumerate().map(|(index, levels)| (index as u32 + 1, Some(levels))));
    for (number, levels) in numbers {
        if rows.get(&number).is_some_and(|row| row.outcomes.len() == cases.len()) {
            continue;
        }
        let broken =
            levels.and_then(|levels| cases.iter().find_map(|case| study.settings(&case.settings, levels).err()));
        match broken {
            Some(reason) => {
                refused.0 += 1;
                refused.1.get_or_insert(reason);
            }
            None => bail!("setting {number} is in none of the shards, or not whole: give all shards of the study"),
        }
    }
    let found = Found { rows, refused, kept: 0, stopped: false };
    write_results(&study, &cases, &found.rows, &stem)?;
    conclude(&study, &cases, &found, &stem, &args.outputs, talk)
}

fn write_results(study: &Study, cases: &[Case], rows: &Rows, stem: &Path) -> anyhow::Result<()> {
    write_parquet(&with_ending(stem, ".parquet"), study, cases, rows)?;
    write_csv(&with_ending(stem, ".csv"), study, cases, rows)
}

fn write_text(path: &Path, text: &str) -> anyhow::Result<()> {
    write_whole(path, |file| Ok(file.write_all(text.as_bytes())?))
}

fn conclude(
    study: &Study,
    cases: &[Case],
    found: &Found,
    stem: &Path,
    outputs: &Outputs,
    talk: &Talk,
) -> anyhow::Result<()> {
    let mut beside = Beside::new(study, cases, &found.rows, &Cores);
    let Some(choice) = choose(study, &found.rows, &mut beside) else {
        bail!("no setting could be judged: {}", found.refused.1.clone().unwrap_or_default());
    };
    if let Some(path) = &outputs.report {
        let mut replays = Replays {
            links: HashMap::new(),
            chosen: outputs.write_settings.as_ref().map(|path| path.display().to_string()),
        };
        let worst: Vec<u32> = worst_of(&choice.row).iter().take(MOST).map(|outcome| outcome.case).collect();
        let bar = bars::steps("replaying the worst", worst.len() as u64);
        replays.links = pages(study, cases, &choice, &worst, path, &|| bar.inc(1))?;
        bar.finish_and_clear();
        write_text(path, &page(study, cases, found, &choice, &replays))?;
    }
    if let Some(path) = &outputs.write_settings {
        let text = settings_out::write(study, found, &choice).map_err(|reason| anyhow::anyhow!("{reason}"))?;
        write_text(path, &text)?;
    }
    talk.object(|| object(study, found, &choice, stem, outputs))?;
    let mut text = say(study, cases, found, &choice);
    let _ = writeln!(text, "\nresults: {} and .csv", with_ending(stem, ".parquet").display());
    for (name, path) in [("report", &outputs.report), ("settings", &outputs.write_settings)] {
        if let Some(path) = path {
            let _ = writeln!(text, "{name}: {}", path.display());
        }
    }
    let _ = write!(text, "\nCautions\n{}", cautions::as_text(WIDTH));
    talk.words(text)
}

/// The recommendation as one object.
fn object(study: &Study, found: &Found, choice: &Choice, stem: &Path, outputs: &Outputs) -> Value {
    let figures_of = |summary: &Summary| {
        Value::Object(figures(summary).into_iter().map(|(name, value)| (name.to_owned(), Value::from(value))).collect())
    };
    let limits: Vec<Value> = study
        .knobs
        .iter()
        .enumerate()
        .map(|(number, knob)| {
            let now = knob.present(&study.base);
            let value = knob.text_at(&study.base, choice.levels[number]);
            let loosens = choice.loosened.contains(&number);
            json!({"key": knob.key, "value": value, "now": now, "unit": knob.unit(), "loosens_a_stop": loosens})
        })
        .collect();
    let row = &choice.row;
    let answer = Answer::of(study, &found.rows, choice);
    json!({
        "format": "slackside-tune",
        "format_version": 1,
        "study": study.name,
        "bench": study.bench,
        "settings_judged": found.rows.len(),
        "settings_refused": found.refused.0,
        "recommended": limits,
        "as_it_stands": choice.moved.is_empty(),
        "answer": answer.lines().collect::<Vec<_>>(),
        "cannot_trade_off": cannot_trade_off(&found.rows),
        "trade_offs": choice.front.len(),
        "reasons": choice.reasons,
        "held_out": (!none_held_out(row)).then(|| figures_of(&held_out(row))),
        "tuned_on": figures_of(&tuned(row)),
        "undecided": (0..study.knobs.len()).filter_map(|knob| undecided(study, choice, knob)).collect::<Vec<_>>(),
        "results": with_ending(stem, ".parquet"),
        "report": outputs.report,
        "settings": outputs.write_settings,
    })
}

fn wrapped(out: &mut String, text: &str, first: &str, rest: &str) {
    let _ = writeln!(out, "{}", fill(first, rest, text));
}

fn say(study: &Study, cases: &[Case], found: &Found, choice: &Choice) -> String {
    let mut text = String::new();
    let out = &mut text;
    wrapped(out, &study.name, "", "");
    if study.bench {
        wrapped(out, BENCH_ONLY, "", "");
    }
    for (number, line) in Answer::of(study, &found.rows, choice).lines().enumerate() {
        wrapped(out, line, &format!("\n  {}. ", number + 1), "     ");
    }
    out.push('\n');
    wrapped(out, &judged(found, cases, ""), "", "");
    if let Some(reason) = &found.refused.1 {
        wrapped(out, &format!("the first refused: {reason}"), "  ", "  ");
    }
    let _ = writeln!(out, "\nRecommended{}", if choice.moved.is_empty() { ": the limits as they stand" } else { "" });
    for (number, knob) in study.knobs.iter().enumerate() {
        let now = knob.present(&study.base);
        let value = knob.text_at(&study.base, choice.levels[number]);
        let note = match (choice.moved.contains(&number), choice.loosened.contains(&number)) {
            (false, _) => "stays".to_owned(),
            (true, false) => format!("now {now}"),
            (true, true) => format!("now {now}, loosens a stop"),
        };
        let _ = writeln!(out, "  {:<36} {value:>8} {:<5} ({note})", knob.words(), knob.unit());
    }
    let _ = writeln!(out, "\nWhy");
    for (number, reason) in choice.reasons.iter().enumerate() {
        wrapped(out, reason, &format!("  {}. ", number + 1), "     ");
    }
    let row = &choice.row;
    let own = tuned(row);
    let mut columns =
        vec![("On held-out families: quote these", held_out(row)), ("On the traces it was tuned on", own.clone())];
    if none_held_out(row) {
        out.push('\n');
        wrapped(out, NONE_HELD_OUT, "", "");
        columns.remove(0);
    }
    for (title, summary) in columns {
        let _ = writeln!(out, "\n{title}");
        for (name, value) in figures(&summary) {
            wrapped(out, &value, &format!("  {name:<39}"), &" ".repeat(41));
        }
    }
    if !choice.advice.is_empty() {
        let _ = writeln!(out, "\nOne step lower or higher");
        for (knob, advice) in study.knobs.iter().zip(&choice.advice) {
            let _ = writeln!(out, "  {}", knob.words());
            for side in [&advice.lower, &advice.higher] {
                let (value, said) = match side {
                    None => ("–".to_owned(), "end of the range".to_owned()),
                    Some((level, found)) => {
                        let said = match found {
                            Err(reason) => format!("not allowed: {}", refusal(knob, reason)),
                            Ok(summary) => cost(&own, summary),
                        };
                        (format!("{} {}", knob.text(*level), knob.unit()), said)
                    }
                };
                wrapped(out, &said, &format!("    {value:<10}"), &" ".repeat(14));
            }
        }
        let open: Vec<String> = (0..study.knobs.len()).filter_map(|knob| undecided(study, choice, knob)).collect();
        if !open.is_empty() {
            let _ = writeln!(out, "\nWhere the data do not decide");
            for line in open {
                wrapped(out, &line, "  - ", "    ");
            }
        }
    }
    text
}
