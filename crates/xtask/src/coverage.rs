//! Which lines of the core tests reach, or the bodies of the fuzz targets alone.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use anyhow::{Context, Result, bail, ensure};

use crate::mutants::tree::{Program, SUITES, Suite, programs};
use crate::root::root;

/// What to do.
#[derive(clap::Args)]
pub struct Wish {
    /// The bodies of the fuzz targets alone, over the kept corpus and what is made of it.
    #[arg(long)]
    fuzz: bool,
    /// So many inputs to each body instead of those of every test run.
    #[arg(long)]
    runs: Option<u64>,
    /// Fail if fewer of the lines of one of the three folders are reached, in per cent.
    #[arg(long)]
    least: Option<f64>,
}

/// What is looked at, from the core's `src`.
const FOLDERS: [&str; 3] = ["measure", "judge", "wire"];
const CORE: &str = "crates/slackside/src";
/// The test program that is the fuzz bodies.
const BODIES: [Suite; 1] = [(&["slackside-tests"], &["fuzz_smoke"])];

/// Build with counters, run, and tell.
pub fn run(wish: &Wish) -> Result<()> {
    let (profdata, cov) = (tool("llvm-profdata")?, tool("llvm-cov")?);
    let folder = root().join("target/coverage/profiles");
    let _ = fs::remove_dir_all(&folder);
    fs::create_dir_all(&folder)?;
    let suites: &[Suite] = if wish.fuzz { &BODIES } else { &SUITES };
    let programs = programs(&root(), ("coverage", "exec \"$@\" -Cinstrument-coverage"), suites)?;
    for program in &programs {
        let mut command = Command::new(&program.path);
        command.current_dir(&program.folder).arg("--quiet").env("CARGO_MANIFEST_DIR", &program.folder);
        command.env("LLVM_PROFILE_FILE", folder.join(format!("{}-%p.profraw", program.name)));
        command.env("PROPTEST_RNG_SEED", "1").env("PROPTEST_DISABLE_FAILURE_PERSISTENCE", "1");
        command.envs(wish.runs.map(|runs| ("SLACKSIDE_FUZZ_RUNS", runs.to_string())));
        ensure!(command.status()?.success(), "{} fails", program.name);
    }
    let raw: Vec<PathBuf> = fs::read_dir(&folder)?.map(|entry| Ok(entry?.path())).collect::<Result<_>>()?;
    let merged = folder.join("merged.profdata");
    let mut merge = Command::new(&profdata);
    merge.args(["merge", "--sparse", "-o"]).arg(&merged).args(&raw);
    ensure!(merge.status()?.success(), "{} fails", profdata.display());
    let lines = exported(&cov, &merged, &programs)?;
    tell(&lines, wish.least)
}

/// Of each file, from the core's `src`, each line that is code: whether it was reached.
type Lines = BTreeMap<String, BTreeMap<usize, bool>>;

fn exported(cov: &Path, merged: &Path, programs: &[Program]) -> Result<Lines> {
    let mut command = Command::new(cov);
    command.args(["export", "--format=lcov", "--instr-profile"]).arg(merged);
    // The first stands alone, the others have a flag.
    for (index, program) in programs.iter().enumerate() {
        command.args((index > 0).then_some("--object")).arg(&program.path);
    }
    let output = command.output()?;
    ensure!(output.status.success(), "{}: {}", cov.display(), String::from_utf8_lossy(&output.stderr));
    let mut lines = read(&String::from_utf8(output.stdout)?)?;
    ensure!(!lines.is_empty(), "{} tells of no line", cov.display());
    for (file, lines) in &mut lines {
        let text = fs::read_to_string(root().join(CORE).join(file))?;
        let tests = first_line_of_tests(&text);
        lines.retain(|line, _| *line < tests);
    }
    Ok(lines)
}

/// The lines of a trace file as lcov writes it: `SF:` and the file, `DA:` and a line with how often it was passed.
fn read(lcov: &str) -> Result<Lines> {
    let root = root().join(CORE);
    let mut lines = Lines::new();
    let mut file = None;
    for line in lcov.lines() {
        if let Some(path) = line.strip_prefix("SF:") {
            let name = Path::new(path).strip_prefix(&root).ok().map(|name| name.to_string_lossy().into_owned());
            let is_asked = |name: &String| FOLDERS.iter().any(|folder| name.starts_with(&format!("{folder}/")));
            file = name.filter(|name| is_asked(name) && !name.ends_with("tests.rs"));
        } else if let (Some(counts), Some(file)) = (line.strip_prefix("DA:"), &file) {
            let mut counts = counts.split(',');
            let (Some(line), Some(count)) = (counts.next(), counts.next()) else { bail!("no line and count: {line}") };
            let reached = lines.entry(file.clone()).or_default().entry(line.parse()?).or_default();
            *reached |= count != "0";
        }
    }
    Ok(lines)
}

/// Where the tests of a file begin, counted from 1: they are its last item.
fn first_line_of_tests(text: &str) -> usize {
    let begins = |line: &str| line.starts_with("#[cfg(test)]") || line.starts_with("#[cfg(all(test");
    text.lines().position(begins).map_or(usize::MAX, |line| line + 1)
}

fn tell(lines: &Lines, least: Option<f64>) -> Result<()> {
    let mut sums: BTreeMap<&str, (usize, usize)> = BTreeMap::new();
    println!("| file | lines | reached | share |\n|---|---|---|---|");
    let row = |name: &str, (of, reached): (usize, usize)| {
        println!("| {name} | {of} | {reached} | {:.1} % |", share((of, reached)));
    };
    for (file, lines) in lines {
        let counts = (lines.len(), lines.values().filter(|reached| **reached).count());
        row(file, counts);
        let sum = sums.entry(file.split('/').next().unwrap_or_default()).or_default();
        *sum = (sum.0 + counts.0, sum.1 + counts.1);
    }
    for (folder, counts) in &sums {
        row(&format!("**{folder}**"), *counts);
    }
    println!();
    for (file, lines) in lines {
        let text = fs::read_to_string(root().join(CORE).join(file))?;
        for (number, _) in lines.iter().filter(|(_, reached)| !**reached) {
            println!("{file}:{number}: {}", text.lines().nth(number - 1).unwrap_or_default().trim());
        }
    }
    let least = least.unwrap_or(0.0);
    let short: Vec<&str> =
        FOLDERS.into_iter().filter(|name| sums.get(name).is_none_or(|sum| share(*sum) < least)).collect();
    ensure!(short.is_empty(), "less than {least} % of the lines are reached in {}", short.join(", "));
    Ok(())
}

fn share((of, reached): (usize, usize)) -> f64 {
    100.0 * reached as f64 / of.max(1) as f64
}

/// A tool of the LLVM that the compiler writes its counters for: another one may not read them.
fn tool(name: &str) -> Result<PathBuf> {
    let told = |what: &[&str]| -> Result<String> {
        let output = Command::new("rustc").args(what).output().context("running rustc")?;
        Ok(String::from_utf8(output.stdout)?)
    };
    let about = told(&["-vV"])?;
    let field = |name: &str| about.lines().find_map(|line| line.strip_prefix(name)).unwrap_or_default().trim();
    let (host, llvm) = (field("host:"), field("LLVM version:").split('.').next().unwrap_or_default());
    let own = Path::new(told(&["--print", "sysroot"])?.trim()).join("lib/rustlib").join(host).join("bin").join(name);
    let others = [own, PathBuf::from(format!("{name}-{llvm}"))];
    let runs =
        |tool: &PathBuf| Command::new(tool).arg("--version").output().is_ok_and(|output| output.status.success());
    others.into_iter().find(runs).with_context(|| {
        format!(
            "no {name} of LLVM {llvm}: `rustup component add llvm-tools`, or on Debian `apt-get install llvm-{llvm}`"
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_is_reached_if_any_program_passes_it() {
        let file = root().join(CORE).join("judge/x.rs");
        let lcov = format!(
            "SF:{0}\nDA:3,0\nDA:4,2\nend_of_record\nSF:{0}\nDA:3,1\nDA:5,0\nSF:/else.rs\nDA:1,1\n",
            file.display()
        );
        let lines = read(&lcov).expect("it reads");
        let expected = BTreeMap::from([(3, true), (4, true), (5, false)]);
        assert_eq!(lines, Lines::from([("judge/x.rs".to_owned(), expected)]));
        assert_eq!(first_line_of_tests("fn f() {}\n\n#[cfg(all(test, feature = \"desk\"))]\nmod tests {"), 3);
    }
}
