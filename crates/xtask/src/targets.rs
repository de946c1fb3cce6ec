//! Builds of the core and the box for each kind of microcontroller.
//!
//! They are built by themselves: in the workspace, features that the desk asks for would leak into it.

use anyhow::{Result, ensure};

use crate::root::root;
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

/// The feature matrix of the box.
const BOX_FEATURES: [&str; 2] = ["", "defmt"];

/// The boxes on boards, each with its target: workspaces of their own.
const BOARDS: [(&str, &str); 2] = [("thumbv6m-none-eabi", "slackside-pico"), ("thumbv7m-none-eabi", "slackside-mps2")];

/// Build core and box for all of them.
pub fn run() -> Result<()> {
    for target in TARGETS {
        let toolchain = Toolchain::find(target)?;
        for features in FEATURES {
            let named = if features.is_empty() { "no features" } else { features };
            println!("building the core for {target}, {named} ({toolchain:?})");
            let status = toolchain
                .cargo("build", target, &root(), &["-D", "warnings"])
                .args(["--package", "slackside", "--no-default-features", "--features", features])
                .status()?;
            ensure!(status.success(), "the core does not build for {target} with {named}");
        }
    }
    for target in TARGETS {
        let toolchain = Toolchain::find(target)?;
        for features in BOX_FEATURES {
            let mut features: Vec<&str> = features.split_terminator(',').collect();
            if target.starts_with("riscv32imc") {
                features.push("portable-atomic");
            }
            println!("building the box for {target}, features {features:?} ({toolchain:?})");
            let status = toolchain
                .cargo("build", target, &root(), &["-D", "warnings"])
                .args(["--package", "slackside-box", "--no-default-features", "--features", &features.join(",")])
                .status()?;
            ensure!(status.success(), "the box does not build for {target} with {features:?}");
        }
    }
    println!("core and box: {} targets x {} feature sets built", TARGETS.len(), FEATURES.len());
    Ok(())
}

/// Build the boxes on boards.
pub fn boards() -> Result<()> {
    for (target, package) in BOARDS {
        let toolchain = Toolchain::find(target)?;
        println!("building {package} for {target} ({toolchain:?})");
        let folder = root().join("crates").join(package);
        let status = toolchain.cargo("build", target, &folder, &[]).arg("--release").status()?;
        ensure!(status.success(), "{package} does not build for {target}");
    }
    Ok(())
}
