//! The copy of the tree that is changed, and its build.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use anyhow::{Context, Result, ensure};

use super::points::{Constants, Mutant, switched};
use crate::root::{files, root};

/// What is changed, from the core's `src`: whatever measures and judges in the box.
const CHANGED: [&str; 7] = ["alarm", "arith.rs", "judge", "measure", "monitor.rs", "signals.rs", "time.rs"];
const CORE: &str = "crates/slackside/src";
const SWITCH: &str = include_str!("switch.rs.in");
/// Before the crate's documentation is over nothing but such lines may stand.
const ALLOWED: &str = "#![feature(core_intrinsics, const_eval_select)]\n#![allow(warnings)]\n";

/// Crates, and which of their test files. What is in one suite is built at once.
pub type Suite = (&'static [&'static str], &'static [&'static str]);
/// Tests that hold the core fast enough to be asked for every change.
pub const SUITES: [Suite; 2] =
    [(&["slackside"], &["lib", "tests"]), (&["slackside-legs", "slackside-tests"], &WHOLE_LEGS)];
const WHOLE_LEGS: [&str; 23] = [
    // Of random legs.
    "conditions",
    "measure",
    "plain",
    "properties",
    "stories",
    "wraps",
    // Of all the others.
    "any_leg",
    "fuzz_smoke",
    "judge_course",
    "judge_details",
    "judge_people",
    "judge_phases",
    "judge_properties",
    "judge_speeds",
    "judge_wiring",
    "lost_edges",
    "measure_slip",
    "measure_speed",
    "monitor_legs",
    "monitor_liars",
    "monitor_time",
    "published_machine",
    "swapped",
];

/// A test program and the folder that it runs in.
#[derive(Clone, Debug)]
pub struct Program {
    pub name: String,
    pub path: PathBuf,
    pub folder: PathBuf,
}

fn copy() -> PathBuf {
    root().join("target/mutants/tree")
}

/// Make or renew the copy; every change that is in it.
pub fn make() -> Result<Vec<Mutant>> {
    let files: BTreeSet<PathBuf> = files()?.into_iter().collect();
    let mut constants = Constants::default();
    for file in files.iter().filter(|file| file.starts_with(CORE) && file.extension().is_some_and(|kind| kind == "rs"))
    {
        constants.read(&fs::read_to_string(root().join(file))?)?;
    }
    let mut mutants = Vec::new();
    for file in &files {
        let from = root().join(file);
        let Ok(bytes) = fs::read(&from) else { continue };
        let bytes = match file.strip_prefix(CORE) {
            Ok(name) if name == Path::new("lib.rs") => with_switch(&String::from_utf8(bytes)?).into_bytes(),
            Ok(name) if CHANGED.iter().any(|changed| name.starts_with(changed)) && !is_of_tests(name) => {
                let text = String::from_utf8(bytes)?;
                switched(&name.to_string_lossy(), &text, &constants, &mut mutants)?.into_bytes()
            }
            _ if file == Path::new("crates/slackside/Cargo.toml") => {
                without_lints(&String::from_utf8(bytes)?).into_bytes()
            }
            _ => bytes,
        };
        write_if_other(&copy().join(file), &bytes)?;
    }
    write_if_other(&copy().join(CORE).join("mutants.rs"), SWITCH.as_bytes())?;
    forget_what_is_gone(&files)?;
    Ok(mutants)
}

/// Whether a file holds tests alone.
fn is_of_tests(name: &Path) -> bool {
    name.file_stem().is_some_and(|stem| stem.to_string_lossy().ends_with("tests"))
}

/// The crate's root, with the switch.
fn with_switch(text: &str) -> String {
    text.replacen("#![no_std]\n", &format!("#![no_std]\n{ALLOWED}"), 1)
        + "\n/// Which change is on.\npub mod mutants;\n"
}

/// The core forbids what its copy does.
fn without_lints(text: &str) -> String {
    text.split("\n[lints.").next().unwrap_or(text).to_owned()
}

/// So that cargo builds anew only what has changed.
fn write_if_other(path: &Path, bytes: &[u8]) -> Result<()> {
    if fs::read(path).is_ok_and(|there| there == bytes) {
        return Ok(());
    }
    if let Some(folder) = path.parent() {
        fs::create_dir_all(folder)?;
    }
    fs::write(path, bytes).with_context(|| format!("writing {}", path.display()))
}

fn forget_what_is_gone(files: &BTreeSet<PathBuf>) -> Result<()> {
    let mut folders = vec![copy()];
    let switch = Path::new(CORE).join("mutants.rs");
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(folder)? {
            let path = entry?.path();
            let name = path.strip_prefix(copy())?.to_path_buf();
            if path.is_dir() {
                folders.push(path);
            } else if !files.contains(&name) && name != switch {
                fs::remove_file(path)?;
            }
        }
    }
    Ok(())
}

/// Build the test programs of the copy, all changes in them.
pub fn build(suites: &[Suite]) -> Result<Vec<Program>> {
    let compiler = "# What the core's copy needs is not in stable Rust.\nRUSTC_BOOTSTRAP=1 exec \"$@\"";
    programs(&copy(), ("mutants", compiler), suites)
}

/// Build test programs in a tree, its own crates by a line of shell in place of the compiler, which is named: what is built with it lies apart.
pub fn programs(tree: &Path, (name, compiler): (&str, &str), suites: &[Suite]) -> Result<Vec<Program>> {
    let wrapper = root().join("target").join(name).join("rustc.sh");
    write_if_other(&wrapper, format!("#!/bin/sh\n{compiler}\n").as_bytes())?;
    make_runnable(&wrapper)?;
    let mut programs = Vec::new();
    for (packages, which) in suites {
        let mut command = Command::new("cargo");
        command.current_dir(tree).args(["test", "--no-run", "--locked", "--message-format=json"]);
        command.args(packages.iter().flat_map(|package| ["--package", package]));
        command.env("RUSTC_WORKSPACE_WRAPPER", &wrapper).env("CARGO_TARGET_DIR", built());
        if *which == ["lib", "tests"] {
            command.args(["--features", "desk", "--lib", "--tests"]);
        }
        for test in which.iter().filter(|test| !matches!(**test, "lib" | "tests")) {
            command.args(["--test", test]);
        }
        let output = command.stderr(std::process::Stdio::inherit()).output().context("running cargo")?;
        if !output.status.success() {
            for message in messages(&output.stdout) {
                if let Some(said) =
                    message["message"]["rendered"].as_str().filter(|_| message["message"]["level"] == "error")
                {
                    eprintln!("{said}");
                }
            }
        }
        ensure!(output.status.success(), "the tests in {} do not build", tree.display());
        for message in messages(&output.stdout) {
            let (Some(path), Some(manifest)) = (message["executable"].as_str(), message["manifest_path"].as_str())
            else {
                continue;
            };
            let name = message["target"]["name"].as_str().unwrap_or_default().to_owned();
            let folder = Path::new(manifest).parent().context("a manifest lies in a folder")?.to_path_buf();
            programs.push(Program { name, path: path.into(), folder });
        }
    }
    ensure!(!programs.is_empty(), "cargo told of no test program");
    Ok(programs)
}

/// With what is built of the tree itself: libraries of others are the same.
fn built() -> PathBuf {
    std::env::var_os("CARGO_TARGET_DIR").map_or_else(|| root().join("target"), PathBuf::from)
}

fn messages(output: &[u8]) -> impl Iterator<Item = serde_json::Value> {
    output.split(|byte| *byte == b'\n').filter_map(|line| serde_json::from_slice(line).ok())
}

#[cfg(unix)]
fn make_runnable(path: &Path) -> Result<()> {
    use std::os::unix::fs::PermissionsExt;
    Ok(fs::set_permissions(path, fs::Permissions::from_mode(0o755))?)
}

#[cfg(not(unix))]
fn make_runnable(_: &Path) -> Result<()> {
    Ok(())
}
