//! What runs in a browser: the desk library must build for one, and the core inside the report's page is built here. Its bytes are kept
//! beside the page, so that nobody needs a second compiler to build the desk.

use std::fs;
use std::path::{Path, PathBuf};

use anyhow::{Context, Result, bail, ensure};

use crate::root::{chips, root};
use crate::toolchain::{Toolchain, WEB};

/// Where the bytes lie, and beside them which compiler made them.
const BYTES: &str = "crates/slackside-desk/src/report/page/core.wasm";
const MADE_WITH: &str = "crates/slackside-desk/src/report/page/core.made-with.txt";
/// As small as a page wants it, and the same wherever it is built.
const PROFILE: [(&str, &str); 6] = [
    ("OPT_LEVEL", "s"),
    ("LTO", "fat"),
    ("CODEGEN_UNITS", "1"),
    ("PANIC", "abort"),
    ("STRIP", "symbols"),
    ("DEBUG", "0"),
];

/// Build both; write the core's bytes, or with `check` hold them against those that are kept.
pub fn run(check: bool) -> Result<()> {
    let toolchain = Toolchain::find(WEB)?;
    println!("building slackside-desk for {WEB} ({toolchain:?})");
    let status = toolchain
        .cargo_with(&["-D", "warnings"], "build", &[WEB], &root())
        .args(["--package", "slackside-desk", "--locked"])
        .status()?;
    ensure!(status.success(), "slackside-desk does not build for {WEB}");
    println!("desk library: built for {WEB}");
    let bytes = core(toolchain)?;
    let (kept, version) = (root().join(BYTES), toolchain.version()?);
    if !check {
        fs::write(&kept, &bytes).with_context(|| format!("writing {BYTES}"))?;
        fs::write(root().join(MADE_WITH), format!("{version}\n"))?;
        println!("the core of the page: {} bytes, by {version}, written to {BYTES}", bytes.len());
        return Ok(());
    }
    let made_with = fs::read_to_string(root().join(MADE_WITH)).unwrap_or_default();
    if made_with.trim() != version {
        println!("the core of the page: kept by {}, built by {version}: bytes are not compared", made_with.trim());
    } else if fs::read(&kept)? == bytes {
        println!("the core of the page: {} bytes, the same as kept", bytes.len());
    } else {
        bail!("{BYTES} is not what the code makes: run `cargo xtask web`, look at the page, and keep the new bytes");
    }
    Ok(())
}

/// The core of the page as the code is now.
fn core(toolchain: Toolchain) -> Result<Vec<u8>> {
    let home = std::env::var_os("CARGO_HOME").map(PathBuf::from);
    let home = home.or_else(|| std::env::var_os("HOME").map(|home| Path::new(&home).join(".cargo")));
    let remap = |from: &Path, to: &str| format!("--remap-path-prefix={}={to}", from.display());
    // No path of the machine that built it, so that any machine makes the same.
    let mut flags = vec![remap(&root(), "slackside")];
    flags.extend(home.map(|home| remap(&home, "cargo")));
    let flags: Vec<&str> = flags.iter().map(String::as_str).collect();
    let mut command = toolchain.cargo_with(&flags, "build", &[WEB], &root());
    for (name, value) in PROFILE {
        command.env(format!("CARGO_PROFILE_RELEASE_{name}"), value);
    }
    let status = command.args(["--release", "--package", "slackside-page", "--locked"]).status()?;
    ensure!(status.success(), "slackside-page does not build for {WEB}");
    let built = chips().join(WEB).join("release/slackside_page.wasm");
    fs::read(&built).with_context(|| format!("reading {}", built.display()))
}
