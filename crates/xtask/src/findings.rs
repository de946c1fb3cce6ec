//! The model of the findings: drawn, learned, measured and written down, by one command from seeds.

use std::fs;
use std::io::Write as _;
use std::path::Path;

use anyhow::{Context, Result};
use slackside_desk::crew::Crew as _;
use slackside_desk::findings::learn::draw::{For, draw};
use slackside_desk::findings::learn::fit::fit;
use slackside_desk::findings::learn::measure::{Share, Weighed, Without, healthy, measure};
use slackside_desk::findings::learn::page::{Told, page};
use slackside_desk::findings::learn::play::play;
use slackside_desk::findings::learn::row::{Row, header};
use slackside_simulator::cores::Cores;

use crate::root::root;

/// So many runs are played together, and then kept.
const AT_ONCE: usize = 100;

/// Runs of one kind that are already in the store, and those that are still to be played.
pub fn rows(store: &Path, of: For, seed: u64, runs: usize) -> Result<Vec<Row>> {
    fs::create_dir_all(store)?;
    let path = store.join(format!("{of:?}-{seed}.csv").to_lowercase());
    let kept = fs::read_to_string(&path).unwrap_or_default();
    let head = header();
    let mut rows = Vec::new();
    let mut done = 0;
    if let Some(lines) = kept.strip_prefix(head.as_str()) {
        for line in lines.split_inclusive('\n').filter(|line| line.ends_with('\n')) {
            let Some(row) = Row::parse(line) else { break };
            done = row.index + 1;
            rows.push(row);
        }
    }
    // What was cut off is played again.
    let whole: String = std::iter::once(head).chain(rows.iter().map(Row::line)).collect();
    fs::write(&path, whole)?;
    let mut file = fs::OpenOptions::new().append(true).open(&path)?;
    for begin in (done..runs).step_by(AT_ONCE) {
        let end = runs.min(begin + AT_ONCE);
        for played in Cores.each((begin..end).collect(), |index| played(of, seed, index)) {
            let Some(row) = played? else { continue };
            file.write_all(row.line().as_bytes()).with_context(|| format!("{}", path.display()))?;
            rows.push(row);
        }
        eprintln!("{of:?}: {end} of {runs}");
    }
    rows.retain(|row| row.index < runs);
    Ok(rows)
}

/// A run of a draw; none where nothing can be drawn.
fn played(of: For, seed: u64, index: usize) -> Result<Option<Row>> {
    match draw(of, seed, index) {
        Ok(drawn) => Ok(Some(Row::of(index, &drawn, play(&drawn)?))),
        Err(refused) => {
            eprintln!("{of:?} {index}: {refused}");
            Ok(None)
        }
    }
}

/// Draw, learn, measure, write.
pub fn run(store: &Path, runs: usize, measured: usize, hours: usize, seed: u64) -> Result<()> {
    let command = format!("cargo xtask findings --runs {runs} --measured {measured} --hours {hours} --seed {seed}");
    let held = rows(store, For::Measuring, seed, measured)?;
    let learned = rows(store, For::Learning, seed, runs)?;
    let boot_alone = rows(store, For::BootAlone, seed, measured / 4)?;
    let alike = rows(store, For::Learning, seed + 1, measured / 8)?;
    let hours = rows(store, For::Healthy, seed, hours)?;
    let alarmed = learned.iter().filter(|row| row.evidence.first.is_some()).count();
    println!("{} runs to learn from, {alarmed} with an alarm; {} held out", learned.len(), held.len());

    let provenance = format!(
        "# Trees of the findings, version 2. Learned from {alarmed} runs with an alarm, of {} drawn, with core {}.\n# {command}\n",
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
    let told = Told {
        command: &command,
        model: &model,
        learned: alarmed,
        fitted: &fitted,
        alike: &measure(&model, &alike, Without::Nothing),
        healthy: healthy(&model, &hours),
    };
    let root = root();
    fs::write(root.join("crates/slackside-desk/src/findings/learned.txt"), model.text())?;
    fs::write(root.join("docs/src/engineer/findings.md"), page(&told))?;
    for (words, measured) in &fitted {
        let [first, second] = [measured.first, measured.second].map(Share::per_cent);
        let usual = measured.common.map(Weighed::per_cent);
        println!(
            "{words}: first {first:.1} %, of two {second:.1} %, Brier {:.3}; as they come {:.1}, {:.1}, {:.3}",
            measured.brier_even, usual[0], usual[1], measured.brier
        );
    }
    Ok(())
}
