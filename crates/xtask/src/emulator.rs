//! The emulated board: QEMU's lm3s6965evb with a Cortex-M3, files by semihosting.

use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use anyhow::{Context, Result, bail};
use slackside::input::Input;
use slackside::settings::plan::Plan;
use slackside::verdict::Verdict;
use zerocopy::IntoBytes;

/// How long a run may take before it is taken for hung.
const LIMIT: Duration = Duration::from_secs(600);

/// Files that came back.
pub struct Returned {
    /// The verdict stream.
    pub verdicts: Vec<u8>,
    /// Figures, if the image writes any.
    pub figures: Option<Vec<u8>>,
    /// The log, if the image writes one.
    pub log: Vec<u8>,
}

/// Run `image` with this plan and these inputs.
pub fn run(image: &Path, plan: &Plan, inputs: &[Input], counted: bool) -> Result<Returned> {
    let folder = tempfile::tempdir()?;
    fs::write(folder.path().join("plan.bin"), plan.as_bytes())?;
    fs::write(folder.path().join("inputs.bin"), encode(inputs)?)?;
    let mut command = Command::new("qemu-system-arm");
    command
        .current_dir(folder.path())
        .args(["-machine", "lm3s6965evb", "-cpu", "cortex-m3", "-nographic", "-monitor", "none", "-serial", "none"])
        .args(["-semihosting-config", "enable=on,target=native", "-kernel"])
        .arg(image)
        .stdin(Stdio::null())
        .stderr(Stdio::piped());
    if counted {
        command.args(["-icount", "shift=0"]);
    }
    let mut child = command.spawn().map_err(|error| {
        anyhow::anyhow!("qemu-system-arm does not start ({error}); on Debian: `apt-get install qemu-system-arm`")
    })?;
    let begun = Instant::now();
    let status = loop {
        if let Some(status) = child.try_wait()? {
            break status;
        }
        if begun.elapsed() > LIMIT {
            child.kill()?;
            bail!("the emulated board did not end within {} s", LIMIT.as_secs());
        }
        std::thread::sleep(Duration::from_millis(5));
    };
    if !status.success() {
        let meaning = status.code().map_or("ended by a signal", meaning);
        let said = child.wait_with_output().map(|output| String::from_utf8_lossy(&output.stderr).into_owned());
        bail!("the emulated board stopped: {meaning} {}", said.unwrap_or_default().trim());
    }
    Ok(Returned {
        verdicts: fs::read(folder.path().join("verdicts.bin")).context("no verdict stream came back")?,
        figures: fs::read(folder.path().join("figures.bin")).ok(),
        log: fs::read(folder.path().join("log.bin")).unwrap_or_default(),
    })
}

/// What the firmware's exit codes mean (`Failure` in its `host` module).
fn meaning(code: i32) -> &'static str {
    match code {
        10 => "a file could not be opened",
        11 => "a file could not be read",
        12 => "a file could not be written",
        13 => "the plan could not be read or was refused",
        14 => "an input could not be decoded",
        15 => "a verdict did not fit its buffer",
        16 => "ticking at a deadline did not settle it",
        17 => "the core panicked",
        18 => "the processor faulted",
        _ => "QEMU failed",
    }
}

/// Inputs, one after the other.
pub fn encode(inputs: &[Input]) -> Result<Vec<u8>> {
    let mut bytes = Vec::with_capacity(inputs.len() * 8);
    for input in inputs {
        bytes = postcard::to_extend(input, bytes)?;
    }
    Ok(bytes)
}

/// The verdicts of a stream.
pub fn decode(mut bytes: &[u8]) -> Result<Vec<Verdict>> {
    let mut verdicts = Vec::new();
    while !bytes.is_empty() {
        let (verdict, rest) = postcard::take_from_bytes(bytes).context("the verdict stream is garbled")?;
        verdicts.push(verdict);
        bytes = rest;
    }
    Ok(verdicts)
}
