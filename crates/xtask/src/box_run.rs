//! The whole box on the emulated board, its link on a TCP port of this computer.

use std::net::TcpListener;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use anyhow::{Context, Result, bail, ensure};
use slackside::settings::{Checked, MOST_IMAGE_BYTES};
use slackside::verdict::{Change, Permit};
use slackside_simulator::box_client::{Client, Port, anchor, fetch, read_settings, recordings};
use slackside_simulator::recording::{About, Recording, prove};

use crate::emulator;
use crate::parity;
use crate::root::{chips, root};
use crate::toolchain::Toolchain;

const TARGET: &str = "thumbv7m-none-eabi";
/// How long the check may wait for the recording.
const PATIENCE: Duration = Duration::from_secs(300);

/// QEMU, ended with this value.
struct Emulator {
    child: Child,
    _folder: tempfile::TempDir,
}

impl Drop for Emulator {
    fn drop(&mut self) {
        // It may have ended by itself.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn build() -> Result<PathBuf> {
    let folder = root().join("crates/slackside-mps2");
    let status = Toolchain::find(TARGET)?.cargo("build", TARGET, &folder, &[]).arg("--release").status()?;
    ensure!(status.success(), "the box for the emulated board does not build");
    Ok(chips().join(TARGET).join("release/slackside-mps2"))
}

/// Start it. `hurry`: time runs as fast as the computer can, not as the day does.
fn start(settings: &Checked, inputs: &[slackside::input::Input], port: u16, hurry: bool) -> Result<Emulator> {
    let image = build()?;
    let folder = tempfile::tempdir()?;
    let mut buffer = [0; MOST_IMAGE_BYTES];
    std::fs::write(folder.path().join("settings.bin"), settings.to_image(&mut buffer)?)?;
    std::fs::write(folder.path().join("inputs.bin"), emulator::encode(inputs)?)?;
    let child = Command::new("qemu-system-arm")
        .current_dir(folder.path())
        .args(["-machine", "mps2-an385", "-nographic", "-monitor", "none"])
        // 32 ns an instruction: about the pace of a small Cortex-M, and the same on every computer.
        .args(["-icount", if hurry { "shift=5,sleep=off" } else { "shift=5,sleep=on" }])
        .args(["-serial", &format!("tcp:127.0.0.1:{port},server=on,wait=off")])
        .args(["-semihosting-config", "enable=on,target=native", "-kernel"])
        .arg(image)
        .stdin(Stdio::null())
        .spawn()
        .context("qemu-system-arm does not start; on Debian: `apt-get install qemu-system-arm`")?;
    Ok(Emulator { child, _folder: folder })
}

/// Start the box and leave it running until interrupted, or check that the same microsecond is on both sides.
pub fn run(trace: Option<&Path>, settings: Option<&Path>, port: u16, check: bool) -> Result<()> {
    let (settings, inputs) = parity::leg_and_trace(trace, settings)?;
    if check {
        return same_microsecond(&settings, &inputs);
    }
    let mut emulator = start(&settings, &inputs, port, false)?;
    println!("The emulated box's link is on 127.0.0.1:{port}; interrupt to end it.");
    let status = emulator.child.wait()?;
    ensure!(status.success(), "QEMU ended: {status}");
    Ok(())
}

fn same_microsecond(settings: &Checked, inputs: &[slackside::input::Input]) -> Result<()> {
    // Whichever port is free now.
    let port = TcpListener::bind("127.0.0.1:0")?.local_addr()?.port();
    let _emulator = start(settings, inputs, port, true)?;
    let begun = Instant::now();
    let mut client = loop {
        match Port::open(&format!("127.0.0.1:{port}"), 115_200) {
            Ok(port) => break Client::new(port),
            Err(error) if begun.elapsed() > Duration::from_secs(20) => return Err(error),
            Err(_) => std::thread::sleep(Duration::from_millis(100)),
        }
    };
    anchor(&mut client)?;
    let info = loop {
        if let Some(info) = recordings(&mut client)?.first() {
            break *info;
        }
        ensure!(
            begun.elapsed() < PATIENCE,
            "no recording within {} s: did the trace trip the leg?",
            PATIENCE.as_secs()
        );
        std::thread::sleep(Duration::from_millis(100));
    };
    let fetched = fetch(&mut client, info, &mut |_| {})?;
    ensure!(fetched.whole, "the recording came through damaged");
    let recording = Recording::new("fetched", About::default(), Vec::new(), fetched.bytes);
    let under = read_settings(&mut client)?;
    ensure!(under == **settings, "the box has other settings than it was given");
    let run = recording.runs().last().context("nothing to replay")?;
    let proof = prove(run, settings);
    println!("{proof}");
    ensure!(
        proof.disagreed.is_none() && proof.no_claim.is_none() && proof.agreed > 0,
        "the desk disagrees with the box"
    );
    let tripped = proof.verdicts.iter().find_map(|verdict| match verdict.change {
        Change::Permit { permit: Permit::Run, allowed: false, because } => Some((verdict.at, because)),
        _ => None,
    });
    let Some((at, because)) = tripped else { bail!("the replay does not trip") };
    let board = (info.tripped_at, info.first_out);
    ensure!((at, because) == board, "the desk trips at {at:?} ({because:?}), the box at {board:?}");
    println!("Box and desk trip at the same microsecond: {} ({because:?})", at.get());
    Ok(())
}
