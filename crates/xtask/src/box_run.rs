//! The whole box on the emulated board, its link on a TCP port of this computer, its log decoded.

use std::net::TcpListener;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus, Stdio};
use std::time::{Duration, Instant};

use anyhow::{Context, Result, bail, ensure};
use slackside::settings::Checked;
use slackside::verdict::{Change, Permit};
use slackside_desk::monitor::plan_of;
use slackside_desk::recording::{About, MadeUnder, Recording, prove};
use slackside_simulator::box_client::{Client, Port, anchor, fetch, read_plan, recordings};

use crate::emulator;
use crate::log::Words;
use crate::parity;
use crate::root::{chips, root};
use crate::toolchain::Toolchain;

/// The file its log goes to.
pub const LOG: &str = "log.bin";
const TARGET: &str = "thumbv7m-none-eabi";
/// The share of its memory that the board's stack may use. It is deepest while the box is built, 54 % of it, and goes no deeper after that.
const MOST_STACK: f64 = 0.6;
/// What the board ends with when its watchdog calls for help.
const STALLED: i32 = 3;
/// How long the check may wait for the recording.
const PATIENCE: Duration = Duration::from_secs(300);

/// QEMU, ended with this value.
pub struct Emulator {
    child: Child,
    folder: tempfile::TempDir,
    /// The TCP port of its link.
    pub port: u16,
}

/// How the emulated time runs.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Pace {
    /// As the day does; 32 ns an instruction, about the pace of a small Cortex-M, and the same on every computer.
    Day,
    /// As fast as the computer can; 32 ns an instruction.
    Hurry,
    /// As fast as the computer can; 16 ns an instruction, so that a flood is denser in the emulated time.
    Dense,
}

impl Emulator {
    /// A file it left, or is still writing.
    pub fn file(&self, name: &str) -> Vec<u8> {
        // What is not there yet is empty.
        std::fs::read(self.folder.path().join(name)).unwrap_or_default()
    }

    /// Whether it has ended.
    pub fn ended(&mut self) -> Result<Option<ExitStatus>> {
        Ok(self.child.try_wait()?)
    }

    /// Connect to its link.
    pub fn connect(&self) -> Result<Port> {
        let begun = Instant::now();
        loop {
            match Port::open(&format!("127.0.0.1:{}", self.port), 115_200) {
                Ok(port) => return Ok(port),
                Err(error) if begun.elapsed() > Duration::from_secs(20) => return Err(error),
                Err(_) => std::thread::sleep(Duration::from_millis(100)),
            }
        }
    }
}

impl Drop for Emulator {
    fn drop(&mut self) {
        // It may have ended by itself.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Build the image, with these features.
pub fn build(features: &str) -> Result<PathBuf> {
    let folder = root().join("crates/slackside-mps2");
    let mut command = Toolchain::find(TARGET)?.cargo("build", &[TARGET], &folder);
    let status = command.args(["--release", "--features", features]).status()?;
    ensure!(status.success(), "the box for the emulated board does not build");
    Ok(chips().join(TARGET).join("release/slackside-mps2"))
}

/// Whichever port is free now.
pub fn any_port() -> Result<u16> {
    Ok(TcpListener::bind("127.0.0.1:0")?.local_addr()?.port())
}

/// Start it. With `edges` it ends by itself after so many, and leaves its figures.
pub fn start(
    image: &Path,
    settings: &Checked,
    inputs: &[slackside::input::Input],
    port: u16,
    pace: Pace,
    edges: Option<u32>,
) -> Result<Emulator> {
    let folder = tempfile::tempdir()?;
    std::fs::write(folder.path().join("plan.bin"), settings.plan().bytes())?;
    std::fs::write(folder.path().join("inputs.bin"), emulator::encode(inputs)?)?;
    if let Some(edges) = edges {
        std::fs::write(folder.path().join("edges.bin"), edges.to_le_bytes())?;
    }
    let child = Command::new("qemu-system-arm")
        .current_dir(folder.path())
        .args(["-machine", "mps2-an385", "-nographic", "-monitor", "none"])
        .args([
            "-icount",
            match pace {
                Pace::Day => "shift=5,sleep=on",
                Pace::Hurry => "shift=5,sleep=off",
                Pace::Dense => "shift=4,sleep=off",
            },
        ])
        .args(["-serial", &format!("tcp:127.0.0.1:{port},server=on,wait=off")])
        .args(["-serial", &format!("file:{LOG}")])
        .args(["-semihosting-config", "enable=on,target=native", "-kernel"])
        .arg(image)
        .stdin(Stdio::null())
        .spawn()
        .context("qemu-system-arm does not start; on Debian: `apt-get install qemu-system-arm`")?;
    Ok(Emulator { child, folder, port })
}

/// Start the box and leave it running until interrupted, or check that the same microsecond is on both sides.
pub fn run(trace: Option<&Path>, settings: Option<&Path>, port: u16, check: bool) -> Result<()> {
    let (settings, inputs) = parity::leg_and_trace(trace, settings)?;
    if check {
        return same_microsecond(&settings, &inputs);
    }
    let image = build("")?;
    let words = Words::of(&image)?;
    let mut emulator = start(&image, &settings, &inputs, port, Pace::Day, None)?;
    println!("The emulated box's link is on 127.0.0.1:{port}; interrupt to end it. Its log:");
    let mut told = 0;
    loop {
        let lines = words.tell(&emulator.file(LOG))?;
        lines.iter().skip(told).for_each(|line| println!("{line}"));
        told = lines.len();
        if let Some(status) = emulator.ended()? {
            ensure!(status.success(), "QEMU ended: {status}");
            return Ok(());
        }
        std::thread::sleep(Duration::from_millis(300));
    }
}

fn same_microsecond(settings: &Checked, inputs: &[slackside::input::Input]) -> Result<()> {
    let image = build("")?;
    let words = Words::of(&image)?;
    let emulator = start(&image, settings, inputs, any_port()?, Pace::Hurry, None)?;
    let begun = Instant::now();
    let mut client = Client::new(emulator.connect()?);
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
    let recording = Recording::new("fetched", About::default(), MadeUnder::default(), fetched.bytes);
    let under = read_plan(&mut client)?;
    ensure!(under == settings.plan(), "the box has another plan than it was given");
    let run = recording.runs().last().context("nothing to replay")?;
    let proof = prove(run, &plan_of(settings));
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
    let lines = words.tell(&emulator.file(LOG))?;
    let known = format!("run permit dropped, first out {because:?}");
    ensure!(
        lines.iter().any(|line| line.ends_with(&known)),
        "the box's log does not say \"{known}\" when decoded; it says:\n{}",
        lines.join("\n")
    );
    lines.iter().for_each(|line| println!("log: {line}"));
    bounded_stack(&lines)?;
    println!("Box and desk trip at the same microsecond: {} ({because:?})", at.get());
    stalled_loop(settings, inputs)
}

/// The stack's depth, as the log tells it, against its memory.
fn bounded_stack(lines: &[String]) -> Result<()> {
    let told = lines.iter().filter_map(|line| line.split_once("stack ")?.1.strip_suffix(" bytes")?.split_once(" of "));
    let mut depths = told.filter_map(|(used, room)| Some((used.parse::<f64>().ok()?, room.parse::<f64>().ok()?)));
    let (used, room) = depths.next_back().context("the log does not tell how deep the stack went")?;
    println!("The board's stack went {used} bytes deep, of {room}.");
    ensure!(used <= room * MOST_STACK, "the stack went {used} bytes deep, more than {MOST_STACK} of its {room}");
    Ok(())
}

/// A main loop that stands still is ended by the watchdog, its coils off.
fn stalled_loop(settings: &Checked, inputs: &[slackside::input::Input]) -> Result<()> {
    let image = build("plant-stall")?;
    let mut emulator = start(&image, settings, inputs, any_port()?, Pace::Hurry, None)?;
    let begun = Instant::now();
    let status = loop {
        if let Some(status) = emulator.ended()? {
            break status;
        }
        ensure!(begun.elapsed() < PATIENCE, "a main loop that stands still was not ended by the watchdog");
        std::thread::sleep(Duration::from_millis(100));
    };
    let coils = emulator.file("stalled.bin");
    ensure!(status.code() == Some(STALLED), "the planted stall ended the board otherwise: {status}");
    ensure!(coils == [0; 3], "the coils were not off when the watchdog called for help: {coils:?}");
    println!("A planted stall of the main loop is ended by the watchdog, its coils off.");
    Ok(())
}
