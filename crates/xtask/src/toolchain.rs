//! The compiler for a microcontroller or a browser: rustup's where the target is installed, else Debian's, which builds `core`
//! or `std` itself.

use std::path::Path;
use std::process::{Command, Stdio};

use anyhow::{Context, Result, bail};

use crate::root::chips;

/// The browser. Built by itself: it needs another linker and the whole of `std`.
pub const WEB: &str = "wasm32-unknown-unknown";

/// Which toolchain builds for microcontrollers and the browser.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Toolchain {
    /// rustup's, with the target's `core` installed.
    Rustup,
    /// Debian's `rustc-web`, `cargo-web`, `rust-web-src` and `lld`.
    Debian,
}

const DEBIAN_FILES: [&str; 4] =
    ["/usr/bin/cargo", "/usr/bin/rustc", "/usr/lib/rustlib/src/rust/library/core/Cargo.toml", "/usr/bin/ld.lld"];

impl Toolchain {
    /// The toolchain for `target`.
    ///
    /// # Errors
    /// If there is none: the message says how to get either.
    pub fn find(target: &str) -> Result<Self> {
        let installed = Command::new("rustup")
            .args(["target", "list", "--installed"])
            .stderr(Stdio::null())
            .output()
            .map(|output| String::from_utf8_lossy(&output.stdout).into_owned())
            .unwrap_or_default();
        if installed.lines().any(|line| line == target) {
            return Ok(Self::Rustup);
        }
        if DEBIAN_FILES.iter().all(|file| Path::new(file).exists()) {
            return Ok(Self::Debian);
        }
        bail!(
            "no compiler for {target}. With rustup: `rustup target add {target}`. \
             On Debian: `apt-get install rustc-web cargo-web rust-web-src lld`"
        )
    }

    /// The toolchain for all of these targets, if one builds for all.
    ///
    /// # Errors
    /// If there is none for one of them.
    pub fn common(targets: &[&str]) -> Result<Option<Self>> {
        let found: Vec<Self> = targets.iter().map(|target| Self::find(target)).collect::<Result<_>>()?;
        let first = found.first().copied();
        Ok(first.filter(|first| found.iter().all(|other| other == first)))
    }

    /// `cargo SUBCOMMAND` for these targets, run in `folder`, into the shared target folder of the chips.
    pub fn cargo(self, subcommand: &str, targets: &[&str], folder: &Path) -> Command {
        self.cargo_with(&[], subcommand, targets, folder)
    }

    /// The same with flags for the compiler. Each set of flags has everything built anew, `core` too.
    pub fn cargo_with(self, flags: &[&str], subcommand: &str, targets: &[&str], folder: &Path) -> Command {
        let mut command = match self {
            Self::Rustup => Command::new("cargo"),
            Self::Debian => Command::new("/usr/bin/cargo"),
        };
        // What cargo and rustup set for this process is for the desk's compiler, not for this one.
        for variable in
            ["CARGO", "RUSTC", "RUSTDOC", "RUSTUP_TOOLCHAIN", "LD_LIBRARY_PATH", "RUSTFLAGS", "CARGO_TARGET_DIR"]
        {
            command.env_remove(variable);
        }
        command.current_dir(folder).arg(subcommand).arg("--quiet");
        for target in targets {
            command.args(["--target", target]);
        }
        command.arg("--target-dir").arg(chips());
        let mut flags: Vec<&str> = flags.to_vec();
        if self == Self::Debian {
            // `-Zbuild-std` is unstable; Debian ships no `core` for bare targets, so it has to be built.
            command.env("RUSTC", "/usr/bin/rustc").env("RUSTC_BOOTSTRAP", "1");
            if targets == [WEB] {
                command.arg("-Zbuild-std=std,panic_abort");
                flags.extend(["-C", "linker=wasm-ld", "-C", "linker-flavor=wasm-ld"]);
            } else {
                command.arg("-Zbuild-std=core");
                flags.extend(["-C", "linker=ld.lld", "-C", "linker-flavor=ld.lld"]);
            }
        }
        // Without it, defmt leaves out all but errors.
        command.env("DEFMT_LOG", "info");
        // Units separated as cargo wants them; never quoted by a shell.
        command.env("CARGO_ENCODED_RUSTFLAGS", flags.join("\u{1f}"));
        command
    }

    /// Its compiler's version, for the book.
    ///
    /// # Errors
    /// If it cannot be run.
    pub fn version(self) -> Result<String> {
        let mut command = match self {
            Self::Rustup => Command::new("rustc"),
            Self::Debian => Command::new("/usr/bin/rustc"),
        };
        let output = command.env_remove("LD_LIBRARY_PATH").arg("--version").output().context("running rustc")?;
        let text = String::from_utf8_lossy(&output.stdout);
        Ok(text.split_whitespace().take(2).collect::<Vec<_>>().join(" "))
    }
}
