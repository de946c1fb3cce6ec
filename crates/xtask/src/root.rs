//! Where things are.

use std::path::PathBuf;
use std::process::Command;

use anyhow::{Context, Result, ensure};

/// The root of the checkout.
pub fn root() -> PathBuf {
    let here = PathBuf::from(env!("CARGO_MANIFEST_DIR"));
    here.ancestors().nth(2).map_or(here.clone(), PathBuf::from)
}

/// Every file of the checkout that git knows or would take, deleted ones too.
pub fn files() -> Result<Vec<PathBuf>> {
    let output = Command::new("git")
        .current_dir(root())
        .args(["ls-files", "-z", "--cached", "--others", "--exclude-standard"])
        .output()
        .context("running git")?;
    ensure!(output.status.success(), "git does not list the files of the tree");
    let names = String::from_utf8_lossy(&output.stdout);
    Ok(names.split('\0').filter(|name| !name.is_empty()).map(PathBuf::from).collect())
}

/// Where builds for microcontrollers go: apart from the desk's, so that neither waits for the other.
pub fn chips() -> PathBuf {
    root().join("target/chips")
}

/// The firmware's own workspace.
pub fn firmware() -> PathBuf {
    root().join("crates/slackside-firmware")
}
