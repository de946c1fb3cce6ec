//! Builds of the core and the box for each kind of microcontroller.
//!
//! They are built by themselves: in the workspace, features that the desk asks for would leak into it.

use std::path::PathBuf;

use anyhow::{Context, Result, ensure};

use crate::root::{chips, root};
use crate::toolchain::Toolchain;

/// Every target the core is built for.
pub const TARGETS: [&str; 5] = [
    "thumbv6m-none-eabi",
    "thumbv7m-none-eabi",
    "thumbv7em-none-eabihf",
    "thumbv8m.main-none-eabihf",
    // A RISC-V without atomics.
    "riscv32imc-unknown-none-elf",
];

/// The feature matrix.
const FEATURES: [&str; 2] = ["", "defmt"];

/// The feature matrix of the box: that in which the press alone arms, and the usual one.
const BOX_FEATURES: [&str; 2] = ["", "tag defmt log"];

/// The boxes on boards, each with its target: workspaces of their own.
const BOARDS: [(&str, &str); 2] = [("thumbv6m-none-eabi", "slackside-pico"), ("thumbv7m-none-eabi", "slackside-mps2")];

/// Build core and box for all of them.
pub fn run() -> Result<()> {
    for features in FEATURES {
        for targets in groups(&TARGETS)? {
            build("slackside", &targets, features)?;
        }
    }
    for features in BOX_FEATURES {
        let (without_atomics, with): (Vec<&str>, Vec<&str>) =
            TARGETS.iter().partition(|target| target.starts_with("riscv32imc"));
        for targets in groups(&with)? {
            build("slackside-box", &targets, features)?;
            if features.is_empty() {
                build("slackside-modbus", &targets, features)?;
            }
        }
        for targets in groups(&without_atomics)? {
            build("slackside-box", &targets, &format!("portable-atomic {features}"))?;
            if features.is_empty() {
                build("slackside-modbus", &targets, "portable-atomic")?;
            }
        }
    }
    println!("core, box and Modbus: {} targets x {} feature sets built", TARGETS.len(), FEATURES.len());
    Ok(())
}

/// All at once if one toolchain builds for all of them, so that no processor waits for another; else one by one.
fn groups<'a>(targets: &[&'a str]) -> Result<Vec<Vec<&'a str>>> {
    Ok(match Toolchain::common(targets)? {
        Some(_) => vec![targets.to_vec()],
        None => targets.iter().map(|target| vec![*target]).collect(),
    })
}

fn build(package: &str, targets: &[&str], features: &str) -> Result<()> {
    let named = if features.is_empty() { "no features" } else { features };
    println!("building {package} with {named} for {}", targets.join(", "));
    let toolchain = Toolchain::common(targets)?.context("no targets, or no toolchain for all")?;
    let status = toolchain
        .cargo_with(&["-D", "warnings"], "build", targets, &root())
        .args(["--package", package, "--no-default-features", "--features", features])
        .status()?;
    ensure!(status.success(), "{package} with {named} does not build for all of {}", targets.join(", "));
    Ok(())
}

/// Build the boxes on boards.
pub fn boards() -> Result<()> {
    for (target, package) in BOARDS {
        println!("building {package} for {target} ({:?})", Toolchain::find(target)?);
        board(package)?;
    }
    Ok(())
}

/// Build the box on one board, and say where it is.
pub fn board(name: &str) -> Result<PathBuf> {
    let (target, package) =
        BOARDS.into_iter().find(|(_, package)| *package == name).context("there is no such board")?;
    let folder = root().join("crates").join(package);
    let status = Toolchain::find(target)?.cargo("build", &[target], &folder).arg("--release").status()?;
    ensure!(status.success(), "{package} does not build for {target}");
    Ok(chips().join(target).join("release").join(package))
}

/// The same with flags for the image alone and with features, for a look at it: the next plain build links it anew.
pub fn board_with(name: &str, flags: &[&str], features: &str) -> Result<PathBuf> {
    let (target, package) =
        BOARDS.into_iter().find(|(_, package)| *package == name).context("there is no such board")?;
    let folder = root().join("crates").join(package);
    let mut command = Toolchain::find(target)?.cargo("rustc", &[target], &folder);
    let status = command.args(["--release", "--bin", package, "--features", features, "--"]).args(flags).status()?;
    ensure!(status.success(), "{package} does not build for {target}");
    Ok(chips().join(target).join("release").join(package))
}
