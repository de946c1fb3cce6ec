//! The model of the findings: drawn, learned, measured and written down, by one command from seeds.

mod large;
mod sound;
mod stamp;
mod store;

use std::fs;
use std::path::{Path, PathBuf};

use anyhow::{Result, anyhow};
use slackside_desk::crew::Crew as _;
use slackside_desk::findings::answer::GROUPS;
use slackside_desk::findings::cause::Cause;
use slackside_desk::findings::learn::draw::For;
use slackside_desk::findings::learn::fit::fit;
use slackside_desk::findings::learn::measure::{Ruled, Share, Weighed, Without, full_before, healthy, measure, tracks};
use slackside_desk::findings::learn::page::{Told, page};
use slackside_desk::findings::learn::play::play_whole;
use slackside_desk::findings::learn::row::{Row, header};
use slackside_desk::findings::learn::written::{Opened, ready};
use slackside_desk::scenario::Scenario;
use slackside_simulator::cores::Cores;
use slackside_simulator::disk::Disk;

use crate::root::root;
use large::Large;
use sound::Sound;
use stamp::stamp;
use store::{Runs, Store};

/// What large classifiers made of the same runs: written by `bench/findings_large.py`, not by this command.
const LARGE: &str = "crates/xtask/src/findings/large.csv";

/// What a draw from nothing takes, as it was when the page was last written; the command tells it at its end.
const TAKES: &str = "some 45 minutes";

/// Runs of the held-out set of earlier pages, drawn from the seed of what is learned from.
const FORMER: usize = 800;

/// A cause that is alarmed less often than once in so many runs is not drawn on and on.
const SELDOM: usize = 20;
/// What moves or holds the belt is drawn until it has been alarmed so many times as often as in turn; so is, more often, what signals hardly
/// tell apart.
const GRAVE_TIMES: f64 = 2.5;
const GROUPED_TIMES: f64 = 4.0;
/// A cause is drawn at most so many times as often as in turn.
const MOST_TIMES: usize = 8;
/// So many turns are played together.
const TURNS_AT_ONCE: usize = 10;

/// What is drawn and measured.
#[derive(clap::Args)]
pub struct Wish {
    /// Where played runs are kept.
    #[arg(long, default_value = "target/findings")]
    store: PathBuf,
    /// Runs to learn from.
    #[arg(long, default_value_t = 2_400)]
    runs: usize,
    /// Runs to measure on.
    #[arg(long, default_value_t = 800)]
    measured: usize,
    /// The page of scores whose healthy shifts are measured on.
    #[arg(long, default_value = "docs/src/engineer/scores.md")]
    score: PathBuf,
    /// The seed of all chance in what is learned from.
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// The seed of all chance in what is measured on.
    #[arg(long, default_value_t = 7011)]
    measured_seed: u64,
}

/// How many times as often as in turn a cause is wanted with an alarm.
fn times(cause: Cause) -> f64 {
    match (cause.is_grave(), GROUPS.iter().any(|group| group.causes.contains(&cause))) {
        (true, true) => GROUPED_TIMES,
        (true, false) => GRAVE_TIMES,
        (false, _) => 1.0,
    }
}

/// Causes that are seldom alarmed, drawn on from their next turn until each has about as many alarmed runs as it had turns; those that
/// are grave, since they are the ones that look alike, until they have more.
fn more(store: &mut Runs, runs: usize, rows: &[Row]) -> Result<Vec<Row>> {
    let turns = runs / Cause::ALL.len();
    let mut drawn: Vec<Row> = Vec::new();
    for from in (turns..turns * MOST_TIMES).step_by(TURNS_AT_ONCE) {
        let short = |cause: &usize| {
            let of = |row: &&Row| row.cause == Cause::ALL[*cause] && row.evidence.first.is_some();
            let alarmed = rows.iter().chain(&drawn).filter(of).count();
            (alarmed as f64) < turns as f64 * times(Cause::ALL[*cause]) && alarmed * SELDOM >= from
        };
        let wanted: Vec<usize> = (0..Cause::ALL.len()).filter(short).collect();
        let at = |turn: usize| wanted.iter().map(move |cause| turn * Cause::ALL.len() + cause);
        let numbers: Vec<usize> = (from..from + TURNS_AT_ONCE).flat_map(at).collect();
        drawn.extend(store.numbered(&numbers)?);
    }
    Ok(drawn)
}

/// The written scenarios, played to their ends.
fn written(directory: &Path) -> Result<Vec<Row>> {
    let mut paths: Vec<PathBuf> = fs::read_dir(directory)?.filter_map(|entry| Some(entry.ok()?.path())).collect();
    paths.retain(|path| path.extension().is_some_and(|ending| ending == "toml"));
    paths.sort();
    let rows = Cores.each(paths.into_iter().enumerate().collect(), |(index, path): (usize, PathBuf)| {
        let scenario = Scenario::read(&Disk, &path)?;
        let name = scenario.name.clone();
        let drawn = ready(&name, scenario)?;
        let mut row = Row::of(index, &drawn, play_whole(&drawn)?);
        row.means = name;
        anyhow::Ok(row)
    });
    rows.into_iter().collect()
}

/// Draw, learn, measure, write.
pub fn run(wish: &Wish) -> Result<()> {
    let Wish { store: folder, runs, measured, score, seed, measured_seed } = wish;
    let (runs, measured, seed) = (*runs, *measured, *seed);
    let of_measured = format!("--measured {measured} --measured-seed {measured_seed}");
    let command = format!("cargo xtask findings --runs {runs} --seed {seed} {of_measured}");
    let sound = Sound::read(score)?;
    let root = root();
    let store = Store::new(folder)?;
    let first = |of: For, seed: u64, count: usize| store.runs(of, seed)?.numbered(&(0..count).collect::<Vec<_>>());
    let held = first(For::Measuring, *measured_seed, measured)?;
    let former = first(For::Measuring, seed, FORMER)?;
    let mut learning = store.runs(For::Learning, seed)?;
    let mut learned = learning.numbered(&(0..runs).collect::<Vec<_>>())?;
    learned.extend(more(&mut learning, runs, &learned)?);
    let written = written(&root.join("scenarios"))?;
    let lines: String = std::iter::once(header()).chain(written.iter().map(Row::line)).collect();
    fs::write(folder.join("written.csv"), lines)?;
    let boot_alone = first(For::BootAlone, *measured_seed, measured / 4)?;
    let alike = first(For::Learning, measured_seed + 1, measured / 8)?;
    let shifts = store.runs(For::Healthy, sound.seed)?.numbered(&sound.shifts)?;
    let alarmed = learned.iter().filter(|row| row.evidence.first.is_some()).count();
    println!("{} runs to learn from, {alarmed} with an alarm; {} held out", learned.len(), held.len());

    let provenance = format!(
        "# Trees of the findings, version 5. Learned from {alarmed} runs with an alarm, of {} drawn, with core {}.\n# {command}\n",
        learned.len(),
        env!("CARGO_PKG_VERSION")
    );
    let model = fit(&learned, provenance);
    let without = |words, without| (words, measure(&model, &held, without));
    let fitted = [
        without("what each built-in leg has", Without::Nothing),
        without("no power meter", Without::Power),
        without("no rub contacts, no temperatures", Without::Contacts),
        without("neither", Without::Both),
        ("boot sensor alone of the two shafts", measure(&model, &boot_alone, Without::Nothing)),
    ];
    let opened: Vec<_> =
        written.iter().filter(|row| row.evidence.first.is_some()).map(|row| (row, Opened::of(&model, row))).collect();
    let large = Large::parse(&fs::read_to_string(root.join(LARGE))?).map_err(|wrong| anyhow!("{LARGE}: {wrong}"))?;
    let beside = large.beside(&fitted[0].1, &stamp()?, *measured_seed);
    let as_choke = |row: &Row| Row { cause: if full_before(row) { Cause::Choke } else { row.cause }, ..row.clone() };
    let renamed: Vec<Row> = held.iter().map(as_choke).collect();
    let so_named = held.iter().filter(|row| full_before(row) && row.evidence.first.is_some()).count();
    let told = Told {
        command: &command,
        renamed: (&measure(&model, &renamed, Without::Nothing), so_named),
        large: &beside,
        drawn: learned.len(),
        written: &opened,
        model: &model,
        learned: alarmed,
        fitted: &fitted,
        former: &measure(&model, &former, Without::Nothing),
        alike: &measure(&model, &alike, Without::Nothing),
        takes: TAKES,
        ruled: Ruled::of(&learned),
        healthy: healthy(&model, &shifts, sound.hours),
        tracks: tracks(&held),
    };
    fs::write(root.join("crates/slackside-desk/src/findings/learned.txt"), model.text())?;
    fs::write(root.join("docs/src/engineer/findings.md"), page(&told))?;
    for (row, opened) in opened.iter().filter(|(_, opened)| !opened.right) {
        println!("{}: {}", row.means, opened.words());
    }
    for (words, measured) in &fitted {
        let [first, second] = [measured.first, measured.second].map(Share::per_cent);
        let usual = measured.common.map(Weighed::per_cent);
        println!(
            "{words}: first {first:.1} %, of two {second:.1} %, Brier {:.3}; as they come {:.1}, {:.1}, {:.3}",
            measured.brier_even, usual[0], usual[1], measured.brier
        );
    }
    println!("processor time {:.0} s", cpu_time::ProcessTime::now().as_duration().as_secs_f64());
    Ok(())
}
